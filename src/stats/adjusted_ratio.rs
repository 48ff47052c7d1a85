//! Several groups against one after adjustment for a covariate with a common slope: simultaneous
//! differences and Fieller sets of ratios, spreads pooled or separate.
//!
//! [`super::covariate`] has the whole analysis of covariance with a common spread; this is what a
//! verdict rests on when the plan asks for an adjustment.

use crate::stats::covariate::Group;
use crate::stats::dist::equicoordinate::{Equicoordinate, Sides};
use crate::stats::dist::student;
use crate::stats::interval::Interval;
use crate::stats::many_to_one::Difference;
use crate::stats::ratio::{Ratio, RatioSet};
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::sample::{Sample, Spread};

/// One group after the common slope was taken out.
#[derive(Debug, Clone, Copy)]
struct Part {
    n: f64,
    /// Mean response, adjusted to the common mean of the covariate.
    mean: f64,
    /// Mean of the covariate less the common one.
    off: f64,
    /// Σ (x − x̄)² within the group.
    extent: f64,
    /// Residual variance that serves the group.
    variance: f64,
    /// Its degrees of freedom.
    df: f64,
}

/// Groups compared with the first of them at one value of the covariate.
#[derive(Debug, Clone)]
pub struct AdjustedFamily {
    /// Mean of the covariate over all values.
    pub covariate_mean: f64,
    /// The slope common to all groups, in units of the response per unit of the covariate.
    pub slope: f64,
    /// Its interval at the confidence asked for, by itself.
    pub slope_interval: Interval,
    parts: Vec<Part>,
    spread: Spread,
    /// Degrees of freedom of the common variance.
    common_df: f64,
    confidence: f64,
}

/// Variance and degrees of freedom of one contrast.
struct Contrast {
    variance: f64,
    df: f64,
}

/// Fits the common slope; the first group is the one compared with.
///
/// # Formula
/// ```text
/// β̂ = Σ_g S_xy,g / Σ_g S_xx,g      (within groups, so independent of the group means)
/// pooled:    s² = RSS / (N − k − 1)
/// separate:  s_g² = RSS_g / (n_g − 1 − h_g),  h_g = S_xx,g / Σ S_xx
/// ```
/// # Source
/// Fisher, Statistical Methods for Research Workers (1932), for the common slope; the separate spreads
/// are our own combination with Hasler & Hothorn (2008), judged in `tests/benches/coverage.rs`.
///
/// # Errors
/// [`Refusal::NoComparison`] below two groups, [`Refusal::Unmatched`], [`Refusal::TooFew`] (three
/// values per group with separate spreads), [`Refusal::Collinear`] when the covariate does not vary
/// within groups, [`Refusal::ZeroSpread`] when nothing is left over, [`Refusal::OutOfRange`].
pub fn fit(
    groups: &[Group<'_>],
    spread: Spread,
    confidence: f64,
) -> Result<AdjustedFamily, Refusal> {
    open_unit(confidence, "confidence")?;
    if groups.len() < 2 {
        return Err(Refusal::NoComparison);
    }
    let needed = if spread == Spread::Separate { 3 } else { 1 };
    let within: Vec<Within<'_>> = groups
        .iter()
        .map(|group| Within::of(group, needed))
        .collect::<Result<_, _>>()?;
    let extent: f64 = within.iter().map(|w| w.x.sum_of_squares()).sum();
    let values = || groups.iter().flat_map(|g| g.x);
    let largest = values().fold(0.0_f64, |most, v| most.max(v.abs()));
    if extent <= (1e-12 * largest).powi(2) {
        return Err(Refusal::Collinear);
    }
    let slope = within.iter().map(|w| w.product).sum::<f64>() / extent;
    let count = values().count();
    let common_df = count as f64 - groups.len() as f64 - 1.0;
    if common_df < 1.0 {
        return Err(Refusal::TooFew {
            needed: groups.len() + 2,
            got: count,
        });
    }
    let common = within.iter().map(|w| w.left(slope)).sum::<f64>() / common_df;
    if common <= 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    let centre = values().sum::<f64>() / count as f64;
    let part = |w: &Within<'_>| {
        let own = w.x.len() as f64 - 1.0 - w.x.sum_of_squares() / extent;
        let (variance, df) = match spread {
            Spread::Pooled => (common, common_df),
            Spread::Separate => (w.left(slope) / own, own),
        };
        w.part(slope, centre, (variance, df))
    };
    let mut family = AdjustedFamily {
        covariate_mean: centre,
        slope,
        slope_interval: Interval::around(slope, 0.0),
        parts: within.iter().map(part).collect(),
        spread,
        common_df,
        confidence,
    };
    let of_slope = family.contrast(None, 1.0);
    let critical = student::two_sided_quantile(confidence, of_slope.df);
    family.slope_interval = Interval::around(slope, critical * of_slope.variance.sqrt());
    Ok(family)
}

