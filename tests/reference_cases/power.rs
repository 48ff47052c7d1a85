//! Noncentral t and power (files 14a to 14d).

use crate::input::{count, field, text, told};
use overwinter::stats::dist::noncentral_t;
use overwinter::stats::interval::Interval;
use overwinter::stats::power::{self, Sizes, Tails};
use serde_json::{Value, json};

/// File 14a.
pub fn noncentral_tails(input: &Value) -> Result<Value, String> {
    let (t, nu, ncp) = (
        field(input, "t")?,
        field(input, "nu")?,
        field(input, "ncp")?,
    );
    Ok(json!({
        "cdf": noncentral_t::cdf(t, nu, ncp).map_err(told)?,
        "upper_tail": noncentral_t::sf(t, nu, ncp).map_err(told)?,
    }))
}

/// File 14b.
pub fn noncentral_quantile(input: &Value) -> Result<Value, String> {
    let (p, nu, ncp) = (
        field(input, "p")?,
        field(input, "nu")?,
        field(input, "ncp")?,
    );
    Ok(json!({ "quantile": noncentral_t::quantile(p, nu, ncp).map_err(told)? }))
}

fn tails(input: &Value) -> Result<Tails, String> {
    match count(input, "sides")? {
        1 => Ok(Tails::One),
        2 => Ok(Tails::Two),
        other => Err(format!("a test with {other} sides")),
    }
}

fn sizes(input: &Value) -> Result<Sizes, String> {
    Ok(Sizes {
        first: count(input, "n1")?,
        second: count(input, "n2")?,
    })
}

/// File 14c.
pub fn t_tests(input: &Value) -> Result<Value, String> {
    let (alpha, tails) = (field(input, "alpha")?, tails(input)?);
    let effect = || field(input, "effect_d");
    let target = || field(input, "target_power");
    match text(input, "kind")? {
        "two_sample_power" => {
            let power = power::two_sample(effect()?, sizes(input)?, alpha, tails);
            Ok(json!({ "power": power.map_err(told)? }))
        }
        "paired_or_one_sample_power" => {
            let power = power::one_sample(effect()?, count(input, "n")?, alpha, tails);
            Ok(json!({ "power": power.map_err(told)? }))
        }
        "required_n" => {
            let ratio = field(input, "ratio_n2_n1")?;
            let found = power::needed_sizes(effect()?, ratio, target()?, alpha, tails);
            let found = found.map_err(told)?;
            Ok(json!({
                "n1": found.sizes.first,
                "n2": found.sizes.second,
                "achieved_power": found.power,
                "power_at_n1_minus_1": found.one_fewer,
            }))
        }
        "minimum_detectable_effect" => {
            let found = power::detectable(sizes(input)?, target()?, alpha, tails);
            Ok(json!({ "effect_d": found.map_err(told)? }))
        }
        other => Err(format!("no power of kind {other:?}")),
    }
}

/// File 14d.
pub fn equivalence(input: &Value) -> Result<Value, String> {
    let margins = Interval {
        lower: field(input, "lower_margin")?,
        upper: field(input, "upper_margin")?,
    };
    let (truth, sd) = (field(input, "true_difference")?, field(input, "sd")?);
    let alpha = field(input, "alpha")?;
    match text(input, "kind")? {
        "tost_power_difference" => {
            let power = power::equivalence(truth, margins, sd, sizes(input)?, alpha);
            Ok(json!({ "power": power.map_err(told)? }))
        }
        "tost_required_n" => {
            let target = field(input, "target_power")?;
            let (n, power) =
                power::equivalence_size(truth, margins, sd, target, alpha).map_err(told)?;
            Ok(json!({ "n_per_group": n, "achieved_power": power }))
        }
        other => Err(format!("no power of kind {other:?}")),
    }
}
