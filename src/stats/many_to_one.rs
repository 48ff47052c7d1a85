//! Several groups against one, as differences of means with simultaneous intervals.
//!
//! Pooled spread is Dunnett's method, separate spreads that of Hasler and Hothorn. The same for
//! ratios is in [`super::many_ratio`].

use crate::stats::dist::equicoordinate::{Equicoordinate, Sides};
use crate::stats::family::Family;
use crate::stats::interval::Interval;
use crate::stats::refusal::{Refusal, open_unit};

/// One group's difference from the control, adjusted for the whole family.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// Mean of the group less mean of the control.
    pub difference: f64,
    /// Its standard error.
    pub se: f64,
    /// Degrees of freedom: the common ones, or Satterthwaite's for this comparison.
    pub df: f64,
    /// difference / se.
    pub t: f64,
    /// The factor of the simultaneous interval.
    pub critical: f64,
    /// P(the largest |T| of the family ≥ |t|) when nothing differs.
    pub p: f64,
    /// difference ± critical · se.
    pub interval: Interval,
}

/// One group's difference from the control, looked at from one side only.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bound {
    /// The factor of the simultaneous bounds.
    pub critical: f64,
    /// P(the largest T of the family ≥ t): small when this group is higher.
    pub p_greater: f64,
    /// P(the smallest T of the family ≤ t): small when this group is lower.
    pub p_less: f64,
    /// The differences are above these bounds, all at once.
    pub lower: f64,
    /// The differences are below these bounds, all at once (not together with the lower ones).
    pub upper: f64,
}

/// What one comparison starts from.
#[derive(Debug, Clone, Copy)]
struct Contrast {
    difference: f64,
    se: f64,
    df: f64,
    lambda: f64,
}

/// Standard error, degrees of freedom and correlation with the control of each comparison; `None`
/// where both groups have no spread at all.
fn contrasts(family: &Family) -> Vec<Option<Contrast>> {
    let control = family.control();
    let v0 = family.mean_variance(control);
    let one = |group| {
        let v = family.mean_variance(group);
        let total = v + v0;
        (total > 0.0).then(|| Contrast {
            difference: group.mean - control.mean,
            se: total.sqrt(),
            df: family.df_of_contrast(group, v / total),
            lambda: (v0 / total).sqrt(),
        })
    };
    family.others().iter().map(one).collect()
}

/// The distribution of the family's largest statistic. A comparison without spread stays in the
/// family, uncorrelated, which can only widen the others' intervals.
fn law(contrasts: &[Option<Contrast>], sides: Sides) -> Result<Equicoordinate, Refusal> {
    let lambdas: Vec<f64> = contrasts
        .iter()
        .map(|c| c.map_or(0.0, |c| c.lambda))
        .collect();
    let largest = contrasts.iter().flatten().map(|c| c.df).fold(1.0, f64::max);
    Equicoordinate::new(&lambdas, sides, largest)
}

/// Differences from the control with simultaneous two-sided intervals, in the order of the family.
///
/// # Formula
/// ```text
/// pooled:    se_i = s √(1/n_i + 1/n₀), ν = Σ(n − 1),        λ_i = √(n_i/(n_i + n₀))
/// separate:  se_i = √(v_i + v₀), ν_i after Satterthwaite,   λ_i = √(v₀/(v_i + v₀)),  v = s²/n
/// d_i ± c_i se_i,   P(max_j |T_j| > c_i) = 1 − confidence for ν_i and correlations λ_i λ_j
/// ```
/// # Source
/// Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096; Hasler & Hothorn, Biom. J. 50 (2008) 793.
/// How well the promise is kept is simulated in `tests/benches/coverage.rs`.
///
/// # Errors
/// The inner ones concern one comparison ([`Refusal::ZeroSpread`]); the outer ones the family.
pub fn differences(
    family: &Family,
    confidence: f64,
) -> Result<Vec<Result<Difference, Refusal>>, Refusal> {
    open_unit(confidence, "confidence")?;
    let contrasts = contrasts(family);
    let mut law = law(&contrasts, Sides::Two)?;
    let mut one = |c: Contrast| -> Result<Difference, Refusal> {
        let critical = law.critical(1.0 - confidence, c.df)?;
        let t = c.difference / c.se;
        Ok(Difference {
            difference: c.difference,
            se: c.se,
            df: c.df,
            t,
            critical,
            p: law.tail(t.abs(), c.df)?,
            interval: Interval::around(c.difference, critical * c.se),
        })
    };
    Ok(contrasts
        .iter()
        .map(|c| c.ok_or(Refusal::ZeroSpread).and_then(&mut one))
        .collect())
}

