//! Which method answers which file.

use crate::compare::Method;

#[path = "describe.rs"]
mod describe;
#[path = "many.rs"]
mod many;
#[path = "power.rs"]
mod power;
#[path = "two.rs"]
mod two;

/// File name and method, in the order of the files.
pub const METHODS: &[(&str, Method)] = &[
    ("01_describe.json", describe::describe),
    ("04_two_sample_t_hedges.json", two::two_sample),
    ("05_dunnett.json", many::dunnett),
    ("05b_dunnett_critical_values.json", many::critical_values),
    (
        "05c_dunnett_tail_probabilities.json",
        many::tail_probabilities,
    ),
    (
        "05d_many_to_one_separate_spreads.json",
        many::separate_spreads,
    ),
    ("12_fieller_ratio.json", two::fieller),
    ("12b_simultaneous_ratio.json", many::ratios),
    ("13_tost.json", two::equivalence),
    ("14a_noncentral_t_cdf.json", power::noncentral_tails),
    ("14b_noncentral_t_quantile.json", power::noncentral_quantile),
    ("14c_power_t.json", power::t_tests),
    ("14d_power_tost.json", power::equivalence),
];
