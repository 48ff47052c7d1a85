//! The plan of a study: what is asked, what is made, where it goes, and how the answer is decided.
//!
//! Its parts: the pieces ([`piece`]) and their test ([`method`]), the places and times ([`place`]), the decision ([`decide`]).
//! Reading it from a form is in [`form`], counting and warning in [`check`], what an amendment
//! changed in [`difference`].

pub mod check;
mod decide;
pub mod difference;
mod drying;
pub mod form;
mod method;
mod piece;
mod place;
mod retest;
pub mod words;

pub use decide::{Covariate, OutlierRule, Response, Spreads};
pub use drying::{DryingKind, DryingPlan, DryingRule};
pub use method::{ModulusBy, SizesAt, TestKind, TestMethod};
pub use piece::{DimensionPlan, EndOfTest, MassPlan, Material, Shape, SpecimenForm};
pub use place::{Condition, Environment, Holder, Stage};
pub use retest::{RetestRule, RetestSets, SameBatch};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::reading::{MoistureState, Quantity};

/// The whole plan. Its bytes as JSON are what a seal hashes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// The question in the steward's words.
    pub question: String,
    /// What the specimens are made of.
    pub material: Material,
    /// The lots of material.
    pub lots: Vec<String>,
    /// The builds (print plates, mould shots, boards).
    pub builds: Vec<String>,
    /// What a specimen is and how its test ends.
    pub form: SpecimenForm,
    /// The dimensions to be read.
    pub dimensions: Vec<DimensionPlan>,
    /// How masses are read.
    pub mass: MassPlan,
    /// The conditions; exactly one may be the storage control.
    pub conditions: Vec<Condition>,
    /// The stages, in ascending days.
    pub stages: Vec<Stage>,
    /// Pieces broken at the start.
    pub baseline: u32,
    /// Pieces made and measured but not allocated.
    pub spares: u32,
    /// The moisture state in which pieces are compared.
    pub reference_state: MoistureState,
    /// How pieces are conditioned, rinsed and dried, in words.
    pub state_protocol: String,
    /// When a piece is dry enough for its final mass; `None` when the plan has no drying round. Left out
    /// of the bytes then, so that a plan sealed before there was such a rule keeps its hash.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drying: Option<DryingPlan>,
    /// The response that decides.
    pub primary: Response,
    /// The stage that decides, in days.
    pub primary_stage_days: u32,
    /// Compare the storage control with the baseline as well.
    pub compares_storage_with_baseline: bool,
    /// Compare the exposed pieces with the baseline as well.
    pub compares_exposed_with_baseline: bool,
    /// The largest change that does not matter, in % of the storage control.
    pub margin_percent: f64,
    /// Why the margin differs from the default, when it does.
    pub margin_reason: String,
    /// Confidence of the simultaneous intervals, in %.
    pub confidence_percent: f64,
    /// Whether the groups' spreads are pooled.
    pub spreads: Spreads,
    /// Which values are flagged as outlying.
    pub outlier_rule: OutlierRule,
    /// A reading from before exposure used to adjust, or none.
    pub covariate: Covariate,
    /// Whether the Weibull shape and characteristic load of each set are asked for as well.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub asks_weibull: bool,
    /// The retention whose time is asked for, in % of the start; `None`: what the margin leaves.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retention_percent: Option<f64>,
    /// Coefficient of variation expected between like pieces, in %, for the power of the design.
    pub expected_cv_percent: f64,
    /// Why some condition has fewer than three holders.
    pub few_holders_reason: String,
    /// Which invalid tests are repeated on a spare; `None`: none are. Left out of the bytes then, as
    /// [`Plan::drying`] is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retests: Option<RetestRule>,
    /// What happens with invalid tests, missing pieces and early stopping, in words.
    pub exceptions_rule: String,
}

impl Plan {
    /// The plan as the bytes that are stored, downloaded and hashed.
    ///
    /// # Errors
    /// When it cannot be written as JSON (a number that is not finite).
    pub fn to_bytes(&self) -> Result<Vec<u8>, serde_json::Error> {
        serde_json::to_vec_pretty(self)
    }

    /// The condition with a key.
    #[must_use]
    pub fn condition(&self, key: &str) -> Option<&Condition> {
        self.conditions
            .iter()
            .find(|condition| condition.key == key)
    }

    /// The storage control, when the plan has one.
    #[must_use]
    pub fn storage_control(&self) -> Option<&Condition> {
        self.conditions
            .iter()
            .find(|condition| condition.is_storage_control)
    }

    /// The condition and the holder with a holder's key.
    #[must_use]
    pub fn holder(&self, key: &str) -> Option<(&Condition, &Holder)> {
        self.conditions.iter().find_map(|condition| {
            condition
                .holders
                .iter()
                .find(|holder| holder.key == key)
                .map(|holder| (condition, holder))
        })
    }

    /// The stage of that many days.
    #[must_use]
    pub fn stage(&self, days: u32) -> Option<&Stage> {
        self.stages.iter().find(|stage| stage.days == days)
    }

    /// How many readings of a quantity the plan calls for each time; 0 when none.
    #[must_use]
    pub fn readings_of(&self, quantity: &Quantity) -> u8 {
        match quantity {
            Quantity::Mass => self.mass.readings,
            Quantity::Length(name) => self
                .dimensions
                .iter()
                .find(|d| d.name == *name)
                .map_or(0, |d| d.places),
        }
    }

    /// Every quantity that the plan calls for.
    #[must_use]
    pub fn quantities(&self) -> Vec<Quantity> {
        let mass = (self.mass.readings > 0).then_some(Quantity::Mass);
        let lengths = self
            .dimensions
            .iter()
            .map(|d| Quantity::Length(d.name.clone()));
        mass.into_iter().chain(lengths).collect()
    }
}

/// SHA-256 in hexadecimal digits.
#[must_use]
pub fn sha256_hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}
