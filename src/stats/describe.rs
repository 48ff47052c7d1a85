//! What a group of values is like: number, mean, spread, quantiles, interval of the mean.

use crate::stats::dist::student;
use crate::stats::interval::Interval;
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::sample::{Sample, sorted};

/// A group described. All quantities are in the unit of the values.
#[derive(Debug, Clone, PartialEq)]
pub struct Description {
    /// How many values.
    pub n: usize,
    /// Arithmetic mean.
    pub mean: f64,
    /// Median.
    pub median: f64,
    /// Smallest value.
    pub min: f64,
    /// Largest value.
    pub max: f64,
    /// Standard deviation (divisor n − 1); `None` for one value.
    pub sd: Option<f64>,
    /// Standard deviation over mean, a fraction with the sign of the mean; `None` for one value or
    /// a mean of zero.
    pub cv: Option<f64>,
    /// t-interval of the mean, or why there is none.
    pub interval: Result<Interval, Refusal>,
}

/// Describes values.
///
/// # Formula
/// ```text
/// mean ± t(1 − (1−confidence)/2; n−1) · s/√n
/// ```
/// # Source
/// ISO 2602 (interval of the mean, from memory); sums in twofold precision hold NIST StRD NumAcc1–4.
///
/// # Errors
/// [`Refusal::TooFew`] for no value, [`Refusal::NotFinite`], [`Refusal::TooLarge`],
/// [`Refusal::OutOfRange`] for the confidence.
pub fn describe(values: &[f64], confidence: f64) -> Result<Description, Refusal> {
    open_unit(confidence, "confidence")?;
    let sample = Sample::new(values)?;
    let mean = sample.mean();
    let sd = sd(&sample);
    let ordered = sample.sorted();
    Ok(Description {
        n: sample.len(),
        mean,
        median: quantile(&ordered, 0.5, Plotting::Inclusive)?,
        min: ordered.first().copied().unwrap_or(mean),
        max: ordered.last().copied().unwrap_or(mean),
        sd,
        cv: sd.filter(|_| mean != 0.0).map(|s| s / mean),
        interval: mean_interval(&sample, confidence),
    })
}

/// Standard deviation with divisor n − 1; `None` for one value.
pub fn sd(sample: &Sample<'_>) -> Option<f64> {
    let df = sample.len() - 1;
    (df > 0).then(|| (sample.sum_of_squares() / df as f64).sqrt())
}

/// The t-interval of a mean.
///
/// # Errors
/// [`Refusal::TooFew`] below two values, [`Refusal::ZeroSpread`] when all are equal (an interval of
/// no width would claim a certainty that no instrument has).
pub fn mean_interval(sample: &Sample<'_>, confidence: f64) -> Result<Interval, Refusal> {
    let n = sample.len() as f64;
    let sd = sd(sample).ok_or(Refusal::TooFew {
        needed: 2,
        got: sample.len(),
    })?;
    if sd == 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    let t = student::two_sided_quantile(confidence, n - 1.0);
    Ok(Interval::around(sample.mean(), t * sd / n.sqrt()))
}

/// Which of the common definitions of a sample quantile.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plotting {
    /// Position (n − 1) p + 1: the extremes are the 0 and 100 % points (type 7).
    Inclusive,
    /// Position (n + 1) p, held within the sample (type 6).
    Exclusive,
}

/// A quantile of values in ascending order, interpolated linearly between neighbours.
///
/// # Source
/// Hyndman & Fan, Am. Stat. 50 (1996) 361, definitions 6 and 7.
///
/// # Errors
/// [`Refusal::TooFew`] for no value, [`Refusal::OutOfRange`] for `p` outside [0, 1].
pub fn quantile(ordered: &[f64], p: f64, plotting: Plotting) -> Result<f64, Refusal> {
    if !(0.0..=1.0).contains(&p) {
        return Err(Refusal::OutOfRange {
            what: "probability",
        });
    }
    let n = ordered.len() as f64;
    let position = match plotting {
        Plotting::Inclusive => (n - 1.0) * p,
        Plotting::Exclusive => ((n + 1.0) * p - 1.0).clamp(0.0, (n - 1.0).max(0.0)),
    };
    let index = position.floor() as usize;
    let low = ordered.get(index).ok_or(Refusal::TooFew {
        needed: 1,
        got: ordered.len(),
    })?;
    let high = ordered.get(index + 1).unwrap_or(low);
    Ok(low + (position - position.floor()) * (high - low))
}

/// The median of values in any order.
///
/// # Errors
/// [`Refusal::TooFew`] for no value.
pub fn median(values: &[f64]) -> Result<f64, Refusal> {
    quantile(&sorted(values), 0.5, Plotting::Inclusive)
}

/// The median distance from the median, not rescaled.
///
/// # Errors
/// [`Refusal::TooFew`] for no value.
pub fn median_absolute_deviation(values: &[f64]) -> Result<f64, Refusal> {
    let centre = median(values)?;
    let distances: Vec<f64> = values.iter().map(|v| (v - centre).abs()).collect();
    median(&distances)
}

/// Correlation of each value with the next, in the order given: a look at drift.
///
/// # Formula
/// ```text
/// r₁ = Σ (x_i − m)(x_(i+1) − m) / Σ (x_i − m)²
/// ```
/// # Source
/// NIST/SEMATECH e-Handbook 1.3.5.12.
///
/// # Errors
/// [`Refusal::TooFew`] below two values, [`Refusal::ZeroSpread`].
pub fn lag_one(values: &[f64]) -> Result<f64, Refusal> {
    let sample = Sample::at_least(2, values)?;
    if sample.sum_of_squares() == 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    let centre = sample.twofold_mean();
    let off: Vec<f64> = values
        .iter()
        .map(|&v| (v - centre.hi) - centre.lo)
        .collect();
    let products = off.iter().zip(off.iter().skip(1)).map(|(a, b)| a * b);
    Ok(crate::stats::numeric::sum::sum(products).value() / sample.sum_of_squares())
}
