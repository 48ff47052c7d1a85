//! When a plan takes a piece for dry: the rule that its final dry mass must pass.

use serde::{Deserialize, Serialize};

use crate::study::choice::choice;
use crate::study::reading::{MoistureState, Occasion, Quantity, Reading};

/// The plan's rule for drying.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DryingPlan {
    /// When a piece is dry.
    pub rule: DryingRule,
    /// Whether a mass before exposure must pass the same rule.
    pub is_before_too: bool,
}

/// When a piece is dry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum DryingRule {
    /// The change in the second half of the drying time is at most a share of the whole change, over
    /// some days at least, and the last two weighings far enough apart agree.
    ConstantMass {
        /// Largest share of the whole change in the second half, in %.
        share_percent: f64,
        /// Least time of drying, in days.
        days: u32,
        /// Least time between the two weighings that must agree, in hours.
        apart_hours: u32,
        /// They agree when they differ by no more than the change of mass that matters, divided by
        /// this.
        divisor: f64,
    },
    /// Kept in a room, its temperature and humidity logged, for so long.
    RoomDry {
        /// Least time, in days.
        days: u32,
    },
    /// Three weighings in a row agree; for thin or porous pieces only.
    ThreeWeighings {
        /// Least time between two of them, in hours.
        apart_hours: u32,
        /// Largest difference among them, in % of the mass.
        percent: f64,
    },
}

choice! {
    /// The kinds of rule, as a form offers them.
    pub enum DryingKind {
        /// No drying round.
        None = "none", "no drying before the mass is read";
        /// To constant mass.
        ConstantMass = "constant_mass", "to constant mass";
        /// Room-dry.
        RoomDry = "room_dry", "room-dry for a set time, the room's temperature and humidity logged";
        /// Three weighings.
        ThreeWeighings = "three_weighings", "three weighings in a row (thin or porous pieces only)";
    }
}

impl DryingRule {
    /// The usual rule for a solid plastic piece (common practice, no source): 10 %, 7 days, 24 hours,
    /// a tenth of the change that matters.
    #[must_use]
    pub fn usual() -> Self {
        Self::ConstantMass {
            share_percent: 10.0,
            days: 7,
            apart_hours: 24,
            divisor: 10.0,
        }
    }

    /// Which kind it is.
    #[must_use]
    pub fn kind(&self) -> DryingKind {
        match self {
            Self::ConstantMass { .. } => DryingKind::ConstantMass,
            Self::RoomDry { .. } => DryingKind::RoomDry,
            Self::ThreeWeighings { .. } => DryingKind::ThreeWeighings,
        }
    }

    /// The rule in a sentence; `matters_percent` is the plan's change of mass that matters, in %.
    #[must_use]
    pub fn words(&self, matters_percent: f64) -> String {
        match self {
            Self::ConstantMass {
                share_percent,
                days,
                apart_hours,
                divisor,
            } => format!(
                "A mass counts as constant when the change in the second half of the drying time is at \
                 most {share_percent} % of the whole change so far, over {days} days or more, and the \
                 last two weighings {apart_hours} hours or more apart differ by no more than {} % (the \
                 change that matters, {matters_percent} %, divided by {divisor}).",
                crate::study::units::in_digits(matters_percent / divisor, 3)
            ),
            Self::RoomDry { days } => format!(
                "Pieces are kept room-dry for {days} days or more before their mass is read, with the \
                 room's temperature and humidity logged and the storage control alongside."
            ),
            Self::ThreeWeighings {
                apart_hours,
                percent,
            } => format!(
                "A mass counts as constant when three weighings in a row, each {apart_hours} hours or \
                 more after the one before, agree within {percent} %. This is a rule for thin or porous \
                 pieces."
            ),
        }
    }
}

impl DryingPlan {
    /// Whether a reading is a final dry mass, which the rule must pass before it is taken.
    /// `reference_state` is the state in which the plan compares pieces.
    #[must_use]
    pub fn asks_of(&self, reading: &Reading, reference_state: MoistureState) -> bool {
        let state = self.final_state(reference_state);
        reading.quantity == Quantity::Mass
            && reading.state == state
            && self.asks_on(reading.occasion)
    }

    /// Whether masses of an occasion must pass the rule.
    #[must_use]
    pub fn asks_on(&self, occasion: Occasion) -> bool {
        occasion == Occasion::After || self.is_before_too
    }

    /// The state of a piece that has passed the rule.
    #[must_use]
    pub fn final_state(&self, reference_state: MoistureState) -> MoistureState {
        match self.rule {
            DryingRule::RoomDry { .. } => reference_state,
            DryingRule::ConstantMass { .. } | DryingRule::ThreeWeighings { .. } => {
                MoistureState::ReDried
            }
        }
    }
}
