//! A study's consignments as they stand, with their pieces, tests and links.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::{CustodyRecord, Standing};
use crate::study::break_test::{BreakTest, Looks, TestSession};
use crate::study::code::{BlindCode, Code};
use crate::study::consignment::{Arrival, Contents, Label, ParcelState};
use crate::study::curve::KeptCurve;
use crate::study::ids::{ConsignmentId, EntryId, LinkId};

/// A consignment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ConsignmentRecord {
    /// Its id.
    pub id: ConsignmentId,
    /// The lab.
    pub lab: String,
    /// What it holds.
    pub contents: Contents,
    /// When it was packed.
    pub packed_at: DateTime<Utc>,
    /// Where the parcel is.
    pub parcel: ParcelState,
    /// The parcel's way: state and time.
    pub way: Vec<(ParcelState, DateTime<Utc>)>,
    /// Its pieces in the order of testing.
    pub pieces: Vec<PieceRecord>,
    /// What the tester set; the last one.
    pub session: Option<TestSession>,
    /// The sessions, each as it was set last, in their order.
    #[serde(default)]
    pub sessions: Vec<TestSession>,
    /// The earlier consignment by which its lab is known; `None` when it is the first.
    #[serde(default)]
    pub same_lab_as: Option<ConsignmentId>,
    /// The lab's last set-up in another study, brought over from there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub brought: Option<TestSession>,
    /// What is known of its parcel.
    #[serde(default)]
    pub custody: CustodyRecord,
    /// Every test, also corrected ones, in the journal's order.
    pub tests: Vec<TestRecord>,
    /// The curve that counts of each piece that has one, in the order of their codes.
    #[serde(default)]
    pub curves: Vec<KeptCurve>,
    /// Its lab links.
    pub links: Vec<LinkRecord>,
    /// When it was declared finished.
    pub finished_at: Option<DateTime<Utc>>,
    /// When it was unblinded.
    pub unblinded_at: Option<DateTime<Utc>>,
    /// The reason, when it was unblinded before it was finished.
    pub early_reason: Option<String>,
    /// Why it was opened again, each time.
    pub reopened: Vec<String>,
}

impl ConsignmentRecord {
    /// The test of a piece that counts.
    #[must_use]
    pub fn test_of(&self, blind: &BlindCode) -> Option<&TestRecord> {
        self.tests
            .iter()
            .find(|t| t.standing == Standing::Current && t.test.blind == *blind)
    }

    /// The curve of a piece that counts.
    #[must_use]
    pub fn curve_of(&self, blind: &BlindCode) -> Option<&KeptCurve> {
        self.curves.iter().find(|curve| curve.blind == *blind)
    }

    /// How many pieces have a test that counts.
    #[must_use]
    pub fn tests_done(&self) -> usize {
        self.tests
            .iter()
            .filter(|test| test.standing == Standing::Current)
            .count()
    }

    /// Whether its values are still hidden.
    #[must_use]
    pub fn is_blind(&self) -> bool {
        self.unblinded_at.is_none()
    }
}

/// A packed piece.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PieceRecord {
    /// The steward's code.
    pub specimen: Code,
    /// The tester's code.
    pub blind: BlindCode,
    /// Place in the order of testing, from 1.
    pub position: u32,
    /// What happened to the steward's label.
    pub label: Label,
    /// For a spare: the piece whose test was invalid, in whose place it is tested.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retest_of: Option<Code>,
    /// How it arrived.
    pub arrival: Option<Arrival>,
    /// The tester's remark on its arrival.
    pub arrival_note: Option<String>,
    /// What it looked like to the tester.
    pub looks: Option<Looks>,
}

/// A break test as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TestRecord {
    /// Its entry.
    pub entry: EntryId,
    /// The test.
    pub test: BreakTest,
    /// When the server received it.
    pub received_at: DateTime<Utc>,
    /// Whether it counts.
    pub standing: Standing,
    /// The entry that it corrects.
    pub supersedes: Option<EntryId>,
    /// Corrected after the consignment was unblinded.
    pub is_knowing_group: bool,
    /// The reason or remark.
    pub note: Option<String>,
    /// In which of its consignment's sessions it was made, from 1.
    #[serde(default)]
    pub session: Option<u32>,
}

/// A lab link; its secret is not here.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LinkRecord {
    /// Its id.
    pub id: LinkId,
    /// Days it stays open after the parcel's receipt.
    pub days: u32,
    /// When it ends.
    pub ends_at: DateTime<Utc>,
    /// Whether it was revoked.
    pub is_revoked: bool,
}
