//! Description of one group (file 01).

use crate::input::{list, told};
use overwinter::stats::describe::{self, Plotting, quantile};
use overwinter::stats::sample::Sample;
use serde_json::{Value, json};

/// File 01.
pub fn describe(input: &Value) -> Result<Value, String> {
    let x = list(input, "x")?;
    let found = describe::describe(&x, 0.95).map_err(told)?;
    let interval = found.interval.map_err(told)?;
    let sample = Sample::new(&x).map_err(told)?;
    let sd = found.sd.ok_or("no standard deviation")?;
    let ordered = sample.sorted();
    let at = |p, plotting| quantile(&ordered, p, plotting).map_err(told);
    Ok(json!({
        "n": found.n,
        "mean": found.mean,
        "sd": sd,
        "variance": sd * sd,
        "sem": sd / (found.n as f64).sqrt(),
        "cv": found.cv,
        "min": found.min,
        "max": found.max,
        "median": found.median,
        "q1_type7": at(0.25, Plotting::Inclusive)?,
        "q3_type7": at(0.75, Plotting::Inclusive)?,
        "q1_type6": at(0.25, Plotting::Exclusive)?,
        "q3_type6": at(0.75, Plotting::Exclusive)?,
        "mad_raw": describe::median_absolute_deviation(&x).map_err(told)?,
        "mean_ci95_lower": interval.lower,
        "mean_ci95_upper": interval.upper,
        "lag1_autocorr_optional": describe::lag_one(&x).map_err(told)?,
    }))
}
