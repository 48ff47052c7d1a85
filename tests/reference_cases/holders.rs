//! Values in groups of groups: mixed models and nested variance tables (file 17).
#![expect(
    clippy::indexing_slicing,
    reason = "a JSON object takes a new field by indexing"
)]

use crate::input::{labels, list, told};
use overwinter::stats::mixed::{Effect, Mixed, Omnibus, fit};
use overwinter::stats::nested::balanced;
use serde_json::{Value, json};

/// The names in the order of their first use, and each value's place among them.
fn levels(names: &[String]) -> (Vec<String>, Vec<usize>) {
    let mut distinct: Vec<String> = Vec::new();
    let mut places = Vec::new();
    for name in names {
        let place = distinct.iter().position(|d| d == name).unwrap_or_else(|| {
            distinct.push(name.clone());
            distinct.len() - 1
        });
        places.push(place);
    }
    (distinct, places)
}

/// File 17.
pub fn mixed(input: &Value) -> Result<Value, String> {
    let y = list(input, "y")?;
    if input.get("top").is_some() {
        return nested(&y, input);
    }
    let mut factors = Vec::new();
    let mut names = Vec::new();
    for name in ["g1", "g2"] {
        if input.get(name).is_some() {
            factors.push(levels(&labels(input, name)?).1);
            names.push(name);
        }
    }
    let mut columns = vec![vec![1.0; y.len()]];
    let mut terms = vec!["intercept".to_owned()];
    if let Ok(x) = list(input, "x") {
        columns.push(x);
        terms.push("slope".to_owned());
    }
    let mut contrasts = Vec::new();
    if input.get("cond").is_some() {
        let (conditions, places) = levels(&labels(input, "cond")?);
        for (index, condition) in conditions.iter().enumerate().skip(1) {
            contrasts.push(columns.len());
            columns.push(places.iter().map(|p| f64::from(*p == index)).collect());
            terms.push(format!("{condition} - {}", conditions[0]));
        }
    }
    let found = fit(&y, &columns, &factors).map_err(told)?;
    let mut shown = json!({
        "var_between": {}, "sd_between": {},
        "var_residual": found.residual,
        "sd_residual": found.residual.sqrt(),
        "icc": found.intraclass_correlation(),
        "reml_criterion": found.criterion,
    });
    for (name, variance) in names.iter().zip(&found.between) {
        shown["var_between"][*name] = (*variance).into();
        shown["sd_between"][*name] = variance.sqrt().into();
    }
    let effects: Result<Vec<Value>, String> = terms
        .iter()
        .enumerate()
        .map(|(i, term)| effect(&found, term, i))
        .collect();
    shown["fixed"] = effects?.into();
    if !contrasts.is_empty() {
        let sums: Vec<Vec<f64>> = contrasts.iter().map(|c| pick(terms.len(), *c)).collect();
        shown["omnibus_F_satterthwaite_lmerTest"] =
            omnibus(found.omnibus_satterthwaite(&sums).map_err(told)?);
        shown["omnibus_F_kenward_roger_pbkrtest"] =
            omnibus(found.omnibus_kenward_roger(&sums).map_err(told)?);
    }
    Ok(shown)
}

fn pick(count: usize, index: usize) -> Vec<f64> {
    (0..count).map(|i| f64::from(i == index)).collect()
}

fn omnibus(test: Omnibus) -> Value {
    json!({ "F": test.f, "ndf": test.df1, "ddf": test.df2, "p": test.p })
}

fn effect(found: &Mixed, term: &str, index: usize) -> Result<Value, String> {
    let weights = pick(found.coefficients.len(), index);
    let plain: Effect = found.satterthwaite(&weights, 0.95).map_err(told)?;
    let kr = found.kenward_roger(&weights, 0.95).map_err(told)?;
    let mut shown = json!({
        "term": term, "estimate": plain.estimate, "se": plain.se, "t": plain.t,
        "df_satterthwaite": plain.df, "p_satterthwaite": plain.p,
        "ci95_lower_satterthwaite": plain.interval.lower,
        "ci95_upper_satterthwaite": plain.interval.upper,
        "se_kr": kr.se, "t_kr": kr.t, "df_kr": kr.df, "p_kr": kr.p,
    });
    if let Ok(other) = found.kenward_roger_with_zeros(&weights, 0.95) {
        shown["kr_pbkrtest_informative"] = json!({ "df": other.df, "se": other.se });
    }
    Ok(shown)
}

fn nested(y: &[f64], input: &Value) -> Result<Value, String> {
    let (top_names, tops) = levels(&labels(input, "top")?);
    let subs = labels(input, "sub")?;
    let mut groups: Vec<Vec<Vec<f64>>> = Vec::new();
    for top in 0..top_names.len() {
        let own: Vec<String> = subs
            .iter()
            .zip(&tops)
            .filter(|(_, t)| **t == top)
            .map(|(s, _)| s.clone())
            .collect();
        let (names, _) = levels(&own);
        let of = |name: &String| -> Vec<f64> {
            let here = |i: &usize| tops[*i] == top && subs[*i] == *name;
            (0..y.len()).filter(here).map(|i| y[i]).collect()
        };
        groups.push(names.iter().map(of).collect());
    }
    let found = balanced(&groups).map_err(told)?;
    let squares = found.mean_squares();
    Ok(json!({
        "ss_top": found.ss[0], "ss_sub": found.ss[1], "ss_error": found.ss[2],
        "df_top": found.df[0], "df_sub": found.df[1], "df_error": found.df[2],
        "ms_top": squares[0], "ms_sub": squares[1], "ms_error": squares[2],
        "F_top_over_sub": found.top.0, "p_top": found.top.1,
        "F_sub_over_error": found.sub.0, "p_sub": found.sub.1,
        "var_top": found.variances[0], "var_sub": found.variances[1],
        "var_error": found.variances[2],
    }))
}