/// Differences from the control with simultaneous one-sided bounds; see [`differences`].
///
/// # Errors
/// As [`differences`].
pub fn bounds(family: &Family, confidence: f64) -> Result<Vec<Result<Bound, Refusal>>, Refusal> {
    open_unit(confidence, "confidence")?;
    let contrasts = contrasts(family);
    let mut law = law(&contrasts, Sides::One)?;
    let mut one = |c: Contrast| -> Result<Bound, Refusal> {
        let critical = law.critical(1.0 - confidence, c.df)?;
        let t = c.difference / c.se;
        Ok(Bound {
            critical,
            p_greater: law.tail(t, c.df)?,
            p_less: law.tail(-t, c.df)?,
            lower: c.difference - critical * c.se,
            upper: c.difference + critical * c.se,
        })
    };
    Ok(contrasts
        .iter()
        .map(|c| c.ok_or(Refusal::ZeroSpread).and_then(&mut one))
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::sample::{Spread, Summary};
    use crate::stats::two_sample;

    const B: [f64; 5] = [58.1, 61.9, 60.4, 57.2, 62.4];
    const X: [f64; 5] = [51.3, 48.0, 54.6, 47.5, 53.6];
    const C: [f64; 5] = [59.5, 56.8, 61.0, 58.2, 60.5];

    /// The worked example of our handbook (trade.md 7.3).
    #[test]
    fn worked_example() {
        let family = Family::of(&B, &[X, C], Spread::Pooled).unwrap();
        let found = differences(&family, 0.95).unwrap();
        let (x, c) = (found[0].unwrap(), found[1].unwrap());
        assert!((x.t + 5.7374).abs() < 5e-5 && (c.t + 0.5100).abs() < 5e-5);
        assert!((x.p - 0.000_16).abs() < 1e-3 && (c.p - 0.832).abs() < 1e-3);
        assert!((x.interval.lower + 12.93).abs() < 0.01 && (x.interval.upper + 5.07).abs() < 0.01);
    }

    #[test]
    fn a_family_of_one_is_a_two_sample_t() {
        for spread in [Spread::Pooled, Spread::Separate] {
            let family = Family::of(&B, &[X], spread).unwrap();
            let found = differences(&family, 0.95).unwrap()[0].unwrap();
            let plain = two_sample::compare(&X, &B, spread, 0.95).unwrap();
            assert!((found.interval.lower - plain.interval.lower).abs() < 1e-10);
            assert!((found.p / plain.p_two_sided - 1.0).abs() < 1e-9);
            assert!((found.df / plain.df - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn order_shift_and_scale_change_only_what_they_must() {
        for spread in [Spread::Pooled, Spread::Separate] {
            let plain = differences(&Family::of(&B, &[X, C], spread).unwrap(), 0.95).unwrap();
            let move_it = |g: [f64; 5]| g.map(|v| -2.0 * v + 1000.0);
            let family = Family::of(&move_it(B), &[move_it(C), move_it(X)], spread).unwrap();
            let moved = differences(&family, 0.95).unwrap();
            let (a, b) = (plain[0].unwrap(), moved[1].unwrap());
            assert!((a.p / b.p - 1.0).abs() < 1e-9);
            assert!((b.interval.upper + 2.0 * a.interval.lower).abs() < 1e-9);
        }
    }

    #[test]
    fn a_group_without_spread_does_not_spoil_the_family() {
        let family = Family::of(&[5.0; 3], &[X.to_vec(), vec![5.0; 4]], Spread::Separate).unwrap();
        let found = differences(&family, 0.95).unwrap();
        assert!(found[0].is_ok());
        assert_eq!(found[1], Err(Refusal::ZeroSpread));
        let flat = Family::of(&B, &[[7.0; 5], X], Spread::Separate).unwrap();
        let flat = differences(&flat, 0.95).unwrap()[0].unwrap();
        assert!((flat.df - 4.0).abs() < 1e-12 && flat.critical > 2.776);
    }

    /// Practice note 3.4: critical values for three conditions of holders, from other software.
    #[test]
    fn holder_means_use_their_own_degrees_of_freedom() {
        let critical = |n, df| {
            let group = Summary {
                n,
                mean: 1.0,
                variance: 0.0,
            };
            let family = Family::with_common_variance(group, vec![group; 3], 1.0, df).unwrap();
            differences(&family, 0.95).unwrap()[0].unwrap().critical
        };
        assert!((critical(6, 20.0) - 2.54).abs() < 0.005);
        assert!((critical(3, 8.0) - 2.88).abs() < 0.005);
        assert!((critical(2, 4.0) - 3.62).abs() < 0.005);
    }
}
