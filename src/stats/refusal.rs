//! Why a statistic refuses to give a number.
//!
//! One enum for the whole room: a caller matches on it exhaustively and finds words of its own
//! for the page. A method that cannot stand behind a number returns one of these, never NaN.
//! Sets that have no finite end (a ratio whose denominator may be zero) are not refusals; they
//! are variants of [`crate::stats::ratio::RatioSet`].

use std::fmt;

/// The reasons for which a method of this room returns no number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// Fewer values than the method can work with.
    TooFew {
        /// The smallest number that would do.
        needed: usize,
        /// What was given.
        got: usize,
    },
    /// A value is infinite or not a number.
    NotFinite,
    /// A value is beyond ±1e150, so its square cannot be held.
    TooLarge,
    /// All values are equal where the method divides by their spread.
    ZeroSpread,
    /// A family of comparisons without a member.
    NoComparison,
    /// Lists that belong together differ in length.
    Unmatched,
    /// A parameter (confidence, degrees of freedom, margin …) is outside its range.
    OutOfRange {
        /// Which parameter, in words.
        what: &'static str,
    },
    /// The columns of a regression carry the same information twice.
    Collinear,
    /// An iteration did not settle, so its last value is not reported.
    NoConvergence {
        /// Which iteration, in words.
        what: &'static str,
    },
    /// The denominator of a ratio is zero.
    ZeroDenominator,
    /// The confidence set has no finite ends.
    Unbounded,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFew { needed, got } => write!(f, "too few values: {got} of at least {needed}"),
            Self::NotFinite => f.write_str("a value is not a finite number"),
            Self::TooLarge => f.write_str("a value is too large to be squared"),
            Self::ZeroSpread => f.write_str("all values are equal, so there is no spread"),
            Self::NoComparison => f.write_str("there is nothing to compare"),
            Self::Unmatched => f.write_str("lists that belong together differ in length"),
            Self::OutOfRange { what } => write!(f, "{what} is outside its range"),
            Self::Collinear => f.write_str("the columns carry the same information twice"),
            Self::NoConvergence { what } => write!(f, "{what} did not converge"),
            Self::ZeroDenominator => f.write_str("the denominator is zero"),
            Self::Unbounded => f.write_str("the interval has no finite ends"),
        }
    }
}

impl std::error::Error for Refusal {}

/// Refuses a confidence (or any probability) that is not strictly between 0 and 1.
///
/// # Errors
/// [`Refusal::OutOfRange`] naming `what`.
pub fn open_unit(value: f64, what: &'static str) -> Result<f64, Refusal> {
    if value > 0.0 && value < 1.0 {
        Ok(value)
    } else {
        Err(Refusal::OutOfRange { what })
    }
}

/// Refuses a number that is not positive and finite.
///
/// # Errors
/// [`Refusal::OutOfRange`] naming `what`.
pub fn positive(value: f64, what: &'static str) -> Result<f64, Refusal> {
    if value > 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(Refusal::OutOfRange { what })
    }
}
