//! What came of a parcel: how many pieces, its seal, photographs on arrival, the temperature on the
//! way; what differs from what was sent, and how that was settled. Both sides see the same list.

use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::choice::choice;
use super::code::BlindCode;
use super::consignment::Arrival;
use super::environment::{Channel, Layout, Measurand};
use super::fault::Faults;
use super::ids::ConsignmentId;
use super::photograph::Files;
use super::record::ConsignmentRecord;
use super::typed::Typed;
use super::units::whole;
use super::when;

choice! {
    /// How the seal of a parcel was found.
    pub enum SealState {
        /// Intact.
        Intact = "intact", "intact";
        /// Broken.
        Broken = "broken", "broken";
        /// There was none.
        None = "none", "no seal";
    }
}

/// A parcel as it was opened.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ParcelReceipt {
    /// The consignment.
    pub consignment: ConsignmentId,
    /// When it came.
    pub at: DateTime<Utc>,
    /// How many pieces were counted in it.
    pub count: u32,
    /// How its seal was found.
    pub seal: SealState,
    /// The number on the seal; empty when there was none.
    #[serde(default)]
    pub seal_number: String,
}

impl ParcelReceipt {
    /// Reads the fields `at`, `count`, `seal` and `seal_number`.
    ///
    /// # Errors
    /// Every fault of the form.
    pub fn parse(
        typed: &Typed,
        consignment: ConsignmentId,
        (zone, now): (&str, DateTime<Utc>),
    ) -> Result<Self, Faults> {
        let mut faults = Faults::none();
        let at = faults.keep(when::moment("at", "The time", typed.text("at"), zone));
        let count = whole(
            "count",
            "The number of pieces",
            typed.text("count"),
            0,
            9999,
        );
        let count = faults.keep(count);
        let seal = faults.keep(SealState::typed("seal", "The seal", typed.text("seal")));
        let number = faults.keep(typed.line("seal_number", "The number on the seal"));
        // A day typed without an hour counts from noon, which may still lie ahead.
        if at.is_some_and(|at| at > now + chrono::TimeDelta::hours(14)) {
            faults.push("at", "The time lies in the future; check the date.");
        }
        if seal == Some(SealState::None) && number.as_ref().is_some_and(|text| !text.is_empty()) {
            faults.push(
                "seal_number",
                "A parcel without a seal has no number on it.",
            );
        }
        let read = || {
            Some(Self {
                consignment,
                at: at?,
                count: count?,
                seal: seal?,
                seal_number: number?,
            })
        };
        faults.and_some(read())
    }

    /// The fields of the form, its time in this zone.
    #[must_use]
    pub fn to_fields(&self, zone: &str) -> Typed {
        let mut typed = Typed::default();
        typed.set("at", when::field(self.at, zone));
        typed.set("count", self.count.to_string());
        typed.set("seal", self.seal.key());
        typed.set("seal_number", self.seal_number.clone());
        typed
    }

    /// Its seal in words.
    #[must_use]
    pub fn seal_words(&self) -> String {
        match self.seal_number.as_str() {
            "" => self.seal.label().to_owned(),
            number => format!("{}, number {number}", self.seal.label()),
        }
    }
}

/// A photograph of what arrived.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ArrivalPhotograph {
    /// The consignment.
    pub consignment: ConsignmentId,
    /// The pieces that it shows; none for the parcel as a whole.
    #[serde(default)]
    pub blinds: Vec<BlindCode>,
    /// The pictures made of it.
    pub files: Files,
}

/// The lowest and highest value of a channel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Extremes {
    /// What was measured, in its unit.
    pub measurand: Measurand,
    /// Lowest.
    pub lowest: f64,
    /// Highest.
    pub highest: f64,
}

/// A logger that travelled with the parcel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TransitLogged {
    /// The consignment.
    pub consignment: ConsignmentId,
    /// What people call the logger.
    pub name: String,
    /// How its file was read.
    pub layout: Layout,
    /// Its columns, in the order of the values.
    pub channels: Vec<Channel>,
    /// SHA-256 of the original bytes, in hexadecimal digits.
    pub file_sha256: String,
    /// SHA-256 of the values read from them.
    pub values_sha256: String,
    /// Number of rows.
    pub rows: u32,
    /// Moment of the first row.
    pub first: DateTime<Utc>,
    /// Moment of the last row.
    pub last: DateTime<Utc>,
    /// What each channel ran from and to.
    pub extremes: Vec<Extremes>,
}

impl TransitLogged {
    /// Whether it can be: rows, moments in order, hashes that are some.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        let is_hash = |text: &str| {
            text.len() == 64 && text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'))
        };
        let is_run = |one: &Extremes| one.lowest.is_finite() && one.highest >= one.lowest;
        self.rows > 0
            && self.first <= self.last
            && is_hash(&self.file_sha256)
            && is_hash(&self.values_sha256)
            && !self.extremes.is_empty()
            && self.extremes.iter().all(is_run)
    }
}

/// What a difference is about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum About {
    /// The number of pieces.
    Count,
    /// The seal.
    Seal,
    /// A piece.
    Piece(BlindCode),
}

impl fmt::Display for About {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Count => f.write_str("count"),
            Self::Seal => f.write_str("seal"),
            Self::Piece(blind) => write!(f, "piece:{blind}"),
        }
    }
}

impl FromStr for About {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let bad = || format!("{text:?} is nothing that can differ");
        match text.split_once(':') {
            None if text == "count" => Ok(Self::Count),
            None if text == "seal" => Ok(Self::Seal),
            Some(("piece", blind)) => blind.parse().map(Self::Piece).map_err(|_| bad()),
            _ => Err(bad()),
        }
    }
}

impl Serialize for About {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for About {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

/// Something that arrived otherwise than it was sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// What it is about.
    pub about: About,
    /// In words that either side may read.
    pub words: String,
}

/// What arrived otherwise than it was sent, settled or not: the count, the seal, then the pieces in
/// the order of testing.
#[must_use]
pub fn differences(consignment: &ConsignmentRecord) -> Vec<Difference> {
    let mut found = Vec::new();
    if let Some(receipt) = &consignment.custody.receipt {
        let sent = consignment.pieces.len();
        if usize::try_from(receipt.count) != Ok(sent) {
            found.push(Difference {
                about: About::Count,
                words: format!("{sent} sent, {} counted on arrival", receipt.count),
            });
        }
        let sealed = consignment.custody.seal_number.as_deref();
        found.extend(seal_words(receipt, sealed).map(|words| Difference {
            about: About::Seal,
            words,
        }));
    }
    for piece in &consignment.pieces {
        if let Some(arrival) = piece.arrival.filter(|arrival| *arrival != Arrival::Good) {
            found.push(Difference {
                about: About::Piece(piece.blind.clone()),
                words: format!("{} {}", piece.blind, arrival.label()),
            });
        }
    }
    found
}

fn seal_words(receipt: &ParcelReceipt, sealed: Option<&str>) -> Option<String> {
    let found = receipt.seal_number.as_str();
    match (receipt.seal, sealed) {
        (SealState::Broken, _) => Some("the seal was broken".to_owned()),
        (SealState::None, Some(number)) => Some(format!(
            "sealed with number {number}, arrived without a seal"
        )),
        (SealState::Intact, Some(number)) if !found.eq_ignore_ascii_case(number) => {
            let found = if found.is_empty() { "none" } else { found };
            Some(format!(
                "sealed with number {number}, number on arrival: {found}"
            ))
        }
        (SealState::Intact, None) if !found.is_empty() => Some(format!(
            "arrived with the seal {found}; no seal is on record with the sender"
        )),
        _ => None,
    }
}
