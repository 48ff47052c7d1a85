//! A consignment: pieces packed under blind codes for one lab, and the states of the parcel. Reading
//! one from a form is in [`form`], repeating invalid tests on spares in [`retest`].

pub mod form;
pub mod retest;

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::allocation::Dice;
use super::choice::choice;
use super::code::{BlindCode, Code};
use super::ids::ConsignmentId;

choice! {
    /// What happened to the steward's label of a packed piece.
    pub enum Label {
        /// Removed.
        Removed = "removed", "removed";
        /// Covered.
        Covered = "covered", "covered";
        /// Visible to the tester; printed on the public page.
        Visible = "visible", "visible to the tester";
    }
}

/// Which pieces a consignment holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Contents {
    /// The baseline set, broken at the start, by itself.
    Baseline,
    /// Pieces of one stage, storage controls mixed in.
    Stage {
        /// The stage, in days.
        days: u32,
    },
}

/// One packed piece. Its place in the list is the order of testing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Packed {
    /// The steward's code.
    pub specimen: Code,
    /// The code under which the tester knows it.
    pub blind: BlindCode,
    /// What happened to the steward's label.
    pub label: Label,
    /// For a spare: the piece whose test was invalid, in whose place it is tested.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retest_of: Option<Code>,
}

/// A piece that is to be packed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToPack {
    /// The steward's code.
    pub specimen: Code,
    /// What happens to the steward's label.
    pub label: Label,
    /// As in [`Packed::retest_of`].
    pub retest_of: Option<Code>,
}

/// A consignment as it is packed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Consigned {
    /// Its id.
    pub consignment: ConsignmentId,
    /// The lab, as both sides call it.
    pub lab: String,
    /// Which pieces it holds.
    pub contents: Contents,
    /// The pieces in random order.
    pub pieces: Vec<Packed>,
}

choice! {
    /// Where a parcel is.
    pub enum ParcelState {
        /// Packed.
        Packed = "packed", "packed";
        /// Handed over to a carrier or in person.
        HandedOver = "handed_over", "handed over";
        /// Held on the way (customs).
        Held = "held", "held on the way";
        /// Received by the lab.
        Received = "received", "received";
        /// Returned to the steward.
        Returned = "returned", "returned";
        /// Discarded after the tests.
        Discarded = "discarded", "discarded";
        /// Lost on the way.
        Lost = "lost", "lost on the way";
    }
}

choice! {
    /// In what state a piece arrived.
    pub enum Arrival {
        /// Arrived whole.
        Good = "good", "arrived whole";
        /// Arrived with a remark.
        Remark = "remark", "arrived, with a remark";
        /// Arrived damaged.
        Damaged = "damaged", "arrived damaged";
        /// Not in the box.
        Missing = "missing", "not in the box";
    }
}

/// Puts pieces into the order of testing, which is random, each under a fresh blind code that no
/// other consignment of the study uses. Order and codes come from `random` alone: nothing about a
/// piece enters them. In `serve` that is the operating system's generator.
pub fn blind(
    mut pieces: Vec<ToPack>,
    taken: &BTreeSet<BlindCode>,
    seed: &[u8; 32],
    mut random: impl FnMut() -> [u8; 6],
) -> Vec<Packed> {
    Dice::new(seed).shuffle(&mut pieces);
    let mut used = taken.clone();
    let mut fresh = || loop {
        let code = BlindCode::from_bytes(random());
        if let Some(code) = code.filter(|code| used.insert(code.clone())) {
            return code;
        }
    };
    let packed = |piece: ToPack| Packed {
        specimen: piece.specimen,
        blind: fresh(),
        label: piece.label,
        retest_of: piece.retest_of,
    };
    pieces.into_iter().map(packed).collect()
}
