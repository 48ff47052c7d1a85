//! How the drying of a piece stands, in words. `static/dry_rule.js` says the same without a network; a test
//! holds both to it.

use super::{DryingState, Why};
use crate::study::units::in_digits;
use crate::study::when;

/// How a piece stands, in words.
#[must_use]
pub fn state(state: &DryingState, zone: &str) -> String {
    match state {
        DryingState::NotBegun => "not weighed yet".to_owned(),
        DryingState::Constant { since } => {
            format!("constant since {}", when::in_words(*since, zone))
        }
        DryingState::Going { weigh_after, .. } => {
            format!("weigh again after {}", when::in_words(*weigh_after, zone))
        }
    }
}

/// What is wanting, one sentence each.
#[must_use]
pub fn wanting(state: &DryingState, zone: &str) -> Vec<String> {
    let DryingState::Going { why, .. } = state else {
        return Vec::new();
    };
    why.iter().map(|why| sentence(why, zone)).collect()
}

fn sentence(why: &Why, zone: &str) -> String {
    match why {
        Why::OneWeighing => "One weighing alone shows no change.".to_owned(),
        Why::TooSoon { until } => format!(
            "The least time of drying is over on {}.",
            when::in_words(*until, zone)
        ),
        Why::StillChanging { share_percent } if *share_percent >= 1000.0 => {
            "The second half of the drying time holds a change that the whole does not show."
                .to_owned()
        }
        Why::StillChanging { share_percent } => format!(
            "The second half of the drying time still holds {share_percent:.0} % of the whole change."
        ),
        Why::TooClose { until } => format!(
            "The weighings are too close together; one after {} is far enough from the last.",
            when::in_words(*until, zone)
        ),
        Why::Differ { by_g, allowed_g } => format!(
            "Weighings that must agree differ by {} g; {} g is allowed.",
            in_digits(*by_g, 2),
            in_digits(*allowed_g, 2)
        ),
    }
}
