//! One sample or one kind of piece: Weibull, outliers, paired changes, tolerance (files 15, 16, 21,
//! 23).
#![expect(
    clippy::indexing_slicing,
    reason = "a JSON object takes a new field by indexing"
)]

use crate::input::{count, field, list, text, told};
use overwinter::stats::outlier::{Direction, generalised_esd, grubbs, grubbs_critical};
use overwinter::stats::paired;
use overwinter::stats::tolerance::one_sided_factor;
use overwinter::stats::two_sample::Comparison;
use overwinter::stats::weibull::{Quantity, fit};
use serde_json::{Value, json};

/// File 15.
pub fn weibull(input: &Value) -> Result<Value, String> {
    let failed: Vec<bool> = list(input, "event")?.iter().map(|e| *e == 1.0).collect();
    let found = fit(&list(input, "time")?, &failed).map_err(told)?;
    let b10 = found.estimate(Quantity::Quantile(0.1)).map_err(told)?;
    let mut shown = json!({
        "shape": found.shape, "scale": found.scale, "loglik": found.ln_likelihood,
        "shape_published": found.shape, "scale_published": found.scale,
        "se_shape_observed_info": found.var_shape.sqrt(),
        "se_scale_observed_info": found.var_scale.sqrt(),
        "cov_shape_scale_observed_info": found.covariance,
        "b10": b10.0, "se_b10_delta": b10.1,
        "wald_log_ci95": {}, "profile_ci95": {},
    });
    if let Some((shape, scale)) = found.expected_errors {
        shown["se_shape_expected_info"] = shape.into();
        shown["se_scale_expected_info"] = scale.into();
    }
    for (name, of) in [
        ("shape", Quantity::Shape),
        ("scale", Quantity::Scale),
        ("b10", Quantity::Quantile(0.1)),
    ] {
        let wald = found.wald(of, 0.95).map_err(told)?;
        let profile = found.profile(of, 0.95).map_err(told)?;
        shown["wald_log_ci95"][name] = json!([wald.lower, wald.upper]);
        shown["profile_ci95"][name] = json!([profile.lower, profile.upper]);
    }
    Ok(shown)
}

/// File 16.
pub fn outliers(input: &Value) -> Result<Value, String> {
    let alpha = field(input, "alpha")?;
    let critical = |n: usize| -> Result<(f64, f64), String> {
        let at = |direction| grubbs_critical(n, alpha, direction).map_err(told);
        Ok((at(Direction::One)?, at(Direction::Both)?))
    };
    match text(input, "kind")? {
        "grubbs_critical" => {
            let (one, both) = critical(count(input, "n")?)?;
            Ok(json!({
                "crit_one_sided": one, "crit_two_sided": both,
                "table_value_one_sided_3dp": one, "table_value_two_sided_3dp": both,
            }))
        }
        "grubbs_test" => {
            let x = list(input, "x")?;
            let found = grubbs(&x).map_err(told)?;
            let (one, both) = critical(x.len())?;
            Ok(json!({
                "n": x.len(), "G_two_sided": found.g,
                "outlier_index": found.index, "outlier_value": found.value,
                "G_max": found.g_max, "G_min": found.g_min,
                "crit_two_sided": both, "crit_one_sided": one,
                "p_two_sided_bonferroni": found.p,
                "p_max_bonferroni": found.p_max, "p_min_bonferroni": found.p_min,
            }))
        }
        "generalized_esd" => deviates(&list(input, "x")?, count(input, "max_outliers")?, alpha),
        other => Err(format!("no outlier test {other:?}")),
    }
}

fn deviates(x: &[f64], most: usize, alpha: f64) -> Result<Value, String> {
    let found = generalised_esd(x, most, alpha).map_err(told)?;
    let mut steps = Vec::new();
    for (index, step) in found.steps.iter().enumerate() {
        steps.push(json!({
            "i": index + 1, "R": step.r, "lambda": step.critical,
            "removed_value": step.value, "removed_index": step.index,
        }));
    }
    let each = |of: fn(&overwinter::stats::outlier::Step) -> f64| {
        found.steps.iter().map(of).collect::<Vec<f64>>()
    };
    let flagged: Vec<f64> = found
        .steps
        .iter()
        .take(found.flagged)
        .map(|s| s.value)
        .collect();
    Ok(json!({
        "steps": steps, "n_outliers": found.flagged, "outlier_values": flagged,
        "published_R_3dp": each(|s| s.r), "published_lambda_3dp": each(|s| s.critical),
    }))
}

/// File 21.
pub fn paired(input: &Value) -> Result<Value, String> {
    if input.get("treated_before").is_some() {
        return against_control(input);
    }
    let (x, y) = (list(input, "x")?, list(input, "y")?);
    let change = paired::changes(&x, &y).and_then(|c| paired::mean_change(&c, 0.95));
    let change = change.map_err(told)?;
    let mut shown = json!({
        "n": change.n, "mean_diff": change.mean, "sd_diff": change.sd, "se": change.se,
        "t": change.t, "df": change.df, "p_two_sided": change.p_two_sided,
        "p_less": change.p_less, "p_greater": change.p_greater,
        "ci95": [change.interval.lower, change.interval.upper], "d_z": change.standardised(),
    });
    let percent = paired::percent_changes(&x, &y).and_then(|c| paired::mean_change(&c, 0.95));
    if let Ok(percent) = percent {
        shown["mean_percent_change"] = percent.mean.into();
        shown["sd_percent_change"] = percent.sd.into();
        shown["percent_change_ci95"] = json!([percent.interval.lower, percent.interval.upper]);
    }
    Ok(shown)
}

fn against_control(input: &Value) -> Result<Value, String> {
    let get = |name: &str| list(input, name);
    let (ta, tb) = (get("treated_after")?, get("treated_before")?);
    let (ca, cb) = (get("control_after")?, get("control_before")?);
    let shown = |treated: &[f64], control: &[f64]| -> Result<Value, String> {
        let c: Comparison = paired::against(treated, control, 0.95).map_err(told)?;
        let mean = |x: &[f64]| x.iter().sum::<f64>() / x.len() as f64;
        Ok(json!({
            "mean_treated": mean(treated), "mean_control": mean(control),
            "difference": c.difference, "se": c.se, "t": c.t, "df_welch": c.df,
            "p_two_sided": c.p_two_sided, "ci95": [c.interval.lower, c.interval.upper],
        }))
    };
    let absolute = |a: &[f64], b: &[f64]| paired::changes(a, b).map_err(told);
    let percent = |a: &[f64], b: &[f64]| paired::percent_changes(a, b).map_err(told);
    Ok(json!({
        "absolute_change": shown(&absolute(&ta, &tb)?, &absolute(&ca, &cb)?)?,
        "percent_change": shown(&percent(&ta, &tb)?, &percent(&ca, &cb)?)?,
    }))
}

/// File 23.
pub fn tolerance(input: &Value) -> Result<Value, String> {
    let (coverage, confidence) = (field(input, "coverage")?, field(input, "confidence")?);
    let k = one_sided_factor(count(input, "n")?, coverage, confidence).map_err(told)?;
    Ok(json!({ "k": k, "table_value": k }))
}
