//! Bootstrap intervals, bias-corrected and accelerated (BCa).
//!
//! Shown from about 20 values, or with a warning: at n = 6 a 95 % interval covers about 90 %.

use crate::stats::describe::{Plotting, quantile};
use crate::stats::dist::normal;
use crate::stats::interval::Interval;
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::rng::Rng;
use crate::stats::sample::check;

/// A bootstrapped estimate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bootstrap {
    /// The statistic of the values as they are.
    pub estimate: f64,
    /// Bias correction: the normal quantile of the share of resamples below the estimate.
    pub z0: f64,
    /// Acceleration, from the jackknife.
    pub acceleration: f64,
    /// Standard deviation over the resamples.
    pub se: f64,
    /// Shares of the resamples at which the BCa ends lie.
    pub shares: (f64, f64),
    /// Interval between the plain quantiles of the resamples.
    pub percentile: Interval,
    /// BCa interval.
    pub bca: Interval,
}

/// A statistic of one or more groups.
pub trait Statistic: Fn(&[Vec<f64>]) -> f64 {}
impl<F: Fn(&[Vec<f64>]) -> f64> Statistic for F {}

/// Resampled values of a statistic, ascending, with weights that add up to 1.
struct Resamples {
    values: Vec<f64>,
    weights: Option<Vec<f64>>,
}

/// Two values of a statistic closer than this share of the estimate count as equal.
const SAME: f64 = 1e-11;

/// BCa interval of a statistic from `draws` resamples, each group resampled on its own.
///
/// # Formula
/// ```text
/// z₀ = Φ⁻¹(P(θ* < θ̂) + ½ P(θ* = θ̂)),   U_ij = (n_i − 1)(mean jackknife − jackknife_ij)
/// a  = ⅙ Σ_i Σ_j U³/n_i³ / (Σ_i Σ_j U²/n_i²)^(3/2)
/// ends: the resamples at Φ(z₀ + (z₀ + z)/(1 − a (z₀ + z)))
/// ```
/// # Source
/// Efron, J. Am. Stat. Assoc. 82 (1987) 171; several groups: Efron & Tibshirani, An Introduction
/// to the Bootstrap (1993), chapter 14. The generator is written down in [`super::rng`].
///
/// # Errors
/// [`Refusal::TooFew`] below two values in a group or 100 draws; [`Refusal::ZeroSpread`] when all
/// resamples agree; [`Refusal::NotFinite`] when the statistic of a resample is not;
/// [`Refusal::NoConvergence`] when the correction runs off the scale.
pub fn bca(
    groups: &[&[f64]],
    statistic: impl Statistic,
    confidence: f64,
    draws: usize,
    seed: u64,
) -> Result<Bootstrap, Refusal> {
    if draws < 100 {
        return Err(Refusal::TooFew {
            needed: 100,
            got: draws,
        });
    }
    let own = checked(groups, confidence)?;
    let mut rng = Rng::new(seed);
    let mut drawn = own.clone();
    let mut values = Vec::with_capacity(draws);
    for _ in 0..draws {
        for (to, from) in drawn.iter_mut().zip(groups) {
            for slot in to.iter_mut() {
                *slot = from.get(rng.below(from.len())).copied().unwrap_or(*slot);
            }
        }
        values.push(statistic(&drawn));
    }
    values.sort_by(f64::total_cmp);
    corrected(
        &own,
        statistic,
        confidence,
        &Resamples {
            values,
            weights: None,
        },
    )
}

/// Distinct resamples beyond which [`ideal`] is not attempted; twelve values have 1 352 078.
const MOST_RESAMPLES: f64 = 2_000_000.0;

/// The BCa interval of a statistic of one group over all its resamples, each with its own
/// probability: what [`bca`] approaches as the draws grow.
///
/// # Errors
/// As [`bca`]; [`Refusal::OutOfRange`] for more than twelve values.
pub fn ideal(
    values: &[f64],
    statistic: impl Statistic,
    confidence: f64,
) -> Result<Bootstrap, Refusal> {
    let own = checked(&[values], confidence)?;
    let n = values.len();
    let distinct = (1..n).fold(1.0, |ways, i| ways * (n + i) as f64 / i as f64) / 2.0;
    if n > 2 && distinct > MOST_RESAMPLES {
        return Err(Refusal::OutOfRange {
            what: "number of values",
        });
    }
    let mut found: Vec<(f64, f64)> = Vec::new();
    let mut chosen = vec![Vec::with_capacity(n)];
    all_resamples(values, n, 1.0, &mut chosen, &mut |resample, ways| {
        found.push((statistic(resample), ways));
    });
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let whole: f64 = found.iter().map(|f| f.1).sum();
    let resamples = Resamples {
        values: found.iter().map(|f| f.0).collect(),
        weights: Some(found.iter().map(|f| f.1 / whole).collect()),
    };
    corrected(&own, statistic, confidence, &resamples)
}

