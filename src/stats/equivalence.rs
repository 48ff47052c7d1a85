//! Equivalence of two means by two one-sided tests, for a difference and for a ratio.
//!
//! A page's verdict does not come from here (one simultaneous interval decides it); these tests
//! stand beside it for readers who expect them.

use crate::stats::dist::student;
use crate::stats::interval::Interval;
use crate::stats::ratio::{self, Ratio};
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::sample::{Spread, Summary};
use crate::stats::two_sample::{self, Comparison};

/// One of the two tests.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneSided {
    /// The statistic.
    pub t: f64,
    /// Its degrees of freedom.
    pub df: f64,
    /// How probable a statistic at least as far inside is when the truth is at the margin.
    pub p: f64,
}

/// Both tests against margins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Equivalence<E> {
    /// The estimate with its interval at confidence 1 − 2α.
    pub estimate: E,
    /// Against the lower margin.
    pub lower: OneSided,
    /// Against the upper margin.
    pub upper: OneSided,
    /// The larger of the two p-values.
    pub p: f64,
    /// Whether `p` is below α.
    pub equivalent: bool,
}

fn joined<E>(estimate: E, lower: OneSided, upper: OneSided, alpha: f64) -> Equivalence<E> {
    let p = lower.p.max(upper.p);
    Equivalence {
        estimate,
        lower,
        upper,
        p,
        equivalent: p < alpha,
    }
}

fn check(margins: Interval, alpha: f64) -> Result<(), Refusal> {
    open_unit(2.0 * alpha, "error rate")?;
    if margins.lower < margins.upper {
        Ok(())
    } else {
        Err(Refusal::OutOfRange { what: "margin" })
    }
}

/// Tests whether mean(first) − mean(second) lies between the margins.
///
/// # Source
/// Schuirmann, J. Pharmacokinet. Biopharm. 15 (1987) 657.
///
/// # Errors
/// As [`two_sample::compare`], and [`Refusal::OutOfRange`] for margins out of order or α ≥ ½.
pub fn difference(
    first: &[f64],
    second: &[f64],
    margins: Interval,
    spread: Spread,
    alpha: f64,
) -> Result<Equivalence<Comparison>, Refusal> {
    check(margins, alpha)?;
    let found = two_sample::compare(first, second, spread, 1.0 - 2.0 * alpha)?;
    let at = |margin: f64, sign: f64| {
        let t = (found.difference - margin) / found.se;
        OneSided {
            t,
            df: found.df,
            p: student::sf(sign * t, found.df),
        }
    };
    Ok(joined(
        found,
        at(margins.lower, 1.0),
        at(margins.upper, -1.0),
        alpha,
    ))
}

/// Tests whether mean(first) / mean(second) lies between the margins; the estimate's set is
/// Fieller's.
///
/// # Formula
/// ```text
/// t(θ) = (x̄ − θ ȳ) / √(v_x + θ² v_y),  with separate spreads ν taken at θ
/// ```
/// # Source
/// Sasabuchi, Biometrika 67 (1980) 429; Hauschke, Kieser & Hothorn, Biom. J. 41 (1999) 295.
///
/// # Errors
/// As [`ratio::fieller`], and [`Refusal::OutOfRange`] for margins out of order or α ≥ ½.
pub fn ratio(
    first: &[f64],
    second: &[f64],
    margins: Interval,
    spread: Spread,
    alpha: f64,
) -> Result<Equivalence<Ratio>, Refusal> {
    check(margins, alpha)?;
    let (a, b) = (Summary::of(first)?, Summary::of(second)?);
    let found = ratio::fieller_summaries(&a, &b, spread, 1.0 - 2.0 * alpha)?;
    let at = |margin: f64, sign: f64| -> Result<OneSided, Refusal> {
        // The second mean times the margin, with the sign of the second mean taken out.
        let scaled = b.scaled(margin);
        let (se, df) = ratio_error(&a, &b, margin, spread)?;
        let t = (a.mean - scaled.mean) / se * b.mean.signum();
        Ok(OneSided {
            t,
            df,
            p: student::sf(sign * t, df),
        })
    };
    Ok(joined(
        found,
        at(margins.lower, 1.0)?,
        at(margins.upper, -1.0)?,
        alpha,
    ))
}

/// Standard error and degrees of freedom of x̄ − θ ȳ.
fn ratio_error(
    a: &Summary,
    b: &Summary,
    theta: f64,
    spread: Spread,
) -> Result<(f64, f64), Refusal> {
    if spread == Spread::Separate {
        return two_sample::standard_error(a, &b.scaled(theta), spread);
    }
    // One common variance of the values themselves; only the weight of the second mean changes.
    let (se, df) = two_sample::standard_error(a, b, spread)?;
    let (na, nb) = (a.n as f64, b.n as f64);
    let sd = se / (1.0 / na + 1.0 / nb).sqrt();
    Ok((sd * (1.0 / na + theta * theta / nb).sqrt(), df))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked example of our handbook (trade.md 7.2): margins of 6 and of 3.
    #[test]
    fn worked_example() {
        let b = [58.1, 61.9, 60.4, 57.2, 62.4];
        let c = [59.5, 56.8, 61.0, 58.2, 60.5];
        let wide = Interval {
            lower: -6.0,
            upper: 6.0,
        };
        let found = difference(&c, &b, wide, Spread::Separate, 0.05).unwrap();
        assert!((found.p - 0.002_12).abs() < 5e-6 && found.equivalent);
        assert!((found.estimate.interval.lower + 3.204).abs() < 5e-4);
        let narrow = Interval {
            lower: -3.0,
            upper: 3.0,
        };
        let found = difference(&c, &b, narrow, Spread::Separate, 0.05).unwrap();
        assert!((found.p - 0.0635).abs() < 5e-5 && !found.equivalent);
    }

    #[test]
    fn margins_out_of_order_are_refused() {
        let x = [1.0, 2.0, 3.0];
        let turned = Interval {
            lower: 1.0,
            upper: -1.0,
        };
        assert!(difference(&x, &x, turned, Spread::Pooled, 0.05).is_err());
        assert!(ratio(&x, &x, turned, Spread::Pooled, 0.05).is_err());
    }
}
