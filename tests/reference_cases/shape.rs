//! The shape of one sample and lists of p-values (files 08, 09, 11).

use crate::input::{list, told};
use overwinter::stats::multiplicity::{Adjustment, adjust};
use overwinter::stats::normality::{anderson_darling, shapiro_wilk};
use serde_json::{Value, json};

/// File 08.
pub fn shapiro(input: &Value) -> Result<Value, String> {
    let found = shapiro_wilk(&list(input, "x")?).map_err(told)?;
    Ok(json!({ "W": found.statistic, "p_value": found.p }))
}

/// File 09.
pub fn anderson(input: &Value) -> Result<Value, String> {
    let found = anderson_darling(&list(input, "x")?).map_err(told)?;
    Ok(json!({ "A2": found.a2, "A2_star": found.a2_star, "p_value": found.p }))
}

/// File 11.
pub fn adjusted(input: &Value) -> Result<Value, String> {
    let p = list(input, "p")?;
    let by = |how| adjust(&p, how).map_err(told);
    Ok(json!({
        "holm": by(Adjustment::Holm)?,
        "bh": by(Adjustment::BenjaminiHochberg)?,
        "bonferroni": by(Adjustment::Bonferroni)?,
        "hochberg": by(Adjustment::Hochberg)?,
    }))
}