/// One group as it is, with its own sum of products.
struct Within<'a> {
    x: Sample<'a>,
    y: Sample<'a>,
    /// Σ (x − x̄)(y − ȳ).
    product: f64,
}

impl<'a> Within<'a> {
    fn of(group: &Group<'a>, needed: usize) -> Result<Self, Refusal> {
        if group.x.len() != group.y.len() {
            return Err(Refusal::Unmatched);
        }
        let x = Sample::at_least(needed, group.x)?;
        let y = Sample::at_least(needed, group.y)?;
        let cross = |(a, b): (&f64, &f64)| (a - x.mean()) * (b - y.mean());
        let product = group.x.iter().zip(group.y).map(cross).sum();
        Ok(Self { x, y, product })
    }

    /// Residual sum of squares about the line of this slope through the group's own means.
    fn left(&self, slope: f64) -> f64 {
        let one = |(a, b): (&f64, &f64)| (b - self.y.mean() - slope * (a - self.x.mean())).powi(2);
        self.x.values().iter().zip(self.y.values()).map(one).sum()
    }

    fn part(&self, slope: f64, centre: f64, (variance, df): (f64, f64)) -> Part {
        let off = self.x.mean() - centre;
        Part {
            n: self.x.len() as f64,
            mean: self.y.mean() - slope * off,
            off,
            extent: self.x.sum_of_squares(),
            variance,
            df,
        }
    }
}

impl AdjustedFamily {
    /// Each group's mean at [`AdjustedFamily::covariate_mean`], the control first.
    pub fn means(&self) -> Vec<f64> {
        self.parts.iter().map(|p| p.mean).collect()
    }

    fn extent(&self) -> f64 {
        self.parts.iter().map(|p| p.extent).sum()
    }

    /// Variance of mean_i − ρ mean₀ (`at` = Some((i, ρ))), or of `times` the slope.
    ///
    /// # Formula
    /// ```text
    /// v = s_i²/n_i + ρ² s₀²/n₀ + (off_i − ρ off₀)² v(β̂),  v(β̂) = Σ s_g² S_xx,g / (Σ S_xx)²
    /// ν = v² / Σ_g (c_g s_g²)²/ν_g,  c_g all that s_g² is multiplied with
    /// ```
    fn contrast(&self, at: Option<(usize, f64)>, times: f64) -> Contrast {
        let control = self.parts.first();
        let own = at.and_then(|(i, rho)| Some((i, rho, self.parts.get(i)?, control?)));
        let way = own.map_or(times, |(_, rho, group, control)| {
            group.off - rho * control.off
        });
        let extent = self.extent();
        let (mut variance, mut spread) = (0.0, 0.0);
        for (index, part) in self.parts.iter().enumerate() {
            let mut factor = way * way * part.extent / (extent * extent);
            if let Some((i, rho, _, _)) = own {
                if index == i {
                    factor += 1.0 / part.n;
                } else if index == 0 {
                    factor += rho * rho / part.n;
                }
            }
            let share = factor * part.variance;
            variance += share;
            spread += share * share / part.df;
        }
        let df = match self.spread {
            Spread::Pooled => self.common_df,
            Spread::Separate => variance * variance / spread,
        };
        Contrast { variance, df }
    }

