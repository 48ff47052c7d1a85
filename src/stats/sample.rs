//! A group of values, checked once, and the summary that most methods need of it.

use crate::stats::numeric::sum::{Twofold, mean, squares_about};
use crate::stats::refusal::Refusal;

/// Values beyond this are refused, because their squares could overflow when summed.
const LARGEST: f64 = 1e150;

/// How the spreads of several groups enter a comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Spread {
    /// One common standard deviation, estimated from all groups together.
    Pooled,
    /// Each group keeps its own standard deviation (Welch, Satterthwaite).
    Separate,
}

/// Number, mean and variance of a group: all that a comparison of means uses of it.
///
/// Holder means enter as a `Summary` too, with `n` the number of holders.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// How many independent values.
    pub n: usize,
    /// Their arithmetic mean.
    pub mean: f64,
    /// Their variance (divisor n − 1); zero for a single value.
    pub variance: f64,
}

impl Summary {
    /// Summarises values.
    ///
    /// # Errors
    /// [`Refusal::TooFew`] for none, [`Refusal::NotFinite`], [`Refusal::TooLarge`].
    pub fn of(values: &[f64]) -> Result<Self, Refusal> {
        let sample = Sample::new(values)?;
        Ok(Self {
            n: sample.len(),
            mean: sample.mean(),
            variance: sample.sum_of_squares() / (sample.len().max(2) - 1) as f64,
        })
    }

    /// The standard deviation.
    pub fn sd(&self) -> f64 {
        self.variance.sqrt()
    }

    /// The estimated variance of the mean, s²/n.
    pub fn mean_variance(&self) -> f64 {
        self.variance / self.n as f64
    }

    /// The same group in other units: every value multiplied by `factor`.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        Self {
            n: self.n,
            mean: self.mean * factor,
            variance: self.variance * factor * factor,
        }
    }

    /// Checks the parts of a summary that was put together by hand.
    ///
    /// # Errors
    /// As [`Summary::of`], and [`Refusal::OutOfRange`] for a negative variance.
    pub fn checked(self, needed: usize) -> Result<Self, Refusal> {
        if self.n < needed {
            return Err(Refusal::TooFew {
                needed,
                got: self.n,
            });
        }
        if !self.mean.is_finite() || !self.variance.is_finite() {
            return Err(Refusal::NotFinite);
        }
        if self.mean.abs() > LARGEST {
            return Err(Refusal::TooLarge);
        }
        if self.variance < 0.0 {
            return Err(Refusal::OutOfRange { what: "variance" });
        }
        Ok(self)
    }
}

/// A non-empty list of finite values, none beyond ±1e150.
#[derive(Debug, Clone, Copy)]
pub struct Sample<'a> {
    values: &'a [f64],
    mean: Twofold,
    squares: f64,
}

impl<'a> Sample<'a> {
    /// Checks the values and takes their mean and sum of squares about it in twofold precision.
    ///
    /// # Errors
    /// [`Refusal::TooFew`] for none, [`Refusal::NotFinite`], [`Refusal::TooLarge`].
    pub fn new(values: &'a [f64]) -> Result<Self, Refusal> {
        let first = values
            .first()
            .ok_or(Refusal::TooFew { needed: 1, got: 0 })?;
        check(values)?;
        let all_equal = values.iter().all(|v| v == first);
        let mean = if all_equal {
            Twofold::from(*first)
        } else {
            mean(values)
        };
        let squares = if all_equal {
            0.0
        } else {
            squares_about(values, mean).value()
        };
        Ok(Self {
            values,
            mean,
            squares,
        })
    }

    /// As [`Sample::new`], with at least `needed` values.
    ///
    /// # Errors
    /// As [`Sample::new`].
    pub fn at_least(needed: usize, values: &'a [f64]) -> Result<Self, Refusal> {
        if values.len() < needed {
            return Err(Refusal::TooFew {
                needed,
                got: values.len(),
            });
        }
        Self::new(values)
    }

    /// How many values (never zero).
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Always false: a sample has at least one value.
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// The values in their given order.
    pub fn values(&self) -> &'a [f64] {
        self.values
    }

    /// The arithmetic mean.
    pub fn mean(&self) -> f64 {
        self.mean.value()
    }

    /// The arithmetic mean in twofold precision.
    pub fn twofold_mean(&self) -> Twofold {
        self.mean
    }

    /// Σ (x − mean)², exactly zero when all values are equal.
    pub fn sum_of_squares(&self) -> f64 {
        self.squares
    }

    /// The values in ascending order.
    pub fn sorted(&self) -> Vec<f64> {
        sorted(self.values)
    }
}

/// Refuses values that no method can use.
///
/// # Errors
/// [`Refusal::NotFinite`] or [`Refusal::TooLarge`].
pub fn check(values: &[f64]) -> Result<(), Refusal> {
    if values.iter().any(|v| !v.is_finite()) {
        return Err(Refusal::NotFinite);
    }
    if values.iter().any(|v| v.abs() > LARGEST) {
        return Err(Refusal::TooLarge);
    }
    Ok(())
}

/// A copy in ascending order.
pub fn sorted(values: &[f64]) -> Vec<f64> {
    let mut copy = values.to_vec();
    copy.sort_by(f64::total_cmp);
    copy
}
