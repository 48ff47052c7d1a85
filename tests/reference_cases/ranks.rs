//! Ranks and permutations (file 10).
#![expect(
    clippy::indexing_slicing,
    reason = "a JSON object takes a new field by indexing"
)]

use crate::input::{list, lists, text, told};
use overwinter::stats::permutation;
use overwinter::stats::rank::{kruskal_wallis, rank_sum};
use overwinter::stats::shift::{ShiftInterval, hodges_lehmann};
use serde_json::{Value, json};

/// File 10.
pub fn rank_or_permutation(input: &Value) -> Result<Value, String> {
    match text(input, "test")? {
        "kruskal_wallis" => {
            let found = kruskal_wallis(&lists(input, "groups")?).map_err(told)?;
            Ok(json!({ "H": found.statistic, "df": found.df, "p_value": found.p }))
        }
        "mann_whitney" => mann_whitney(&list(input, "x")?, &list(input, "y")?),
        "permutation_mean_difference" => permuted(&list(input, "x")?, &list(input, "y")?),
        other => Err(format!("no rank test {other:?}")),
    }
}

fn mann_whitney(x: &[f64], y: &[f64]) -> Result<Value, String> {
    let found = rank_sum(x, y).map_err(told)?;
    let counts = found.exact.ok_or("no exact distribution")?;
    let mut shown = json!({
        "U_x": found.u,
        "p_two_sided_exact": counts.p_two_sided(),
        "p_less_exact": counts.p_less(),
        "p_greater_exact": counts.p_greater(),
        "counts": {
            "total": counts.total, "le": counts.at_most, "ge": counts.at_least,
            "two_sided_abs_dev": counts.as_far,
        },
        "p_normal_cc": found.p_normal,
        "p_normal_nocc": found.p_normal_plain,
    });
    for (percent, confidence) in [("95", 0.95), ("90", 0.9)] {
        let shift = hodges_lehmann(x, y, confidence).map_err(told)?;
        shown["hodges_lehmann_x_minus_y"] = shift.estimate.into();
        match shift.interval {
            ShiftInterval::Exact {
                interval,
                order,
                achieved,
            } => {
                shown[format!("hl_ci{percent}_exact")] = json!({
                    "lower": interval.lower, "upper": interval.upper, "k": order,
                    "achieved_conf": achieved,
                });
            }
            ShiftInterval::Tied { interval } => {
                shown[format!("hl_ci{percent}_conditional_exactRankTests")] =
                    json!({ "lower": interval.lower, "upper": interval.upper });
            }
            ShiftInterval::TooMany => {}
        }
    }
    Ok(shown)
}

fn permuted(x: &[f64], y: &[f64]) -> Result<Value, String> {
    let found = permutation::exact(x, y).map_err(told)?;
    let counts = found.counts;
    Ok(json!({
        "mean_diff_x_minus_y": found.difference,
        "n_splits": counts.total,
        "count_two_sided_abs_ge": counts.as_far,
        "count_le": counts.at_most,
        "count_ge": counts.at_least,
        "p_two_sided": counts.p_two_sided(),
        "p_less": counts.p_less(),
        "p_greater": counts.p_greater(),
    }))
}
