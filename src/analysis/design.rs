//! What the design can see, for now by two groups and the noncentral t distribution.
//!
//! The rule that the plan will use for its verdicts (practice.md §3.5) is another one and stricter:
//! simultaneous intervals, with the growth of spread after exposure. This table says so in its name.

use serde::{Deserialize, Serialize};

use crate::analysis::family::exposed;
use crate::stats::power::{self, Sizes, Tails};
use crate::study::plan::Plan;

/// Chance with which a difference is to be seen.
pub const POWER: f64 = 0.8;

/// Coefficients of variation shown beside the expected one, in %: moulded, printed flat, printed
/// upright, outdoor wood (trade.md §7.5).
const USUAL_CV_PERCENT: [f64; 4] = [2.0, 5.0, 10.0, 15.0];

/// What the design can see.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Design {
    /// How it was computed.
    pub method: DesignMethod,
    /// Error rate of the two-sided test, as a fraction.
    pub alpha: f64,
    /// Chance with which the difference is seen, as a fraction.
    pub power: f64,
    /// Values per exposed group at the primary stage, the smallest of the groups.
    pub exposed: usize,
    /// Values in the group compared with.
    pub reference: usize,
    /// One line for each scatter, the plan's expected one first.
    pub lines: Vec<DesignLine>,
}

/// How the figures were computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DesignMethod {
    /// Two groups, noncentral t, equal spread, one comparison.
    TwoGroups,
}

/// What is seen at one scatter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DesignLine {
    /// Coefficient of variation, in %.
    pub cv_percent: f64,
    /// Smallest difference seen with the stated chance, in % of the mean.
    pub detectable_percent: f64,
}

/// The two-group figures for a plan; `None` when it has no two groups of which one has two pieces.
///
/// # Source
/// Two-sided t test, noncentral t ([`power::detectable`]); the handbook's table in trade.md §7.4.
#[must_use]
pub fn design(plan: &Plan) -> Option<Design> {
    let at = plan
        .stages
        .iter()
        .position(|s| s.days == plan.primary_stage_days)?;
    let of = |replicates: &[u32]| replicates.get(at).copied().filter(|n| *n > 0);
    let exposed = exposed(plan).filter_map(|c| of(&c.replicates)).min()?;
    let reference = match plan.storage_control() {
        Some(control) => of(&control.replicates)?,
        None => Some(plan.baseline).filter(|n| *n > 0)?,
    };
    let sizes = Sizes {
        first: usize::try_from(exposed).ok()?,
        second: usize::try_from(reference).ok()?,
    };
    let alpha = 1.0 - plan.confidence_percent / 100.0;
    let in_sd = power::detectable(sizes, POWER, alpha, Tails::Two).ok()?;
    let expected = plan.expected_cv_percent;
    let others = USUAL_CV_PERCENT.into_iter().filter(|cv| *cv != expected);
    let lines = std::iter::once(expected).chain(others);
    Some(Design {
        method: DesignMethod::TwoGroups,
        alpha,
        power: POWER,
        exposed: sizes.first,
        reference: sizes.second,
        lines: lines
            .map(|cv_percent| DesignLine {
                cv_percent,
                detectable_percent: in_sd * cv_percent,
            })
            .collect(),
    })
}
