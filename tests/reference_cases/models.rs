//! Fitted models: regression, covariate, curves (files 18 and 19).
#![expect(
    clippy::indexing_slicing,
    reason = "a JSON object takes a new field by indexing"
)]

use crate::expression::Expression;
use crate::input::{field, labels, list, lists, shown, text, told};
use overwinter::stats::covariate::{Adjusted, Group, adjusted};
use overwinter::stats::interval::Interval;
use overwinter::stats::nonlinear::{NonlinearFit, fit as fit_curve, half_life};
use overwinter::stats::regression::{self, Regression, Term};
use serde_json::{Value, json};

fn ends(interval: Interval) -> Value {
    json!([interval.lower, interval.upper])
}

/// File 18.
pub fn regression(input: &Value) -> Result<Value, String> {
    if input.get("group").is_some() {
        return covariate(input);
    }
    let (y, rows) = (list(input, "y")?, lists(input, "x")?);
    let intercept = input
        .get("intercept")
        .and_then(Value::as_bool)
        .ok_or("intercept or not?")?;
    let width = rows.first().map_or(0, Vec::len);
    let column = |j: usize| {
        rows.iter()
            .map(|r| r.get(j).copied().unwrap_or(f64::NAN))
            .collect()
    };
    let columns: Vec<Vec<f64>> = (0..width).map(column).collect();
    let found = regression::fit(&columns, &y, intercept).map_err(told)?;
    let mut fields = whole(&found)?;
    if let Ok(x0) = field(input, "x0") {
        let at = found.predict(&[x0], 0.95).map_err(told)?;
        fields["at_x0"] = json!({
            "fit": at.fit, "mean_ci95": ends(at.mean), "prediction95": ends(at.single),
        });
    }
    Ok(fields)
}

fn whole(found: &Regression) -> Result<Value, String> {
    let terms: Vec<Term> = (0..found.coefficients.len())
        .map(|i| found.term(i, 0.95).map_err(told))
        .collect::<Result<_, _>>()?;
    let (f, p) = found.f_test();
    Ok(json!({
        "coef": found.coefficients,
        "se": found.errors,
        "residual_sd": found.sd(),
        "r_squared": found.r_squared(),
        "df_regression": found.regression_df,
        "ss_regression": found.regression_ss,
        "F": shown(f),
        "p_F": p,
        "df_residual": found.residual_df,
        "ss_residual": found.residual_ss,
        "p": terms.iter().map(|t| t.p).collect::<Vec<_>>(),
        "ci95": terms.iter().map(|t| ends(t.interval)).collect::<Vec<_>>(),
    }))
}

fn covariate(input: &Value) -> Result<Value, String> {
    let (y, x) = (list(input, "y")?, list(input, "covariate")?);
    let names = labels(input, "group")?;
    let mut levels = vec![text(input, "control")?.to_owned()];
    for name in &names {
        if !levels.contains(name) {
            levels.push(name.clone());
        }
    }
    let of = |level: &String, values: &[f64]| -> Vec<f64> {
        names
            .iter()
            .zip(values)
            .filter(|(n, _)| *n == level)
            .map(|(_, v)| *v)
            .collect()
    };
    let split: Vec<(Vec<f64>, Vec<f64>)> = levels.iter().map(|l| (of(l, &y), of(l, &x))).collect();
    let groups: Vec<Group<'_>> = split.iter().map(|(y, x)| Group { y, x }).collect();
    let found = adjusted(&groups, 0.95).map_err(told)?;
    Ok(covariate_fields(&found, &levels))
}

fn covariate_fields(found: &Adjusted, levels: &[String]) -> Value {
    let mean = |(level, m): (&String, &Term)| {
        json!({
            "level": level, "adjusted_mean": m.estimate, "se": m.se, "ci95": ends(m.interval),
        })
    };
    let means: Vec<Value> = levels.iter().zip(&found.means).map(mean).collect();
    let mut contrasts = Vec::new();
    for (level, difference) in levels.iter().skip(1).zip(&found.differences) {
        let term = difference.plain;
        contrasts.push(json!({
            "level": level, "diff_vs_control": term.estimate, "se": term.se,
            "t": term.estimate / term.se, "p_unadjusted": term.p, "ci95": ends(term.interval),
        }));
    }
    let mut fields = json!({
        "levels": levels,
        "covariate_mean": found.covariate_mean,
        "slope": found.slope.estimate,
        "slope_se": found.slope.se,
        "residual_sd": found.sd,
        "df_residual": found.df,
        "adjusted_means": means,
        "contrasts_vs_control": contrasts,
        "F_group": shown(found.groups.0),
        "p_F_group": found.groups.1,
    });
    if let Some((f, p)) = found.common_slope {
        fields["F_slope_homogeneity"] = shown(f);
        fields["p_slope_homogeneity"] = p.into();
    }
    fields
}

/// File 19. Every starting point given must lead to the same minimum.
pub fn nonlinear(input: &Value) -> Result<Value, String> {
    let (x, y) = (list(input, "x")?, list(input, "y")?);
    let mut names = labels(input, "param_order").unwrap_or_default();
    let model = Expression::read(text(input, "model")?, &mut names)?;
    // Numbered names come in the order of their numbers, not of their use.
    if input.get("param_order").is_none() {
        names.sort_by_key(|n| {
            n.trim_start_matches(char::is_alphabetic)
                .parse::<usize>()
                .ok()
        });
    }
    let model = Expression::read(text(input, "model")?, &mut names).unwrap_or(model);
    let curve = |p: &[f64], x: f64| model.at(p, x);
    let mut found: Option<NonlinearFit> = None;
    for start in ["start1", "start2"]
        .iter()
        .filter_map(|s| list(input, s).ok())
    {
        let fit = fit_curve(&curve, &x, &y, &start).map_err(told)?;
        if let Some(other) = &found {
            let far = (fit.residual_ss / other.residual_ss - 1.0).abs();
            if far > 1e-8 {
                return Err(format!("the starting points lead apart by {far:.1e}"));
            }
        }
        found = Some(fit);
    }
    let found = found.ok_or("no starting point")?;
    let mut fields = json!({
        "coef": found.parameters,
        "se": found.errors,
        "rss": found.residual_ss,
        "residual_sd": found.sd(),
        "df": found.df,
    });
    if let Some(k) = names.iter().position(|n| n == "k") {
        let (rate, error) = (found.parameters[k], found.errors[k]);
        if let Some((life, error)) = half_life(rate, error) {
            fields["half_life"] = life.into();
            fields["half_life_se_delta"] = error.into();
        }
        fields["k_wald_t_ci95"] = ends(found.interval(k, 0.95).map_err(told)?);
    }
    Ok(fields)
}
