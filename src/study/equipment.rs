//! The lab's own record: machines, load cells, extensometers, fixtures, with what a certificate says of
//! them. A lab is known by the consignment through which it came first; the steward says which later
//! ones went to the same lab. Reading an item from a form is in [`form`], its class as a limit in [`class`], what a result must be
//! flagged with in [`flag`].

pub mod class;
pub mod flag;
pub mod form;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::break_test::TestSession;
use super::choice::choice;
use super::ids::{ConsignmentId, EntryId, StudyId};
use super::photograph::Files;

choice! {
    /// What an item of the lab's record is.
    pub enum EquipmentKind {
        /// A testing machine or a rig.
        Machine = "machine", "machine or rig";
        /// What measures the load.
        LoadCell = "load_cell", "load cell or scale";
        /// What measures the extension.
        Extensometer = "extensometer", "extensometer";
        /// Fixture or grips.
        Fixture = "fixture", "fixture or grips";
    }
}

impl EquipmentKind {
    /// The unit of its range; `None` for what has none.
    #[must_use]
    pub fn range_unit(self) -> Option<&'static str> {
        match self {
            Self::Machine | Self::LoadCell => Some("N"),
            Self::Extensometer => Some("mm"),
            Self::Fixture => None,
        }
    }
}

choice! {
    /// Why an item is written down anew.
    pub enum Change {
        /// What was written before was true then.
        Since = "since", "it was calibrated or changed since";
        /// What was written before was never true.
        Wrong = "wrong", "it was written down wrongly";
    }
}

choice! {
    /// What kind of file a certificate or drawing is.
    pub enum PaperKind {
        /// PDF.
        Pdf = "application/pdf", "PDF";
        /// JPEG.
        Jpeg = "image/jpeg", "JPEG";
        /// PNG.
        Png = "image/png", "PNG";
    }
}

impl PaperKind {
    /// Told from the first bytes (PDF: ISO 32000-2 §7.5.2; JPEG: ITU-T T.81 B.1.1.3; PNG: W3C PNG §5.2),
    /// never from the name.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Option<Self> {
        match bytes {
            [b'%', b'P', b'D', b'F', b'-', ..] => Some(Self::Pdf),
            [0xFF, 0xD8, 0xFF, ..] => Some(Self::Jpeg),
            [0x89, b'P', b'N', b'G', 0x0D, 0x0A, 0x1A, 0x0A, ..] => Some(Self::Png),
            _ => None,
        }
    }
}

/// A certificate or drawing, kept byte for byte.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Paper {
    /// What the lab calls the file.
    pub name: String,
    /// What it is.
    pub kind: PaperKind,
    /// SHA-256 of its bytes, in hexadecimal digits.
    pub sha256: String,
    /// How many bytes it has.
    pub bytes: u64,
}

/// An item as it is written down.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Equipment {
    /// What it is.
    pub kind: EquipmentKind,
    /// What the lab calls it.
    pub name: String,
    /// Its serial number; empty when not given.
    #[serde(default)]
    pub serial: String,
    /// From where its class holds, in the unit of its kind.
    #[serde(default)]
    pub range_from: Option<f64>,
    /// To where its class holds.
    #[serde(default)]
    pub range_to: Option<f64>,
    /// Its class, as the certificate has it ("0.5", "1"); empty when it has none.
    #[serde(default)]
    pub class: String,
    /// When it was calibrated.
    #[serde(default)]
    pub calibrated_on: Option<NaiveDate>,
    /// The last day for which the calibration speaks.
    #[serde(default)]
    pub valid_until: Option<NaiveDate>,
    /// The certificate, or a fixture's drawing.
    #[serde(default)]
    pub paper: Option<Paper>,
    /// A photograph of it, made clean.
    #[serde(default)]
    pub picture: Option<Files>,
}

/// An item put into a lab's record, or written down anew.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EquipmentKept {
    /// The consignment through which it was written down.
    pub consignment: ConsignmentId,
    /// The entry that says what it was before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaces: Option<EntryId>,
    /// Why it is written down anew.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub change: Option<Change>,
    /// The item.
    pub equipment: Equipment,
    /// Where it stands in another study, when it was brought over from there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub origin: Option<Origin>,
}

/// An item as it stands in another study of the same steward, whose lab it is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Origin {
    /// The other study.
    pub study: StudyId,
    /// The entry that named the item first there.
    pub item: EntryId,
    /// The entry that was brought over.
    pub entry: EntryId,
}

/// A lab's last set-up, brought over from another study of the same steward for its tester to begin with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetUpBrought {
    /// The consignment whose lab it is.
    pub consignment: ConsignmentId,
    /// The other study.
    pub study: StudyId,
    /// The set-up, with the items as they are called here.
    pub session: TestSession,
}

/// What of the lab's record a session uses, each by the entry that named it first, and how the pieces
/// are treated.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Used {
    /// The machine.
    #[serde(default)]
    pub machine: Option<EntryId>,
    /// The load cell.
    #[serde(default)]
    pub cell: Option<EntryId>,
    /// The extensometer.
    #[serde(default)]
    pub extensometer: Option<EntryId>,
    /// The fixture.
    #[serde(default)]
    pub fixture: Option<EntryId>,
    /// The method: a standard, or the lab's own procedure.
    #[serde(default)]
    pub method: String,
    /// How the pieces were conditioned before the test.
    #[serde(default)]
    pub conditioning: String,
}

impl Used {
    /// Whether nothing is said.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// The items that it names.
    pub fn items(&self) -> impl Iterator<Item = EntryId> {
        let all = [self.machine, self.cell, self.extensometer, self.fixture];
        all.into_iter().flatten()
    }
}

impl Equipment {
    /// Whether it can be: a name, a range that is one, days in order, hashes that are some.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        let ends = [self.range_from, self.range_to];
        let is_end = |end: f64| end.is_finite() && (0.0..1e9).contains(&end);
        let is_range = match (self.range_from, self.range_to) {
            (Some(from), Some(to)) => from < to,
            _ => true,
        };
        let is_in_order = match (self.calibrated_on, self.valid_until) {
            (Some(on), Some(until)) => on <= until,
            (None, Some(_)) => false,
            _ => true,
        };
        let is_paper = self.paper.as_ref().is_none_or(|paper| {
            let is_digit = |b: u8| matches!(b, b'0'..=b'9' | b'a'..=b'f');
            paper.sha256.len() == 64 && paper.sha256.bytes().all(is_digit) && paper.bytes > 0
        });
        !self.name.trim().is_empty()
            && ends.into_iter().flatten().all(is_end)
            && is_range
            && is_in_order
            && is_paper
            && self.picture.as_ref().is_none_or(Files::is_sound)
    }
}
