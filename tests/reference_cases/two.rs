//! Two groups: t tests, effect size, Fieller, equivalence (files 04, 12, 13).
#![expect(
    clippy::indexing_slicing,
    reason = "a JSON object takes a new field by indexing"
)]

use crate::input::{field, list, text, told};
use overwinter::stats::effect::hedges;
use overwinter::stats::equivalence::{self as tost, Equivalence};
use overwinter::stats::interval::Interval;
use overwinter::stats::ratio::{Ratio, RatioSet, fieller as ratio_set, fieller_inverted};
use overwinter::stats::sample::Spread;
use overwinter::stats::two_sample::{Comparison, compare};
use serde_json::{Value, json};

const SPREADS: [(&str, Spread); 2] = [("pooled", Spread::Pooled), ("welch", Spread::Separate)];

/// File 04.
pub fn two_sample(input: &Value) -> Result<Value, String> {
    let (x, y, conf) = (list(input, "x")?, list(input, "y")?, field(input, "conf")?);
    let student = compare(&x, &y, Spread::Pooled, conf).map_err(told)?;
    let welch = compare(&x, &y, Spread::Separate, conf).map_err(told)?;
    let effect = hedges(&x, &y, conf).map_err(told)?;
    let shown = |c: &Comparison| {
        json!({
            "t": c.t, "df": c.df, "se": c.se,
            "p_two_sided": c.p_two_sided, "p_less": c.p_less, "p_greater": c.p_greater,
            "ci_lower": c.interval.lower, "ci_upper": c.interval.upper,
        })
    };
    Ok(json!({
        "mean_diff_x_minus_y": student.difference,
        "student": shown(&student),
        "welch": shown(&welch),
        "hedges": {
            "cohen_d_pooled": effect.cohen_d,
            "J_exact": effect.correction,
            "hedges_g": effect.hedges_g,
            "ncp_lower": effect.noncentrality.lower,
            "ncp_upper": effect.noncentrality.upper,
            "d_ci_lower": effect.d_interval.lower,
            "d_ci_upper": effect.d_interval.upper,
            "g_ci_lower": effect.g_interval.lower,
            "g_ci_upper": effect.g_interval.upper,
        },
    }))
}

fn shown_set(ratio: &Ratio) -> Value {
    let mut shown = json!({ "df": ratio.df, "t_crit": ratio.critical, "g": ratio.g });
    match ratio.set {
        RatioSet::Bounded(interval) => {
            shown["set"] = "interval".into();
            shown["lower"] = interval.lower.into();
            shown["upper"] = interval.upper.into();
        }
        RatioSet::Outside { at_most, at_least } => {
            shown["set"] = "complement_of_interval".into();
            shown["outside_lower"] = at_most.into();
            shown["outside_upper"] = at_least.into();
        }
        RatioSet::WholeLine => shown["set"] = "whole_line".into(),
    }
    shown
}

/// File 12.
pub fn fieller(input: &Value) -> Result<Value, String> {
    let (x, y, conf) = (list(input, "x")?, list(input, "y")?, field(input, "conf")?);
    let pooled = ratio_set(&x, &y, Spread::Pooled, conf).map_err(told)?;
    let welch = ratio_set(&x, &y, Spread::Separate, conf).map_err(told)?;
    let mut shown = json!({
        "ratio": pooled.ratio,
        "pooled": shown_set(&pooled),
        "welch_plugin_df": shown_set(&welch),
    });
    if let Ok(inverted) = fieller_inverted(&x, &y, conf) {
        shown["welch_inverted"] = json!({ "lower": inverted.lower, "upper": inverted.upper });
    }
    Ok(shown)
}

fn both_tests<E>(found: &Equivalence<E>) -> Value {
    json!({
        "df": found.lower.df, "df_lower": found.lower.df, "df_upper": found.upper.df,
        "t_lower": found.lower.t, "p_lower": found.lower.p,
        "t_upper": found.upper.t, "p_upper": found.upper.p,
        "p_tost": found.p, "equivalent": found.equivalent,
    })
}

/// File 13.
pub fn equivalence(input: &Value) -> Result<Value, String> {
    let (x, y, alpha) = (list(input, "x")?, list(input, "y")?, field(input, "alpha")?);
    let margins = Interval {
        lower: field(input, "lower_margin")?,
        upper: field(input, "upper_margin")?,
    };
    let mut all = json!({});
    for (name, spread) in SPREADS {
        all[name] = match text(input, "kind")? {
            "difference" => {
                let found = tost::difference(&x, &y, margins, spread, alpha).map_err(told)?;
                let mut shown = both_tests(&found);
                shown["estimate"] = found.estimate.difference.into();
                shown["se"] = found.estimate.se.into();
                shown["ci_lower"] = found.estimate.interval.lower.into();
                shown["ci_upper"] = found.estimate.interval.upper.into();
                shown
            }
            "ratio" => {
                let found = tost::ratio(&x, &y, margins, spread, alpha).map_err(told)?;
                let mut shown = both_tests(&found);
                shown["estimate"] = found.estimate.ratio.into();
                shown["fieller_df"] = found.estimate.df.into();
                shown["fieller_ci_1_minus_2alpha"] = shown_set(&found.estimate);
                shown
            }
            other => return Err(format!("no equivalence test of kind {other:?}")),
        };
    }
    Ok(all)
}
