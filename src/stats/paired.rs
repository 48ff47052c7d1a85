//! Changes of one and the same piece, alone and against the changes of others.

use crate::stats::dist::student;
use crate::stats::interval::Interval;
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::sample::{Sample, Spread};
use crate::stats::two_sample::{self, Comparison};

/// The mean of one list of changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanChange {
    /// How many pieces.
    pub n: usize,
    /// Mean change.
    pub mean: f64,
    /// Standard deviation of the changes.
    pub sd: f64,
    /// Standard error of the mean.
    pub se: f64,
    /// n − 1.
    pub df: f64,
    /// mean / se.
    pub t: f64,
    /// P(|T| ≥ |t|).
    pub p_two_sided: f64,
    /// P(T ≤ t): small when the change is downwards.
    pub p_less: f64,
    /// P(T ≥ t): small when the change is upwards.
    pub p_greater: f64,
    /// t-interval of the mean change.
    pub interval: Interval,
}

impl MeanChange {
    /// Mean change in standard deviations of the changes.
    pub fn standardised(&self) -> f64 {
        self.mean / self.sd
    }
}

/// Changes after − before, one per piece.
///
/// # Errors
/// [`Refusal::Unmatched`] for lists of different length.
pub fn changes(after: &[f64], before: &[f64]) -> Result<Vec<f64>, Refusal> {
    if after.len() != before.len() {
        return Err(Refusal::Unmatched);
    }
    Ok(after.iter().zip(before).map(|(a, b)| a - b).collect())
}

/// Changes in percent of the value before, one per piece.
///
/// # Errors
/// [`Refusal::Unmatched`]; [`Refusal::ZeroDenominator`] when a value before is zero.
pub fn percent_changes(after: &[f64], before: &[f64]) -> Result<Vec<f64>, Refusal> {
    if before.contains(&0.0) {
        return Err(Refusal::ZeroDenominator);
    }
    let changes = changes(after, before)?;
    Ok(changes
        .iter()
        .zip(before)
        .map(|(c, b)| 100.0 * c / b)
        .collect())
}

/// The paired t test and interval of a list of changes.
///
/// # Source
/// Student, Biometrika 6 (1908) 1.
///
/// # Errors
/// [`Refusal::TooFew`] below two pieces, [`Refusal::ZeroSpread`] when all changed alike,
/// [`Refusal::OutOfRange`] for the confidence.
pub fn mean_change(changes: &[f64], confidence: f64) -> Result<MeanChange, Refusal> {
    open_unit(confidence, "confidence")?;
    let sample = Sample::at_least(2, changes)?;
    let n = sample.len() as f64;
    let df = n - 1.0;
    let sd = (sample.sum_of_squares() / df).sqrt();
    if sd == 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    let (mean, se) = (sample.mean(), sd / n.sqrt());
    let t = mean / se;
    let half_width = student::two_sided_quantile(confidence, df) * se;
    Ok(MeanChange {
        n: sample.len(),
        mean,
        sd,
        se,
        df,
        t,
        p_two_sided: student::two_sided(t, df),
        p_less: student::cdf(t, df),
        p_greater: student::sf(t, df),
        interval: Interval::around(mean, half_width),
    })
}

/// How much more the first pieces changed than the second: Welch's t on the changes.
///
/// # Errors
/// As [`two_sample::compare`].
pub fn against(first: &[f64], second: &[f64], confidence: f64) -> Result<Comparison, Refusal> {
    two_sample::compare(first, second, Spread::Separate, confidence)
}
