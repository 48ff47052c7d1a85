//! A specimen: what it is for, where it is, and how sure its identity is.

use serde::{Deserialize, Serialize};

use super::choice::choice;
use super::code::Code;

/// One piece as it is registered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Made {
    /// Its code.
    pub code: Code,
    /// The lot of material.
    pub lot: String,
    /// The build (print plate, mould shot, board).
    pub build: String,
    /// Its place in the order of making within the build, from 1.
    pub order: u32,
}

choice! {
    /// Where a piece is now, as far as the journal knows.
    pub enum Whereabouts {
        /// On the bench: made, perhaps measured, not yet out.
        Bench = "bench", "on the bench";
        /// Out in its condition.
        Out = "out", "out";
        /// Taken in again.
        In = "in", "taken in";
        /// Packed in a consignment.
        Consigned = "consigned", "packed for the lab";
        /// Broken in a test (or its test declared invalid): it cannot be used again.
        Tested = "tested", "tested";
        /// Not found.
        Lost = "lost", "not found";
        /// Destroyed before its test, or taken out of the study.
        Destroyed = "destroyed", "destroyed before its test";
        /// Rejected for a visible defect before the allocation.
        Rejected = "rejected", "rejected before the allocation";
    }
}

choice! {
    /// State on recovery.
    pub enum Recovery {
        /// Recovered whole.
        Whole = "whole", "recovered whole";
        /// Recovered damaged.
        Damaged = "damaged", "recovered damaged";
        /// Fragments only: it cannot carry load.
        Fragments = "fragments", "fragments only";
        /// Not found.
        NotFound = "not_found", "not found";
        /// Destroyed by an accident.
        Accident = "accident", "destroyed by an accident";
        /// Withdrawn in error, at the wrong time.
        InError = "in_error", "withdrawn in error";
    }
}

impl Recovery {
    /// Where a piece in this state is.
    #[must_use]
    pub fn whereabouts(self) -> Whereabouts {
        match self {
            Self::Whole | Self::Damaged | Self::InError | Self::Fragments => Whereabouts::In,
            Self::NotFound => Whereabouts::Lost,
            Self::Accident => Whereabouts::Destroyed,
        }
    }
}

choice! {
    /// How a recovered piece was identified.
    pub enum Identity {
        /// By its own mark.
        Mark = "mark", "by mark";
        /// By its place on the map of the holder.
        Place = "place", "by place";
        /// By elimination: all others of the holder were known.
        Elimination = "elimination", "by elimination";
        /// Not at all; only its holder is known.
        Unknown = "unknown", "unknown, only its holder";
    }
}