/// Visits every multiset of `left` values with its multinomial weight (up to a common factor).
fn all_resamples(
    values: &[f64],
    left: usize,
    ways: f64,
    chosen: &mut Vec<Vec<f64>>,
    visit: &mut impl FnMut(&[Vec<f64>], f64),
) {
    let Some((&value, rest)) = values.split_first() else {
        if left == 0 {
            visit(chosen, ways);
        }
        return;
    };
    let Some(before) = chosen.first().map(Vec::len) else {
        return;
    };
    let least = if rest.is_empty() { left } else { 0 };
    let mut share = ways;
    for times in 0..=left {
        // 1/times! of the multinomial coefficient, one factor at a time.
        share /= (times as f64).max(1.0);
        if times >= least {
            all_resamples(rest, left - times, share, chosen, visit);
        }
        if let Some(group) = chosen.first_mut() {
            group.push(value);
        }
    }
    if let Some(group) = chosen.first_mut() {
        group.truncate(before);
    }
}

fn checked(groups: &[&[f64]], confidence: f64) -> Result<Vec<Vec<f64>>, Refusal> {
    open_unit(confidence, "confidence")?;
    let least = groups.iter().map(|g| g.len()).min().unwrap_or(0);
    if least < 2 {
        return Err(Refusal::TooFew {
            needed: 2,
            got: least,
        });
    }
    groups
        .iter()
        .map(|g| check(g).map(|()| g.to_vec()))
        .collect()
}

/// Puts bias correction and acceleration together.
fn corrected(
    own: &[Vec<f64>],
    statistic: impl Statistic,
    confidence: f64,
    resamples: &Resamples,
) -> Result<Bootstrap, Refusal> {
    let estimate = statistic(own);
    if !estimate.is_finite() || resamples.values.iter().any(|v| !v.is_finite()) {
        return Err(Refusal::NotFinite);
    }
    let (mean, se) = resamples.mean_and_sd();
    if se <= SAME * mean.abs().max(f64::MIN_POSITIVE) {
        return Err(Refusal::ZeroSpread);
    }
    let acceleration = acceleration(own, statistic);
    let z0 = normal::quantile(resamples.share_below(estimate));
    let z = normal::quantile(0.5 * (1.0 - confidence));
    let share = |z: f64| normal::cdf(z0 + (z0 + z) / (1.0 - acceleration * (z0 + z)));
    let shares = (share(z), share(-z));
    // Also refuses a NaN, which compares with nothing.
    let ordered = shares.0 > 0.0 && shares.0 < shares.1 && shares.1 < 1.0;
    if !ordered {
        return Err(Refusal::NoConvergence {
            what: "bias correction",
        });
    }
    let between = |low: f64, high: f64| -> Result<Interval, Refusal> {
        Ok(Interval {
            lower: resamples.quantile(low)?,
            upper: resamples.quantile(high)?,
        })
    };
    let tail = 0.5 * (1.0 - confidence);
    Ok(Bootstrap {
        estimate,
        z0,
        acceleration,
        se,
        shares,
        percentile: between(tail, 1.0 - tail)?,
        bca: between(shares.0, shares.1)?,
    })
}

impl Resamples {
    fn weighted(&self) -> impl Iterator<Item = (f64, f64)> {
        let equal = 1.0 / self.values.len() as f64;
        self.values.iter().enumerate().map(move |(i, &v)| {
            (
                v,
                self.weights
                    .as_ref()
                    .and_then(|w| w.get(i))
                    .copied()
                    .unwrap_or(equal),
            )
        })
    }

    /// Mean and standard deviation; drawn resamples with divisor one less than their number.
    fn mean_and_sd(&self) -> (f64, f64) {
        let mean: f64 = self.weighted().map(|(v, w)| v * w).sum();
        let square: f64 = self.weighted().map(|(v, w)| (v - mean).powi(2) * w).sum();
        let n = self.values.len() as f64;
        let factor = if self.weights.is_some() {
            1.0
        } else {
            n / (n - 1.0)
        };
        (mean, (square * factor).sqrt())
    }