    /// The distribution of the largest statistic: uncorrelated, which by Šidák's inequality can only
    /// widen the intervals.
    fn law(&self) -> Result<Equicoordinate, Refusal> {
        let others = self.parts.len() - 1;
        Equicoordinate::new(&vec![0.0; others], Sides::Two, self.common_df)
    }

    /// Ratios of adjusted means to the control's, with simultaneous Fieller sets.
    ///
    /// # Source
    /// Fieller (1954), numerator and denominator correlated by the common slope; simultaneous by
    /// Šidák, J. Am. Stat. Assoc. 62 (1967) 626.
    ///
    /// # Errors
    /// The inner ones concern one comparison, the outer ones all.
    pub fn ratios(&self) -> Result<Vec<Result<Ratio, Refusal>>, Refusal> {
        let mut law = self.law()?;
        let control = *self.parts.first().ok_or(Refusal::NoComparison)?;
        let slope = self.contrast(None, 1.0).variance;
        let mut one = |i: usize, group: &Part| -> Result<Ratio, Refusal> {
            if control.mean == 0.0 {
                return Err(Refusal::ZeroDenominator);
            }
            let ratio = group.mean / control.mean;
            let contrast = self.contrast(Some((i, ratio)), 0.0);
            if contrast.variance <= 0.0 {
                return Err(Refusal::ZeroSpread);
            }
            let critical = law.critical(1.0 - self.confidence, contrast.df)?;
            let unit = critical * critical / (control.mean * control.mean);
            let numerator = unit * (group.variance / group.n + group.off.powi(2) * slope);
            let denominator = unit * (control.variance / control.n + control.off.powi(2) * slope);
            let both = unit * group.off * control.off * slope;
            Ok(Ratio {
                ratio,
                df: contrast.df,
                critical,
                g: denominator,
                set: fieller_set(ratio, numerator, denominator, both),
            })
        };
        let others = self.parts.iter().enumerate().skip(1);
        Ok(others.map(|(i, group)| one(i, group)).collect())
    }

    /// Differences of adjusted means from the control's, with simultaneous intervals.
    ///
    /// # Errors
    /// As [`AdjustedFamily::ratios`].
    pub fn differences(&self) -> Result<Vec<Result<Difference, Refusal>>, Refusal> {
        let mut law = self.law()?;
        let control = *self.parts.first().ok_or(Refusal::NoComparison)?;
        let mut one = |i: usize, group: &Part| -> Result<Difference, Refusal> {
            let contrast = self.contrast(Some((i, 1.0)), 0.0);
            let se = contrast.variance.sqrt();
            if se <= 0.0 {
                return Err(Refusal::ZeroSpread);
            }
            let critical = law.critical(1.0 - self.confidence, contrast.df)?;
            let difference = group.mean - control.mean;
            let t = difference / se;
            Ok(Difference {
                difference,
                se,
                df: contrast.df,
                t,
                critical,
                p: law.tail(t.abs(), contrast.df)?,
                interval: Interval::around(difference, critical * se),
            })
        };
        let others = self.parts.iter().enumerate().skip(1);
        Ok(others.map(|(i, group)| one(i, group)).collect())
    }
}

