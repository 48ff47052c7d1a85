//! How long the hot kernels of the statistics take, on one core.
//!
//! `cargo bench --bench statistics_speed`

use divan::{Bencher, black_box};
use overwinter::stats::bootstrap;
use overwinter::stats::design::{Design, Planner};
use overwinter::stats::dist::equicoordinate::{Equicoordinate, Sides};
use overwinter::stats::dist::{noncentral_t, range::StudentisedRange, student};
use overwinter::stats::family::Family;
use overwinter::stats::rng::Rng;
use overwinter::stats::sample::Spread;
use overwinter::stats::{many_ratio, many_to_one, mixed, permutation, weibull};

fn main() {
    divan::main();
}

/// Break loads of several groups about 1500 N with a scatter of 5 %.
fn groups(count: usize, size: usize) -> Vec<Vec<f64>> {
    let mut rng = Rng::new(1);
    let mut group = || (0..size).map(|_| 1500.0 + 75.0 * rng.normal()).collect();
    (0..count).map(|_| group()).collect()
}

#[divan::bench]
fn t_quantile() -> f64 {
    student::two_sided_quantile(black_box(0.95), black_box(7.3))
}

#[divan::bench]
fn noncentral_t_tail() -> Option<f64> {
    noncentral_t::sf(black_box(2.3), 10.0, 1.8).ok()
}

#[divan::bench(args = [1, 3, 5, 8])]
fn critical_value_and_p(comparisons: usize) -> Option<(f64, f64)> {
    let lambdas = vec![0.5_f64.sqrt(); comparisons];
    let mut law = Equicoordinate::new(&lambdas, Sides::Two, 35.0).ok()?;
    Some((
        law.critical(0.05, 35.0).ok()?,
        law.tail(black_box(3.1), 35.0).ok()?,
    ))
}

#[divan::bench(args = [3, 5, 8])]
fn ratios_with_separate_spreads(bencher: Bencher<'_, '_>, comparisons: usize) {
    let all = groups(comparisons + 1, 6);
    let (control, others) = all.split_at(1);
    let family = Family::of(&control.concat(), others, Spread::Separate);
    bencher.bench(|| family.as_ref().ok().map(|f| many_ratio::ratios(f, 0.95)));
}

#[divan::bench(args = [3, 5, 8])]
fn differences_with_pooled_spread(bencher: Bencher<'_, '_>, comparisons: usize) {
    let all = groups(comparisons + 1, 6);
    let (control, others) = all.split_at(1);
    let family = Family::of(&control.concat(), others, Spread::Pooled);
    bencher.bench(|| {
        family
            .as_ref()
            .ok()
            .map(|f| many_to_one::differences(f, 0.95))
    });
}

#[divan::bench]
fn studentised_range_quantile() -> Option<f64> {
    StudentisedRange::new(4, 20.0)
        .ok()?
        .upper_quantile(black_box(0.05))
        .ok()
}

#[divan::bench(args = [6, 8, 10])]
fn exact_permutation(bencher: Bencher<'_, '_>, size: usize) {
    let all = groups(2, size);
    bencher.bench(|| match all.as_slice() {
        [x, y] => permutation::exact(x, y).ok(),
        _ => None,
    });
}

#[divan::bench(args = [6, 30, 300])]
fn bootstrap_of_a_ratio(bencher: Bencher<'_, '_>, size: usize) {
    let all = groups(2, size);
    let both: Vec<&[f64]> = all.iter().map(Vec::as_slice).collect();
    bencher.bench(|| bootstrap::bca(&both, bootstrap::ratio_of_means, 0.95, 2000, 1));
}

#[divan::bench(args = [3, 12])]
fn mixed_model(bencher: Bencher<'_, '_>, holders: usize) {
    let conditions: Vec<Vec<Vec<f64>>> = (0..4).map(|_| groups(holders, 4)).collect();
    bencher.bench(|| mixed::with_holders(black_box(&conditions)));
}

/// A plan of three conditions and six pieces each.
const PLAN: Design = Design {
    conditions: 3,
    control_units: 6,
    exposed_units: 6,
    cv: 0.05,
    growth: 2.0,
    margin: 0.1,
    confidence: 0.95,
    spread: Spread::Separate,
};

#[divan::bench]
fn planner_made_ready() -> Option<Planner> {
    Planner::new(black_box(PLAN)).ok()
}

#[divan::bench]
fn chances_of_one_change(bencher: Bencher<'_, '_>) {
    let planner = Planner::new(PLAN);
    bencher.bench(|| planner.as_ref().ok().map(|p| p.chances(black_box(-0.1))));
}

#[divan::bench]
fn detectable_loss(bencher: Bencher<'_, '_>) {
    let planner = Planner::new(PLAN);
    bencher.bench(|| {
        planner
            .as_ref()
            .ok()
            .map(|p| p.detectable_loss(black_box(0.8)))
    });
}

#[divan::bench]
fn weibull_with_profile(bencher: Bencher<'_, '_>) {
    let loads = groups(1, 30).concat();
    bencher.bench(|| {
        let fit = weibull::fit(&loads, &[true; 30]).ok()?;
        fit.profile(weibull::Quantity::Quantile(0.1), 0.95).ok()
    });
}
