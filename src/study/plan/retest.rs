//! Whether a spare may take the place of a piece whose test was invalid (ISO 527-1 lets broken shoulders
//! be discarded and replaced; what may be repeated is said before anything is broken).

use serde::{Deserialize, Serialize};

use super::Plan;
use crate::study::allocation::Place;
use crate::study::choice::choice;

choice! {
    /// Of which pieces an invalid test may be repeated on a spare. A spare was never out, so it can stand
    /// for no piece that was exposed.
    pub enum RetestSets {
        /// Of the baseline set alone.
        Baseline = "baseline", "of the baseline set";
        /// Of the baseline set and of the storage controls.
        Unexposed = "unexposed", "of the baseline set and of the storage controls";
    }
}

choice! {
    /// What makes a spare of the same batch.
    pub enum SameBatch {
        /// The same lot of material and the same build.
        Build = "build", "of the same lot and build";
        /// The same lot of material.
        Lot = "lot", "of the same lot";
    }
}

/// The plan's rule for repeating invalid tests.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct RetestRule {
    /// Of which pieces.
    pub sets: RetestSets,
    /// On which spares.
    pub batch: SameBatch,
}

impl RetestRule {
    /// Whether an invalid test of a piece in this place may be repeated.
    #[must_use]
    pub fn allows(self, plan: &Plan, place: &Place) -> bool {
        match place {
            Place::Baseline => true,
            Place::Exposed { condition, .. } => {
                let control = plan.storage_control();
                self.sets == RetestSets::Unexposed && control.is_some_and(|c| c.key == *condition)
            }
            Place::Spare | Place::LateReference => false,
        }
    }

    /// Whether two pieces, each by its lot and its build, are of one batch.
    #[must_use]
    pub fn is_one_batch(self, one: (&str, &str), other: (&str, &str)) -> bool {
        one.0 == other.0 && (self.batch == SameBatch::Lot || one.1 == other.1)
    }

    /// `an invalid test of the baseline set is repeated on a spare of the same lot and build`
    #[must_use]
    pub fn in_words(self) -> String {
        format!(
            "an invalid test {} is repeated on a spare {}",
            self.sets.label(),
            self.batch.label()
        )
    }
}