/// { θ : (ρ̂ − θ)² ≤ v₁ − 2 θ v₁₂ + θ² v₂ }, the variances already times the squared critical value.
fn fieller_set(ratio: f64, numerator: f64, denominator: f64, both: f64) -> RatioSet {
    let lead = 1.0 - denominator;
    let half = ratio - both;
    let product = ratio * ratio - numerator;
    let under = half * half - lead * product;
    if lead == 0.0 || under < 0.0 {
        return RatioSet::WholeLine;
    }
    // The root with the larger sum first, the other from the product: no cancellation.
    let sum = half + under.sqrt().copysign(half);
    let (a, b) = (sum / lead, if sum == 0.0 { 0.0 } else { product / sum });
    let (lower, upper) = (a.min(b), a.max(b));
    if lead > 0.0 {
        RatioSet::Bounded(Interval { lower, upper })
    } else {
        RatioSet::Outside {
            at_most: lower,
            at_least: upper,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::covariate;

    const X: [[f64; 5]; 3] = [
        [5.01, 5.04, 4.97, 5.10, 4.99],
        [5.03, 4.95, 5.08, 5.00, 5.06],
        [4.98, 5.02, 5.05, 4.94, 5.07],
    ];
    const Y: [[f64; 5]; 3] = [
        [301.0, 309.5, 296.2, 322.8, 299.1],
        [271.4, 255.0, 283.2, 265.9, 276.6],
        [288.0, 301.3, 306.9, 283.3, 309.0],
    ];

    fn groups<'a>(x: &'a [[f64; 5]; 3], y: &'a [[f64; 5]; 3]) -> Vec<Group<'a>> {
        let one = |(x, y): (&'a [f64; 5], &'a [f64; 5])| Group { x, y };
        x.iter().zip(y).map(one).collect()
    }

    /// With a common spread the differences are those of the analysis of covariance, which is checked
    /// against reference file 18 (analysis of covariance).
    #[test]
    fn the_pooled_differences_are_those_of_the_analysis_of_covariance() {
        let all = groups(&X, &Y);
        let found = fit(&all, Spread::Pooled, 0.95).unwrap();
        let known = covariate::adjusted(&all, 0.95).unwrap();
        assert!((found.slope - known.slope.estimate).abs() < 1e-9 * found.slope.abs());
        assert!((found.slope_interval.lower - known.slope.interval.lower).abs() < 1e-8);
        for (mine, theirs) in found.differences().unwrap().iter().zip(&known.differences) {
            let mine = mine.unwrap();
            assert!((mine.se - theirs.plain.se).abs() < 1e-9);
            assert!((mine.interval.lower - theirs.simultaneous.lower).abs() < 1e-7);
            assert!((mine.interval.upper - theirs.simultaneous.upper).abs() < 1e-7);
        }
    }

    /// At each end θ of a ratio's set the difference mean_i − θ mean₀ is as far from zero as the
    /// critical value allows.
    #[test]
    fn the_ends_satisfy_the_defining_equation() {
        for spread in [Spread::Pooled, Spread::Separate] {
            let family = fit(&groups(&X, &Y), spread, 0.95).unwrap();
            let means = family.means();
            for (at, ratio) in family.ratios().unwrap().iter().enumerate() {
                let ratio = ratio.unwrap();
                let ends = ratio.set.bounded().unwrap();
                for end in [ends.lower, ends.upper] {
                    let variance = family.contrast(Some((at + 1, end)), 0.0).variance;
                    let miss =
                        (means[at + 1] - end * means[0]).abs() - ratio.critical * variance.sqrt();
                    assert!(miss.abs() < 1e-9, "{miss}");
                }
            }
        }
    }

    #[test]
    fn units_of_response_and_covariate_cancel() {
        let x = X.map(|g| g.map(|v| v * 1000.0 + 7.0));
        let y = Y.map(|g| g.map(|v| v / 4.448_221_615));
        for spread in [Spread::Pooled, Spread::Separate] {
            let plain = fit(&groups(&X, &Y), spread, 0.95)
                .unwrap()
                .ratios()
                .unwrap();
            let turned = fit(&groups(&x, &y), spread, 0.95)
                .unwrap()
                .ratios()
                .unwrap();
            for (a, b) in plain.iter().zip(&turned) {
                let (a, b) = (a.unwrap(), b.unwrap());
                assert!((a.ratio - b.ratio).abs() < 1e-9 && (a.df - b.df).abs() < 1e-6);
                let (a, b) = (a.set.bounded().unwrap(), b.set.bounded().unwrap());
                assert!((a.lower - b.lower).abs() < 1e-9 && (a.upper - b.upper).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn awkward_input_has_a_name() {
        let flat = [[5.0; 5]; 3];
        let none = fit(&groups(&flat, &Y), Spread::Separate, 0.95);
        assert_eq!(none.unwrap_err(), Refusal::Collinear);
        let line = X.map(|g| g.map(|v| 2.0 * v));
        let exact = fit(&groups(&X, &line), Spread::Pooled, 0.95);
        assert!(
            matches!(exact, Err(Refusal::ZeroSpread)) || exact.unwrap().parts[0].variance < 1e-24
        );
    }
}
