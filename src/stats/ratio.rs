//! A ratio of two means with Fieller's confidence set, the unbounded case told as such.

use crate::stats::dist::student;
use crate::stats::interval::Interval;
use crate::stats::numeric::root;
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::sample::{Spread, Summary};
use crate::stats::two_sample;

/// All values of a ratio that are compatible with the data.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RatioSet {
    /// An ordinary interval.
    Bounded(Interval),
    /// Everything except the values strictly between these two: the denominator may be zero.
    Outside {
        /// Upper end of the part that reaches down without end.
        at_most: f64,
        /// Lower end of the part that reaches up without end.
        at_least: f64,
    },
    /// Every value is compatible: nothing is known.
    WholeLine,
}

impl RatioSet {
    /// The interval, if the set is one.
    pub fn bounded(&self) -> Option<Interval> {
        match self {
            Self::Bounded(interval) => Some(*interval),
            Self::Outside { .. } | Self::WholeLine => None,
        }
    }
}

/// A ratio of two means and what is known about it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ratio {
    /// First mean over second mean, a fraction.
    pub ratio: f64,
    /// Degrees of freedom used.
    pub df: f64,
    /// The factor by which standard errors were multiplied.
    pub critical: f64,
    /// (critical · standard error of the denominator / denominator)²; the set is an interval when
    /// this is below 1.
    pub g: f64,
    /// The confidence set.
    pub set: RatioSet,
}

/// Estimated variances of numerator and denominator mean, both divided by the squared denominator
/// mean, beside the ratio itself: all that Fieller's set needs, free of units.
#[derive(Debug, Clone, Copy)]
pub(in crate::stats) struct Relative {
    pub(in crate::stats) ratio: f64,
    pub(in crate::stats) numerator: f64,
    pub(in crate::stats) denominator: f64,
}

impl Relative {
    /// Puts numerator and denominator (mean, variance of the mean) in relation.
    pub(in crate::stats) fn new(
        numerator: (f64, f64),
        denominator: (f64, f64),
    ) -> Result<Self, Refusal> {
        let (mean, variance) = denominator;
        if mean == 0.0 {
            return Err(Refusal::ZeroDenominator);
        }
        let relative = Self {
            ratio: numerator.0 / mean,
            numerator: numerator.1 / mean / mean,
            denominator: variance / mean / mean,
        };
        let finite = relative.ratio.is_finite()
            && relative.numerator.is_finite()
            && relative.denominator.is_finite();
        if finite {
            Ok(relative)
        } else {
            Err(Refusal::ZeroDenominator)
        }
    }

    /// Variance of numerator − ρ · denominator.
    pub(in crate::stats) fn variance_at(&self, rho: f64) -> f64 {
        self.numerator + rho * rho * self.denominator
    }

    /// Satterthwaite's degrees of freedom of numerator − ρ · denominator.
    pub(in crate::stats) fn df_at(&self, rho: f64, df: (f64, f64)) -> f64 {
        let total = self.variance_at(rho);
        let a = self.numerator / total;
        let b = rho * rho * self.denominator / total;
        1.0 / (a * a / df.0 + b * b / df.1)
    }

    /// Fieller's set for a given factor, with g.
    ///
    /// # Formula
    /// ```text
    /// (ρ̂ − θ)² ≤ c² (v₁ + θ² v₂)   ⇔   (1 − g) θ² − 2 ρ̂ θ + (ρ̂² − c² v₁) ≤ 0,   g = c² v₂
    /// discriminant = c² (v₁ (1 − g) + ρ̂² v₂)
    /// ```
    /// At g = 1 exactly the set is a half-line; the whole line, which contains it, is reported.
    ///
    /// # Source
    /// Fieller, J. R. Stat. Soc. B 16 (1954) 175.
    pub(in crate::stats) fn set(&self, critical: f64) -> (f64, RatioSet) {
        let square = critical * critical;
        let g = square * self.denominator;
        let lead = 1.0 - g;
        let under = square * (self.numerator * lead + self.ratio * self.ratio * self.denominator);
        if lead == 0.0 || under < 0.0 {
            return (g, RatioSet::WholeLine);
        }
        // The root with the larger sum first, the other from the product: no cancellation.
        let sum = self.ratio + under.sqrt().copysign(self.ratio);
        let product = self.ratio * self.ratio - square * self.numerator;
        let (a, b) = (sum / lead, if sum == 0.0 { 0.0 } else { product / sum });
        let (low, high) = (a.min(b), a.max(b));
        if lead > 0.0 {
            (
                g,
                RatioSet::Bounded(Interval {
                    lower: low,
                    upper: high,
                }),
            )
        } else {
            (
                g,
                RatioSet::Outside {
                    at_most: low,
                    at_least: high,
                },
            )
        }
    }
}

fn relative(a: &Summary, b: &Summary, spread: Spread) -> Result<(Relative, f64), Refusal> {
    two_sample::standard_error(a, b, spread)?;
    let (na, nb) = (a.n as f64, b.n as f64);
    let variances = match spread {
        Spread::Separate => (a.mean_variance(), b.mean_variance()),
        Spread::Pooled => {
            let pooled = (na - 1.0) * a.variance + (nb - 1.0) * b.variance;
            let pooled = pooled / (na + nb - 2.0);
            (pooled / na, pooled / nb)
        }
    };
    let relative = Relative::new((a.mean, variances.0), (b.mean, variances.1))?;
    if relative.variance_at(relative.ratio) <= 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    let df = match spread {
        Spread::Pooled => na + nb - 2.0,
        Spread::Separate => relative.df_at(relative.ratio, (na - 1.0, nb - 1.0)),
    };
    Ok((relative, df))
}

