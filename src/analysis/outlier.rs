//! Values that the plan's rule flags. A flagged value is never dropped: the page shows the result
//! without it beside the result.

use std::collections::BTreeSet;

use crate::analysis::piece::{Piece, ValueKind, by_group};
use crate::stats::dist::student;
use crate::stats::sample::Summary;
use crate::study::code::Code;
use crate::study::plan::{OutlierRule, Plan, Response};

/// The pieces whose value of a response the plan's rule flags, at one stage and among the pieces
/// without a stage (baseline, late reference); at most one of each group.
#[must_use]
pub fn flagged(
    plan: &Plan,
    pieces: &[Piece],
    response: &Response,
    stage_days: u32,
) -> BTreeSet<Code> {
    let here = by_group(pieces)
        .into_iter()
        .filter(|(group, _)| group.stage_days().is_none_or(|days| days == stage_days));
    here.filter_map(|(_, members)| farthest(plan, &members, response))
        .collect()
}

/// The piece of one group farthest from the group's mean, when the plan's rule says that it is too
/// far.
#[must_use]
pub fn farthest(plan: &Plan, members: &[&Piece], response: &Response) -> Option<Code> {
    let alpha = match plan.outlier_rule {
        OutlierRule::None => return None,
        OutlierRule::Grubbs5 => 0.05,
        OutlierRule::Grubbs1 => 0.01,
    };
    let valid = |piece: &&Piece| {
        let found = piece.value(response)?;
        (found.kind == ValueKind::Valid).then(|| (piece.code.clone(), found.value))
    };
    let values: Vec<(Code, f64)> = members.iter().filter_map(valid).collect();
    let numbers: Vec<f64> = values.iter().map(|(_, value)| *value).collect();
    let summary = Summary::of(&numbers).ok().filter(|s| s.variance > 0.0)?;
    let limit = critical(summary.n, alpha)?;
    let distance = |value: f64| (value - summary.mean).abs();
    let far = values
        .into_iter()
        .max_by(|a, b| distance(a.1).total_cmp(&distance(b.1)))?;
    (distance(far.1) / summary.sd() > limit).then_some(far.0)
}

/// Critical value of Grubbs' two-sided test, |x − mean|/s with the suspect included; `None` below
/// three values.
///
/// # Formula
/// ```text
/// G = (n − 1)/√n · √(t²/(n − 2 + t²)),   t = upper α/(2n) point of Student's t with n − 2
/// ```
/// # Source
/// Grubbs, Technometrics 11 (1969) 1.
#[must_use]
pub fn critical(n: usize, alpha: f64) -> Option<f64> {
    if n < 3 {
        return None;
    }
    let size = n as f64;
    let t = student::two_sided_quantile(1.0 - alpha / size, size - 2.0);
    Some((size - 1.0) / size.sqrt() * (t * t / (size - 2.0 + t * t)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two-sided 5 % and 1 % points as in ASTM E178 tables, printed in trade.md §3.16.
    #[test]
    fn the_critical_values_are_the_printed_ones() {
        for (n, five, one) in [(3, 1.154, 1.155), (6, 1.887, 1.973), (12, 2.412, 2.636)] {
            assert!((critical(n, 0.05).unwrap() - five).abs() < 0.001, "{n}");
            assert!((critical(n, 0.01).unwrap() - one).abs() < 0.001, "{n}");
        }
        assert_eq!(critical(2, 0.05), None);
    }
}
