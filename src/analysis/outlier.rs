//! Values that the plan's rule flags. A flagged value is never dropped: the page shows the result
//! without it beside the result.

use std::collections::BTreeSet;

use crate::analysis::piece::{Piece, PieceName, ValueKind, by_group};
use crate::stats::outlier::{Direction, grubbs, grubbs_critical};
use crate::study::plan::{OutlierRule, Plan, Response};

/// The pieces whose value of a response the plan's rule flags, at one stage and among the pieces
/// without a stage (baseline, late reference); at most one of each group.
#[must_use]
pub fn flagged(
    plan: &Plan,
    pieces: &[Piece],
    response: &Response,
    stage_days: u32,
) -> BTreeSet<PieceName> {
    let here = by_group(pieces)
        .into_iter()
        .filter(|(group, _)| group.stage_days().is_none_or(|days| days == stage_days));
    here.filter_map(|(_, members)| farthest(plan, &members, response))
        .collect()
}

/// The piece of one group farthest from the group's mean, when the plan's rule says that it is too
/// far.
#[must_use]
pub fn farthest(plan: &Plan, members: &[&Piece], response: &Response) -> Option<PieceName> {
    let alpha = match plan.outlier_rule {
        OutlierRule::None => return None,
        OutlierRule::Grubbs5 => 0.05,
        OutlierRule::Grubbs1 => 0.01,
    };
    let valid = |piece: &&Piece| {
        let found = piece.value(response)?;
        (found.kind == ValueKind::Valid).then(|| (piece.code.clone(), found.value))
    };
    let values: Vec<(PieceName, f64)> = members.iter().filter_map(valid).collect();
    let numbers: Vec<f64> = values.iter().map(|(_, value)| *value).collect();
    // Too few values, or all equal: there is nothing to flag.
    let found = grubbs(&numbers).ok()?;
    let limit = grubbs_critical(numbers.len(), alpha, Direction::Both).ok()?;
    let suspect = values.get(found.index).filter(|_| found.g > limit);
    suspect.map(|(code, _)| code.clone())
}
