//! Several groups against one (files 05 to 05d, 12b).
#![expect(
    clippy::indexing_slicing,
    reason = "a JSON object takes a new field by indexing"
)]

use crate::input::{field, list, lists, text, told};
use overwinter::stats::dist::equicoordinate::{Equicoordinate, Sides};
use overwinter::stats::family::Family;
use overwinter::stats::ratio::RatioSet;
use overwinter::stats::sample::Spread;
use overwinter::stats::{many_ratio, many_to_one};
use serde_json::{Value, json};

fn family(input: &Value, spread: Spread) -> Result<(Family, f64), String> {
    let (control, others) = (list(input, "control")?, lists(input, "treatments")?);
    let family = Family::of(&control, &others, spread).map_err(told)?;
    Ok((family, field(input, "conf")?))
}

/// File 05.
pub fn dunnett(input: &Value) -> Result<Value, String> {
    let (family, conf) = family(input, Spread::Pooled)?;
    let differences = many_to_one::differences(&family, conf).map_err(told)?;
    let bounds = many_to_one::bounds(&family, conf).map_err(told)?;
    let (mse, df) = family.common_variance().ok_or("no common variance")?;
    let mut shown = json!({ "mse": mse, "df": df, "comparisons": [] });
    let mut comparisons = Vec::new();
    for (index, (two, one)) in differences.into_iter().zip(bounds).enumerate() {
        let (two, one) = (two.map_err(told)?, one.map_err(told)?);
        shown["crit_two_sided"] = two.critical.into();
        shown["crit_one_sided"] = one.critical.into();
        comparisons.push(json!({
            "group": index + 1,
            "diff": two.difference,
            "se": two.se,
            "t": two.t,
            "p_two_sided": two.p,
            "p_greater": one.p_greater,
            "p_less": one.p_less,
            "ci_two_lower": two.interval.lower,
            "ci_two_upper": two.interval.upper,
            "one_sided_lower_bound": one.lower,
            "one_sided_upper_bound": one.upper,
        }));
    }
    shown["comparisons"] = comparisons.into();
    Ok(shown)
}

/// File 05b.
pub fn critical_values(input: &Value) -> Result<Value, String> {
    let lambdas = list(input, "lambda")?;
    let (alpha, nu) = (field(input, "alpha")?, field(input, "nu")?);
    let critical = |sides| {
        let law = Equicoordinate::new(&lambdas, sides, nu);
        law.and_then(|mut law| law.critical(alpha, nu))
            .map_err(told)
    };
    let (one, two) = (critical(Sides::One)?, critical(Sides::Two)?);
    let asked = if field(input, "sides").unwrap_or(2.0) == 1.0 {
        one
    } else {
        two
    };
    Ok(json!({
        "crit": asked, "table_value_2dp": asked, "table_value_3dp": asked, "table_value": asked,
        "crit_two_sided": two, "crit_one_sided": one,
    }))
}

/// File 05c.
pub fn tail_probabilities(input: &Value) -> Result<Value, String> {
    let lambdas = list(input, "lambda")?;
    let (d, nu) = (field(input, "d")?, field(input, "nu")?);
    let tail = |sides, d| {
        let law = Equicoordinate::new(&lambdas, sides, nu);
        law.and_then(|mut law| law.tail(d, nu)).map_err(told)
    };
    Ok(json!({
        "p_two_sided": tail(Sides::Two, d)?,
        "p_one_sided_gt_d": tail(Sides::One, d)?,
        "p_one_sided_gt_minus_d": tail(Sides::One, -d)?,
    }))
}

/// File 05d.
pub fn separate_spreads(input: &Value) -> Result<Value, String> {
    let (family, conf) = family(input, Spread::Separate)?;
    let mut comparisons = Vec::new();
    for (index, found) in many_to_one::differences(&family, conf)
        .map_err(told)?
        .into_iter()
        .enumerate()
    {
        let found = found.map_err(told)?;
        comparisons.push(json!({
            "group": index + 1,
            "diff": found.difference,
            "se": found.se,
            "df": found.df,
            "t": found.t,
            "p_two_sided": found.p,
            "crit_two_sided": found.critical,
            "ci_two_lower": found.interval.lower,
            "ci_two_upper": found.interval.upper,
        }));
    }
    Ok(json!({ "comparisons": comparisons }))
}

/// File 12b.
pub fn ratios(input: &Value) -> Result<Value, String> {
    let spread = match text(input, "spread")? {
        "pooled" => Spread::Pooled,
        "separate" => Spread::Separate,
        other => return Err(format!("no spread {other:?}")),
    };
    let (family, conf) = family(input, spread)?;
    let mut comparisons = Vec::new();
    for (index, found) in many_ratio::ratios(&family, conf)
        .map_err(told)?
        .into_iter()
        .enumerate()
    {
        let found = found.map_err(told)?;
        let mut shown = json!({
            "group": index + 1,
            "ratio": found.ratio,
            "df": found.df,
            "crit_two_sided": found.critical,
            "g": found.g,
            "ci_lower": null,
            "ci_upper": null,
        });
        match found.set {
            RatioSet::Bounded(interval) => {
                shown["kind"] = "bounded".into();
                shown["ci_lower"] = interval.lower.into();
                shown["ci_upper"] = interval.upper.into();
            }
            RatioSet::Outside { at_most, at_least } => {
                shown["kind"] = "outside".into();
                shown["outside_lower"] = at_most.into();
                shown["outside_upper"] = at_least.into();
            }
            RatioSet::WholeLine => shown["kind"] = "whole_line".into(),
        }
        comparisons.push(shown);
    }
    Ok(json!({ "comparisons": comparisons }))
}
