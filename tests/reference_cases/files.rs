//! Which method answers which file.

use crate::compare::Method;

#[path = "describe.rs"]
mod describe;
#[path = "groups.rs"]
mod groups;
#[path = "holders.rs"]
mod holders;
#[path = "many.rs"]
mod many;
#[path = "mechanics.rs"]
mod mechanics;
#[path = "models.rs"]
mod models;
#[path = "power.rs"]
mod power;
#[path = "ranks.rs"]
mod ranks;
#[path = "resampling.rs"]
mod resampling;
#[path = "shape.rs"]
mod shape;
#[path = "single.rs"]
mod single;
#[path = "two.rs"]
mod two;

/// File name and method, in the order of the files.
pub const METHODS: &[(&str, Method)] = &[
    ("01_describe.json", describe::describe),
    ("02_anova_oneway.json", groups::anova),
    ("03_welch_anova_games_howell.json", groups::unequal_spreads),
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
    ("06_tukey_kramer.json", groups::tukey),
    ("06b_studentized_range.json", groups::range),
    ("07_variance_homogeneity.json", groups::spreads),
    ("08_shapiro_wilk.json", shape::shapiro),
    ("09_anderson_darling_normal.json", shape::anderson),
    ("10_rank_permutation.json", ranks::rank_or_permutation),
    ("11_multiplicity.json", shape::adjusted),
    ("12_fieller_ratio.json", two::fieller),
    ("12b_simultaneous_ratio.json", many::ratios),
    ("13_tost.json", two::equivalence),
    ("14a_noncentral_t_cdf.json", power::noncentral_tails),
    ("14b_noncentral_t_quantile.json", power::noncentral_quantile),
    ("14c_power_t.json", power::t_tests),
    ("14d_power_tost.json", power::equivalence),
    ("15_weibull_mle.json", single::weibull),
    ("16_grubbs_esd.json", single::outliers),
    ("17_variance_components_mixed.json", holders::mixed),
    ("18_linear_regression_ancova.json", models::regression),
    ("19_nonlinear_regression.json", models::nonlinear),
    ("20_bca_bootstrap.json", resampling::bootstrap),
    ("21_paired.json", single::paired),
    ("22_ciede2000.json", mechanics::colour),
    ("23_tolerance_factor_one_sided.json", single::tolerance),
    ("24_fick_plate_uptake.json", mechanics::uptake),
    (
        "25_mean_kinetic_temperature.json",
        mechanics::kinetic_temperature,
    ),
];
