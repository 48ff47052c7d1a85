//! What stands beside the comparison that decides and never replaces it: the assumptions looked at
//! ([`assumptions`]), the same question by other methods ([`robustness`]), and the mixed model
//! ([`holder_model`]).
//!
//! Everything here takes the groups exactly as the deciding comparison uses them (as counted for
//! display, on the same unit of replication, without the adjustment for a covariate).

pub mod assumptions;
pub mod holder_model;
pub mod robustness;

use serde::{Deserialize, Serialize};

use crate::analysis::arm::Counting;
use crate::analysis::beside::assumptions::Assumptions;
use crate::analysis::beside::holder_model::HolderModelFinding;
use crate::analysis::beside::robustness::Robustness;
use crate::analysis::compare::Side;
use crate::analysis::comparison::Unit;
use crate::analysis::family::{Family, Question, compared_sides};
use crate::analysis::piece::Piece;
use crate::analysis::primary::Primary;
use crate::analysis::sentence::Sentence;
use crate::analysis::words;
use crate::study::plan::Plan;

/// What stands beside the comparison that decides.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Beside {
    /// What was looked at before the numbers are believed; it chose no method.
    pub assumptions: Assumptions,
    /// The same question by other methods.
    pub robustness: Robustness,
    /// The mixed model; `None` when no compared group has several holders.
    pub holder_model: Option<HolderModelFinding>,
    /// All of it in words, in this order.
    pub words: Vec<Sentence>,
}

/// The groups that a family could compare, as it compared them.
pub(super) struct Compared<'f> {
    pub(super) plan: &'f Plan,
    pub(super) family: &'f Family,
    pub(super) reference: Side,
    /// Only those with an interval or with values enough for one.
    pub(super) sides: Vec<Side>,
}

impl Compared<'_> {
    pub(super) fn unit(&self) -> Unit {
        self.family.method.unit
    }

    pub(super) fn confidence(&self) -> f64 {
        self.plan.confidence_percent / 100.0
    }

    pub(super) fn is_change(&self) -> bool {
        !self.family.response.needs_breaking()
    }

    /// The reference first, then every side.
    pub(super) fn all(&self) -> impl Iterator<Item = &Side> {
        std::iter::once(&self.reference).chain(&self.sides)
    }
}

/// What stands beside the primary comparison.
#[must_use]
pub fn beside(plan: &Plan, pieces: &[Piece], primary: &Primary) -> Beside {
    let family = &primary.family;
    let question = Question {
        plan,
        response: &family.response,
        stage_days: family.stage_days,
        against: family.against,
        counting: Counting::LostExcluded,
        covariate: None,
    };
    let (reference, mut sides) = compared_sides(question, pieces);
    sides.retain(|side| side.arm.pieces() >= 2);
    let compared = Compared {
        plan,
        family,
        reference,
        sides,
    };
    let mut found = Beside {
        assumptions: assumptions::look(&compared, pieces),
        robustness: robustness::robustness(&compared),
        holder_model: holder_model::holder_model(&compared),
        words: Vec::new(),
    };
    found.words = words::beside::beside(plan, family, &found);
    found
}