/// The ratio of two means of values, first over second.
///
/// With separate spreads the degrees of freedom are Satterthwaite's at the estimated ratio.
///
/// # Source
/// Fieller (1954); separate spreads: Tamhane & Logan, Biom. J. 46 (2004) 43.
///
/// # Errors
/// [`Refusal::TooFew`], [`Refusal::ZeroSpread`], [`Refusal::ZeroDenominator`],
/// [`Refusal::OutOfRange`]. An unbounded set is not an error but a [`RatioSet`].
pub fn fieller(
    numerator: &[f64],
    denominator: &[f64],
    spread: Spread,
    confidence: f64,
) -> Result<Ratio, Refusal> {
    fieller_summaries(
        &Summary::of(numerator)?,
        &Summary::of(denominator)?,
        spread,
        confidence,
    )
}

/// As [`fieller`], from number, mean and variance.
///
/// # Errors
/// As [`fieller`].
pub fn fieller_summaries(
    numerator: &Summary,
    denominator: &Summary,
    spread: Spread,
    confidence: f64,
) -> Result<Ratio, Refusal> {
    open_unit(confidence, "confidence")?;
    let (relative, df) = relative(numerator, denominator, spread)?;
    let critical = student::two_sided_quantile(confidence, df);
    let (g, set) = relative.set(critical);
    Ok(Ratio {
        ratio: relative.ratio,
        df,
        critical,
        g,
        set,
    })
}

/// The interval of a ratio with separate spreads whose degrees of freedom are taken anew at every
/// candidate ratio, instead of once at the estimate.
///
/// # Formula
/// ```text
/// { θ : |ρ̂ − θ| ≤ t(ν(θ)) √(v₁ + θ² v₂) }
/// ```
/// # Source
/// Tamhane & Logan (2004), section 3.
///
/// # Errors
/// As [`fieller`], and [`Refusal::Unbounded`] when the set has no finite ends.
pub fn fieller_inverted(
    numerator: &[f64],
    denominator: &[f64],
    confidence: f64,
) -> Result<Interval, Refusal> {
    open_unit(confidence, "confidence")?;
    let (a, b) = (Summary::of(numerator)?, Summary::of(denominator)?);
    let (relative, _) = relative(&a, &b, Spread::Separate)?;
    let dfs = (a.n as f64 - 1.0, b.n as f64 - 1.0);
    let limit = student::two_sided_quantile(confidence, dfs.1);
    if relative.denominator * limit * limit >= 1.0 {
        return Err(Refusal::Unbounded);
    }
    let excess = |theta: f64| {
        let se = relative.variance_at(theta).sqrt();
        let factor = student::two_sided_quantile(confidence, relative.df_at(theta, dfs));
        (relative.ratio - theta).abs() - factor * se
    };
    let stride = relative.variance_at(relative.ratio).sqrt();
    Ok(Interval {
        lower: root::beyond(excess, relative.ratio, -stride, "ratio interval")?,
        upper: root::beyond(excess, relative.ratio, stride, "ratio interval")?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const B: [f64; 5] = [58.1, 61.9, 60.4, 57.2, 62.4];
    const X: [f64; 5] = [51.3, 48.0, 54.6, 47.5, 53.6];

    /// The worked example of our handbook (trade.md 3.9): 78.90 to 91.49 %, g 0.002291.
    #[test]
    fn worked_example() {
        let found = fieller(&X, &B, Spread::Pooled, 0.95).unwrap();
        let interval = found.set.bounded().unwrap();
        assert!((found.g - 0.002_291).abs() < 5e-7);
        assert!((interval.lower - 0.7890).abs() < 5e-5);
        assert!((interval.upper - 0.9149).abs() < 5e-5);
    }

    #[test]
    fn units_cancel_and_the_inverse_ratio_inverts_the_interval() {
        let plain = fieller(&X, &B, Spread::Separate, 0.95).unwrap();
        let pounds = |v: f64| v * 4.448_221_615_260_5e20;
        let scaled = fieller(&X.map(pounds), &B.map(pounds), Spread::Separate, 0.95).unwrap();
        assert!((plain.df - scaled.df).abs() < 1e-9);
        let (a, b) = (plain.set.bounded().unwrap(), scaled.set.bounded().unwrap());
        assert!((a.lower - b.lower).abs() < 1e-13 && (a.upper - b.upper).abs() < 1e-13);
        let turned = fieller(&B, &X, Spread::Separate, 0.95).unwrap();
        assert!((turned.set.bounded().unwrap().lower * a.upper - 1.0).abs() < 1e-12);
    }

    #[test]
    fn the_ends_satisfy_the_defining_equation() {
        let r = Relative {
            ratio: 0.8,
            numerator: 0.01,
            denominator: 0.02,
        };
        for critical in [1.0, 5.0, 6.0] {
            let ends = match r.set(critical).1 {
                RatioSet::Bounded(i) => [i.lower, i.upper],
                RatioSet::Outside { at_most, at_least } => [at_most, at_least],
                RatioSet::WholeLine => panic!("finite ends expected"),
            };
            for end in ends {
                let miss = (0.8 - end).powi(2) - critical * critical * r.variance_at(end);
                assert!(miss.abs() < 1e-12);
            }
        }
        assert_eq!(r.set(60.0).1, RatioSet::WholeLine);
    }

    #[test]
    fn awkward_input_has_a_name() {
        let zero = fieller(&X, &[1.0, -1.0], Spread::Separate, 0.95);
        assert_eq!(zero, Err(Refusal::ZeroDenominator));
        let flat = fieller(&[0.0; 6], &B, Spread::Separate, 0.95);
        assert_eq!(flat, Err(Refusal::ZeroSpread));
        let wild = fieller(&X, &[-60.0, 61.0, 2.0], Spread::Separate, 0.95).unwrap();
        assert!(wild.set.bounded().is_none());
    }
}