    /// P(below) + ½ P(equal).
    fn share_below(&self, estimate: f64) -> f64 {
        let same = SAME * estimate.abs();
        let part = |(v, w): (f64, f64)| {
            if v < estimate - same {
                w
            } else if v <= estimate + same {
                0.5 * w
            } else {
                0.0
            }
        };
        self.weighted().map(part).sum()
    }

    fn quantile(&self, p: f64) -> Result<f64, Refusal> {
        if self.weights.is_none() {
            return quantile(&self.values, p, Plotting::Inclusive);
        }
        let mut so_far = 0.0;
        for (value, weight) in self.weighted() {
            so_far += weight;
            if so_far >= p {
                return Ok(value);
            }
        }
        self.values
            .last()
            .copied()
            .ok_or(Refusal::TooFew { needed: 1, got: 0 })
    }
}

/// The acceleration, leaving out one value at a time; zero when nothing changes.
fn acceleration(own: &[Vec<f64>], statistic: impl Statistic) -> f64 {
    let (mut cubes, mut squares) = (0.0, 0.0);
    for (at, group) in own.iter().enumerate() {
        let n = group.len() as f64;
        let left_out: Vec<f64> = (0..group.len())
            .map(|index| {
                let mut fewer = own.to_vec();
                if let Some(group) = fewer.get_mut(at) {
                    group.remove(index);
                }
                statistic(&fewer)
            })
            .collect();
        let mean = left_out.iter().sum::<f64>() / n;
        for value in left_out {
            let u = (n - 1.0) / n * (mean - value);
            cubes += u.powi(3);
            squares += u * u;
        }
    }
    if squares > 0.0 {
        cubes / (6.0 * squares.powf(1.5))
    } else {
        0.0
    }
}

/// The mean of the first group.
pub fn mean(groups: &[Vec<f64>]) -> f64 {
    groups
        .first()
        .map_or(f64::NAN, |g| g.iter().sum::<f64>() / g.len() as f64)
}

/// Mean of the first group less mean of the second.
pub fn difference_of_means(groups: &[Vec<f64>]) -> f64 {
    mean(groups) - mean(groups.get(1..).unwrap_or_default())
}

/// Mean of the first group over mean of the second.
pub fn ratio_of_means(groups: &[Vec<f64>]) -> f64 {
    mean(groups) / mean(groups.get(1..).unwrap_or_default())
}

/// Standard deviation of the first group.
pub fn sd(groups: &[Vec<f64>]) -> f64 {
    let centre = mean(groups);
    let square = |g: &Vec<f64>| g.iter().map(|v| (v - centre).powi(2)).sum::<f64>();
    groups
        .first()
        .map_or(f64::NAN, |g| (square(g) / (g.len() as f64 - 1.0)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    const X: [f64; 6] = [4.3, 4.67, 5.82, 5.1, 3.9, 6.2];

    #[test]
    fn drawing_approaches_the_ideal() {
        let all = ideal(&X, mean, 0.9).unwrap();
        let some = bca(&[&X], mean, 0.9, 40_000, 5).unwrap();
        assert!((all.se - some.se).abs() < 0.01 * all.se);
        assert!((all.bca.lower - some.bca.lower).abs() < 0.03);
        // The variance of the ideal resampled mean is known: Σ(x−m)²/n².
        let centre = X.iter().sum::<f64>() / 6.0;
        let known = X.iter().map(|v| (v - centre).powi(2)).sum::<f64>() / 36.0;
        assert!((all.se * all.se / known - 1.0).abs() < 1e-12);
    }

    #[test]
    fn reflection_turns_the_interval_round() {
        let plain = ideal(&X, mean, 0.9).unwrap();
        let turned = ideal(&X.map(|v| -v), mean, 0.9).unwrap();
        assert!((plain.acceleration + turned.acceleration).abs() < 1e-12);
        assert!((plain.z0 + turned.z0).abs() < 1e-9);
    }

    #[test]
    fn awkward_input_has_a_name() {
        assert_eq!(
            bca(&[&[2.0; 5]], mean, 0.95, 200, 1),
            Err(Refusal::ZeroSpread)
        );
        assert!(matches!(
            bca(&[&[2.0]], mean, 0.95, 200, 1),
            Err(Refusal::TooFew { .. })
        ));
        let zero = bca(&[&X, &[0.0, 1.0]], ratio_of_means, 0.95, 200, 1);
        assert_eq!(zero, Err(Refusal::NotFinite));
        assert!(ideal(&[0.5; 40], mean, 0.95).is_err());
    }
}
