//! Laws of the mixed model; published cases are in `tests/reference`.

use super::*;
use crate::stats::{sample::Spread, two_sample};

fn tubs() -> Vec<Vec<Vec<f64>>> {
    let tub = |mean: f64| vec![mean - 1.0, mean + 0.25, mean + 0.75];
    let condition = |means: [f64; 3]| means.map(tub).to_vec();
    vec![condition([50.0, 54.0, 49.0]), condition([44.0, 47.0, 41.0])]
}

/// Handbook 7.7: tub means 50, 54, 49 and 44, 47, 41 give −7, t −3.031, df 4, p 0.0387, interval
/// −13.41 to −0.59, whatever lies inside the tubs.
#[test]
fn balanced_holders_are_a_t_test_of_their_means() {
    let found = with_holders(&tubs()).unwrap();
    let effect = found.difference(1, 0.95).unwrap();
    assert!((effect.estimate + 7.0).abs() < 1e-9 && (effect.t + 3.031).abs() < 5e-4);
    assert!((effect.df - 4.0).abs() < 1e-6 && (effect.p - 0.0387).abs() < 5e-5);
    assert!((effect.interval.lower + 13.41).abs() < 5e-3);
}

/// With the same number of pieces everywhere the ratios are those of the holder means.
#[test]
fn balanced_ratios_are_those_of_the_holder_means() {
    use crate::stats::family::Family;
    use crate::stats::many_ratio;
    let mut conditions = tubs();
    conditions.push(
        tubs()[1]
            .iter()
            .map(|h| h.iter().map(|v| 0.9 * v + 9.0).collect())
            .collect(),
    );
    let beside = with_holders(&conditions).unwrap().ratios(0.95).unwrap();
    let means: Vec<Vec<f64>> = conditions
        .iter()
        .map(|c| c.iter().map(|h| h.iter().sum::<f64>() / 3.0).collect())
        .collect();
    let family = Family::of(&means[0], &means[1..], Spread::Pooled).unwrap();
    for (a, b) in beside
        .iter()
        .zip(many_ratio::ratios(&family, 0.95).unwrap())
    {
        let (a, b) = (
            a.as_ref().unwrap().set.bounded().unwrap(),
            b.unwrap().set.bounded().unwrap(),
        );
        assert!((a.lower - b.lower).abs() < 1e-6 && (a.upper - b.upper).abs() < 1e-6);
    }
}

#[test]
fn units_and_order_change_only_what_they_must() {
    let plain = with_holders(&tubs()).unwrap();
    let mut other: Vec<Vec<Vec<f64>>> = tubs()
        .iter()
        .map(|c| {
            c.iter()
                .map(|h| h.iter().map(|v| 1e6 - 20.0 * v).collect())
                .collect()
        })
        .collect();
    other[1].reverse();
    let moved = with_holders(&other).unwrap();
    assert!((moved.fit.residual / plain.fit.residual / 400.0 - 1.0).abs() < 1e-7);
    assert!((moved.fit.between[0] / plain.fit.between[0] / 400.0 - 1.0).abs() < 1e-7);
}

/// Without any difference between holders the variance is held at zero, the effect is that of the
/// pooled t test, and only the degrees of freedom stay those of the holders.
#[test]
fn a_variance_of_zero_gains_no_degrees_of_freedom() {
    let level = |m: f64| vec![m - 1.0, m, m + 1.0];
    let conditions = [vec![level(5.0), level(5.0)], vec![level(7.0), level(7.0)]];
    let found = with_holders(&conditions).unwrap();
    assert_eq!(found.fit.between, [0.0]);
    let effect = found.difference(1, 0.95).unwrap();
    assert_eq!(effect.df, 2.0);
    let all = |c: &Vec<Vec<f64>>| c.concat();
    let plain = two_sample::compare(
        &all(&conditions[1]),
        &all(&conditions[0]),
        Spread::Pooled,
        0.95,
    );
    assert!((effect.se - plain.unwrap().se).abs() < 1e-9);
}

#[test]
fn awkward_input_has_a_name() {
    let alone = vec![vec![vec![1.0, 2.0]], vec![vec![3.0, 4.0]]];
    assert!(matches!(with_holders(&alone), Err(Refusal::TooFew { .. })));
    let flat = vec![vec![vec![1.0; 3]; 2], vec![vec![2.0; 3]; 2]];
    assert_eq!(with_holders(&flat).unwrap_err(), Refusal::ZeroSpread);
    assert!(fit(&[1.0, 2.0], &[vec![1.0; 2]], &[vec![0]]).is_err());
    assert!(with_holders(&tubs()).unwrap().difference(2, 0.95).is_err());
}
