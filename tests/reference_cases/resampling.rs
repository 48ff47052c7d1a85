//! Bootstrap (file 20). The drawn numbers are compared within the band that the file allows for
//! resampling.
#![expect(
    clippy::indexing_slicing,
    reason = "a JSON object takes a new field by indexing"
)]

use crate::input::{field, lists, text, told};
use overwinter::stats::bootstrap::{self, Bootstrap};
use serde_json::{Value, json};

/// Resamples per case; the bands are meant for 20 000 and more.
const DRAWS: usize = 100_000;

/// File 20.
pub fn bootstrap(input: &Value) -> Result<Value, String> {
    let groups = lists(input, "groups")?;
    let groups: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
    let conf = field(input, "conf")?;
    let statistic = match text(input, "statistic")? {
        "mean" => bootstrap::mean,
        "sd" => bootstrap::sd,
        "diff_means" => bootstrap::difference_of_means,
        "ratio_means" => bootstrap::ratio_of_means,
        other => return Err(format!("no statistic {other:?}")),
    };
    let drawn = bootstrap::bca(&groups, statistic, conf, DRAWS, 20).map_err(told)?;
    let mut shown = drawn_fields(&drawn);
    if let [only] = groups.as_slice()
        && let Ok(ideal) = bootstrap::ideal(only, statistic, conf)
    {
        shown["ideal_bootstrap"] = json!({
            "z0_exact": ideal.z0,
            "alpha1_exact": ideal.shares.0,
            "alpha2_exact": ideal.shares.1,
            "bca_low_exact": ideal.bca.lower,
            "bca_high_exact": ideal.bca.upper,
            "boot_se_exact": ideal.se,
        });
    }
    Ok(shown)
}

fn drawn_fields(found: &Bootstrap) -> Value {
    json!({
        "estimate": found.estimate,
        "jackknife_acceleration": found.acceleration,
        "z0_mc": found.z0,
        "boot_se_mc": found.se,
        "bca_low_mc": found.bca.lower,
        "bca_high_mc": found.bca.upper,
        "percentile_low_mc": found.percentile.lower,
        "percentile_high_mc": found.percentile.upper,
    })
}
