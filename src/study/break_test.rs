//! A break test as a tester reports it, under the blind code. Reading it from a form is in [`form`],
//! a block out of a spreadsheet in [`block`], asking once about a doubtful load in [`doubt`], where a bond came apart in [`failure`], what the tester is told in [`instructions`].

pub mod block;
pub mod doubt;
pub mod failure;
pub mod form;
pub mod instructions;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::choice::choice;
use super::code::BlindCode;
use super::equipment::Used;
use super::ids::ConsignmentId;
use super::units::{AsTyped, Unit};
use failure::FailureShares;

choice! {
    /// What the test says about the piece.
    pub enum Outcome {
        /// A valid maximum load.
        Valid = "valid", "valid";
        /// The test does not measure the piece; a reason stands beside it.
        Invalid = "invalid", "invalid";
        /// The piece carried at least this load (did not break, grip slipped late, rig limit).
        LowerBound = "lower_bound", "at least this load";
        /// It could not carry load: too weak to mount, or broke while being handled. Counts as 0 N.
        TotalLoss = "total_loss", "could not carry load";
    }
}

choice! {
    /// How the piece failed, or why the test is not a plain valid one.
    pub enum FailureMode {
        /// Broke where it was meant to.
        Break = "break", "broke in the test region";
        /// Cracked, not apart.
        Crack = "crack", "cracked";
        /// Opened or unbent without breaking, to the plan's end of test.
        Opened = "opened", "opened without breaking";
        /// Broke at a layer line or joint.
        LayerSplit = "layer_split", "split along a layer or joint";
        /// Slipped in the grip.
        GripSlip = "grip_slip", "slipped in the grip";
        /// Broke in or at the grip or shoulder.
        GripBreak = "grip_break", "broke at the grip or shoulder";
        /// Broke at a flaw visible before the test.
        VisibleFlaw = "visible_flaw", "broke at a visible flaw";
        /// Beyond the range of the machine or rig.
        OverRange = "over_range", "beyond the machine's range";
        /// Tested at a wrong speed or badly aligned.
        WrongSetUp = "wrong_set_up", "wrong speed or alignment";
        /// Broke before the test.
        BrokeBefore = "broke_before", "broke before the test";
        /// Dropped, and hurt by that.
        Dropped = "dropped", "dropped before the test";
        /// Did not break.
        NoBreak = "no_break", "did not break";
    }
}

/// One break test. Its reason (for an invalid test, or for breaking the order) is the entry's note.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BreakTest {
    /// The consignment.
    pub consignment: ConsignmentId,
    /// The piece.
    pub blind: BlindCode,
    /// What the test says.
    pub outcome: Outcome,
    /// Maximum load in N; `None` for an invalid test without a number and for total loss.
    pub max_load_n: Option<f64>,
    /// As typed.
    pub typed: Option<AsTyped>,
    /// The energy that a striker lost, J, where it was an impact test.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub energy_j: Option<f64>,
    /// How it failed.
    pub mode: FailureMode,
    /// Where the bond came apart, in a pull-off test.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub failure: Option<FailureShares>,
    /// Tested before pieces that stand earlier in the listed order.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub is_out_of_order: bool,
    /// The value looked doubtful, was asked about, and was confirmed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub is_confirmed_doubt: bool,
}

/// What is set once for a consignment's tests.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TestSession {
    /// The consignment.
    pub consignment: ConsignmentId,
    /// Machine or rig, as the lab calls it.
    pub machine: String,
    /// Fixture or grips.
    pub fixture: String,
    /// Speed in mm/min; `None` for a load applied by hand.
    pub speed_mm_min: Option<f64>,
    /// Room temperature in °C.
    pub room_c: Option<f64>,
    /// Room relative humidity in %.
    pub room_rh_percent: Option<f64>,
    /// The unit in which loads are typed.
    pub load_unit: Unit,
    /// The day of the tests.
    pub tested_on: NaiveDate,
    /// Known check load in N.
    pub check_load_n: Option<f64>,
    /// What the machine showed for it at the opening, in N.
    pub check_opening_n: Option<f64>,
    /// What it showed at the closing, in N.
    pub check_closing_n: Option<f64>,
    /// The largest drift between the two that is accepted, in % of the check load.
    pub drift_limit_percent: Option<f64>,
    /// What of the lab's record is used, the method and the conditioning.
    #[serde(default, skip_serializing_if = "Used::is_empty")]
    pub used: Used,
}

impl TestSession {
    /// Whether another set-up goes on with this session: the same day on the same machine.
    #[must_use]
    pub fn goes_on_in(&self, other: &Self) -> bool {
        let is_same = self.used.machine == other.used.machine && self.used.cell == other.used.cell;
        is_same && self.tested_on == other.tested_on && self.machine == other.machine
    }

    /// Drift of the check load from opening to closing, in %; `None` when it was not logged.
    #[must_use]
    pub fn drift_percent(&self) -> Option<f64> {
        let known = self.check_load_n.filter(|n| *n > 0.0)?;
        Some((self.check_closing_n? - self.check_opening_n?) / known * 100.0)
    }
}

choice! {
    /// What a piece looked like to the tester.
    pub enum Looks {
        /// Kept indoors.
        Indoors = "indoors", "kept indoors";
        /// Exposed.
        Exposed = "exposed", "exposed";
        /// Can't tell.
        CannotTell = "cannot_tell", "can't tell";
    }
}
