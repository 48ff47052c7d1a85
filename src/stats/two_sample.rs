//! Two groups: Student's and Welch's t with their intervals.

use crate::stats::dist::student;
use crate::stats::interval::Interval;
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::sample::{Spread, Summary};

/// A difference of two means and what is known about it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comparison {
    /// First mean less second mean.
    pub difference: f64,
    /// Standard error of the difference.
    pub se: f64,
    /// Degrees of freedom, for separate spreads Satterthwaite's.
    pub df: f64,
    /// difference / se.
    pub t: f64,
    /// P(|T| ≥ |t|).
    pub p_two_sided: f64,
    /// P(T ≤ t): small when the first group is lower.
    pub p_less: f64,
    /// P(T ≥ t): small when the first group is higher.
    pub p_greater: f64,
    /// Interval of the difference at the confidence asked for.
    pub interval: Interval,
}

/// Standard error and degrees of freedom of a difference of two means.
///
/// # Formula
/// ```text
/// pooled:    se² = s_p² (1/n₁ + 1/n₂),  ν = n₁ + n₂ − 2
/// separate:  se² = v₁ + v₂,  v_i = s_i²/n_i,  ν = (v₁+v₂)² / (v₁²/(n₁−1) + v₂²/(n₂−1))
/// ```
/// # Source
/// Welch, Biometrika 34 (1947) 28; Satterthwaite, Biometrics Bull. 2 (1946) 110.
///
/// # Errors
/// [`Refusal::TooFew`] (two values per group with separate spreads; one and two pooled),
/// [`Refusal::ZeroSpread`].
pub fn standard_error(a: &Summary, b: &Summary, spread: Spread) -> Result<(f64, f64), Refusal> {
    let needed = if spread == Spread::Separate { 2 } else { 1 };
    let (a, b) = (a.checked(needed)?, b.checked(needed)?);
    let (na, nb) = (a.n as f64, b.n as f64);
    let (square, df) = match spread {
        Spread::Pooled => {
            let df = na + nb - 2.0;
            if df < 1.0 {
                return Err(Refusal::TooFew {
                    needed: 3,
                    got: a.n + b.n,
                });
            }
            let pooled = ((na - 1.0) * a.variance + (nb - 1.0) * b.variance) / df;
            (pooled * (1.0 / na + 1.0 / nb), df)
        }
        Spread::Separate => {
            let (va, vb) = (a.mean_variance(), b.mean_variance());
            let total = va + vb;
            // Shares first, so that tiny or huge variances do not under- or overflow when squared.
            let (sa, sb) = (va / total, vb / total);
            (total, 1.0 / (sa * sa / (na - 1.0) + sb * sb / (nb - 1.0)))
        }
    };
    if square > 0.0 {
        Ok((square.sqrt(), df))
    } else {
        Err(Refusal::ZeroSpread)
    }
}

/// Compares two groups of values.
///
/// # Errors
/// As [`standard_error`], and [`Refusal::OutOfRange`] for the confidence.
pub fn compare(
    first: &[f64],
    second: &[f64],
    spread: Spread,
    confidence: f64,
) -> Result<Comparison, Refusal> {
    compare_summaries(
        &Summary::of(first)?,
        &Summary::of(second)?,
        spread,
        confidence,
    )
}

/// Compares two groups of which only number, mean and variance are at hand.
///
/// # Errors
/// As [`compare`].
pub fn compare_summaries(
    first: &Summary,
    second: &Summary,
    spread: Spread,
    confidence: f64,
) -> Result<Comparison, Refusal> {
    open_unit(confidence, "confidence")?;
    let (se, df) = standard_error(first, second, spread)?;
    let difference = first.mean - second.mean;
    let t = difference / se;
    let half_width = student::two_sided_quantile(confidence, df) * se;
    Ok(Comparison {
        difference,
        se,
        df,
        t,
        p_two_sided: student::two_sided(t, df),
        p_less: student::cdf(t, df),
        p_greater: student::sf(t, df),
        interval: Interval::around(difference, half_width),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const B: [f64; 5] = [58.1, 61.9, 60.4, 57.2, 62.4];
    const X: [f64; 5] = [51.3, 48.0, 54.6, 47.5, 53.6];

    /// The worked example of our handbook (trade.md 3.9), computed there by other software.
    #[test]
    fn worked_example() {
        let found = compare(&X, &B, Spread::Separate, 0.95).unwrap();
        assert!((found.t + 5.1100).abs() < 5e-5);
        assert!((found.df - 7.2414).abs() < 5e-5);
        assert!((found.p_two_sided - 0.001_248).abs() < 5e-7);
        assert!((found.interval.lower + 13.137).abs() < 5e-4);
        assert!((found.interval.upper + 4.863).abs() < 5e-4);
    }

    #[test]
    fn shifting_scaling_and_swapping() {
        for spread in [Spread::Pooled, Spread::Separate] {
            let plain = compare(&X, &B, spread, 0.9).unwrap();
            let moved = compare(
                &X.map(|v| 3.0 * v - 7.0),
                &B.map(|v| 3.0 * v - 7.0),
                spread,
                0.9,
            );
            let moved = moved.unwrap();
            assert!((moved.t - plain.t).abs() < 1e-12);
            assert!((moved.interval.lower - 3.0 * plain.interval.lower).abs() < 1e-11);
            let swapped = compare(&B, &X, spread, 0.9).unwrap();
            assert_eq!(swapped.t, -plain.t);
            assert!((swapped.p_less - plain.p_greater).abs() < 1e-15);
        }
    }

    #[test]
    fn awkward_input_has_a_name() {
        let zero = compare(&[2.0; 4], &[2.0; 3], Spread::Separate, 0.95);
        assert_eq!(zero, Err(Refusal::ZeroSpread));
        let few = compare(&[2.0], &[1.0, 2.0], Spread::Separate, 0.95);
        assert_eq!(few, Err(Refusal::TooFew { needed: 2, got: 1 }));
        assert_eq!(
            compare(&[], &B, Spread::Pooled, 0.95).unwrap_err(),
            Refusal::TooFew { needed: 1, got: 0 }
        );
        assert_eq!(
            compare(&[1e300, 2.0], &B, Spread::Pooled, 0.95).unwrap_err(),
            Refusal::TooLarge
        );
        assert_eq!(
            compare(&[f64::NAN, 2.0], &B, Spread::Pooled, 0.95).unwrap_err(),
            Refusal::NotFinite
        );
        assert!(compare(&X, &B, Spread::Pooled, 1.0).is_err());
        assert!(
            compare(&[1e150, -1e150], &[0.0, 1e-200], Spread::Separate, 0.95)
                .unwrap()
                .t
                .is_finite()
        );
    }
}
