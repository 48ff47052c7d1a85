//! Colour, water and warmth (files 22, 24, 25).
#![expect(
    clippy::indexing_slicing,
    reason = "a JSON object takes a new field by indexing"
)]

use crate::input::{field, list};
use overwinter::mechanics::colour::{Lab, delta_e_76, delta_e_2000};
use overwinter::mechanics::exposure::{Stretch, ZERO_CELSIUS, mean_kinetic_temperature};
use overwinter::mechanics::moisture::{initial_slope, time_to_uptake, uptake as fraction};
use serde_json::{Value, json};

fn lab(input: &Value, name: &str) -> Result<Lab, String> {
    match list(input, name)?.as_slice() {
        [l, a, b] => Ok(Lab {
            l: *l,
            a: *a,
            b: *b,
        }),
        other => Err(format!("{name} has {} coordinates", other.len())),
    }
}

/// File 22.
pub fn colour(input: &Value) -> Result<Value, String> {
    let (first, second) = (lab(input, "lab1")?, lab(input, "lab2")?);
    let delta = delta_e_2000(first, second);
    Ok(json!({
        "delta_e00": delta, "published_4dp": delta, "delta_e76": delta_e_76(first, second),
    }))
}

/// File 24.
pub fn uptake(input: &Value) -> Result<Value, String> {
    let mut shown = json!({});
    if let Ok(time) = field(input, "dimensionless_time_Dt_over_h2") {
        shown["M_over_Minf"] = fraction(time).into();
    } else if let Ok(wanted) = field(input, "M_over_Minf") {
        shown["dimensionless_time_Dt_over_h2"] = time_to_uptake(wanted).into();
    } else {
        let (diffusion, thickness) = (field(input, "D_m2_per_s")?, field(input, "thickness_m")?);
        let time = diffusion * field(input, "time_s")? / (thickness * thickness);
        shown["T"] = time.into();
        shown["M_over_Minf"] = fraction(time).into();
        shown["initial_slope_rel_per_sqrt_s"] = initial_slope(diffusion, thickness).into();
    }
    Ok(shown)
}

/// File 25.
pub fn kinetic_temperature(input: &Value) -> Result<Value, String> {
    let celsius = list(input, "temperatures_c")?;
    let times = list(input, "times").or_else(|_| list(input, "durations"));
    let times = times.unwrap_or_else(|_| vec![1.0; celsius.len()]);
    let series: Vec<Stretch> = celsius
        .iter()
        .zip(&times)
        .map(|(&celsius, &time)| Stretch { celsius, time })
        .collect();
    let ratio = field(input, "delta_h_j_per_mol")? / field(input, "gas_constant")?;
    let found = mean_kinetic_temperature(&series, ratio).ok_or("no temperature")?;
    let weighted: f64 = series.iter().map(|s| s.celsius * s.time).sum();
    Ok(json!({
        "mkt_c": found, "mkt_k": found + ZERO_CELSIUS,
        "arithmetic_mean_c": weighted / times.iter().sum::<f64>(),
    }))
}
