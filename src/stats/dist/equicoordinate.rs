//! The largest of several t statistics that share one reference: tails and critical values.
//!
//! This is the distribution behind every many-to-one comparison of this room (pooled or separate
//! spreads, differences or ratios). The general library has none.
use crate::stats::dist::scale::Mixture;
use crate::stats::dist::{normal, student};
use crate::stats::numeric::{quadrature, root};
use crate::stats::refusal::{Refusal, open_unit};

/// Whether the largest T or the largest |T| is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sides {
    /// The largest T_j: bounds on one side.
    One,
    /// The largest |T_j|: intervals.
    Two,
}

/// The family with the standard deviation known: what is left when the estimated scale is 1.
#[derive(Debug, Clone)]
struct KnownSpread {
    members: Vec<Member>,
    sides: Sides,
    /// Step in z of the sum for G.
    step: f64,
}

/// One comparison: its correlation with the shared reference.
#[derive(Debug, Clone, Copy)]
struct Member {
    /// λ_j; the correlation of two comparisons is λ_i λ_j.
    lambda: f64,
    /// 1/√(1 − λ_j²); infinite when the comparison is the reference alone.
    sharpness: f64,
}

/// Above this sharpness Φ((x+λz)/√(1−λ²)) is so steep that the plain sum gives way to adaptive
/// quadrature with the steep places as ends.
const STEEP: f64 = 40.0;

/// The distribution of max T_j or max |T_j|, T_j = (λ_j Z₀ + √(1−λ_j²) Z_j)/S, for a family of
/// comparisons with product correlation and any degrees of freedom.
///
/// # Formula
/// ```text
/// G(x)   = 1 − ∫ φ(z) Π_j [Φ((x+λ_j z)/r_j) − Φ((−x+λ_j z)/r_j)] dz,   r_j = √(1−λ_j²)
/// P(d)   = ∫ f_ν(s) G(d s) ds                                  (one-sided: Π Φ((x−λ_j z)/r_j))
/// ```
/// G does not depend on d or ν and is tabulated once (see [`Mixture`]), so every tail and every step
/// of a search for a critical value is a short sum. All terms are positive, so small tails keep their
/// figures (reference cases down to 1e-21 hold to 1e-12).
///
/// # Source
/// Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096; Hsu, Multiple Comparisons (1996), section 3.
#[derive(Debug, Clone)]
pub struct Equicoordinate {
    known: KnownSpread,
    above: Mixture,
    /// For one-sided families: the tails at negative points.
    below: Mixture,
    /// The last critical value found: error rate, degrees of freedom, value.
    last: Option<(f64, f64, f64)>,
}

impl Equicoordinate {
    /// A family with correlations λ_i λ_j, to be asked for no more than `largest_nu` degrees of
    /// freedom (infinity is always allowed).
    ///
    /// # Errors
    /// [`Refusal::NoComparison`] without a member, [`Refusal::OutOfRange`] for a λ outside [−1, 1].
    pub fn new(lambdas: &[f64], sides: Sides, largest_nu: f64) -> Result<Self, Refusal> {
        if lambdas.is_empty() {
            return Err(Refusal::NoComparison);
        }
        if lambdas.iter().any(|l| l.is_nan() || l.abs() > 1.0) {
            return Err(Refusal::OutOfRange {
                what: "correlation with the reference",
            });
        }
        // G changes over x of about 1; arguments beyond 8 no longer matter.
        let table = Mixture::new(largest_nu, 8.0);
        let known = KnownSpread::new(lambdas, sides);
        Ok(Self {
            known,
            above: table.clone(),
            below: table,
            last: None,
        })
    }

    /// P(max > d) with `nu` degrees of freedom, infinity allowed.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] for `nu` not positive or beyond the largest announced, or a NaN `d`;
    /// [`Refusal::NoConvergence`] when an integral does not settle.
    pub fn tail(&mut self, d: f64, nu: f64) -> Result<f64, Refusal> {
        if d.is_nan() {
            return Err(Refusal::OutOfRange { what: "statistic" });
        }
        if self.known.sides == Sides::Two && d <= 0.0 {
            return Ok(1.0);
        }
        if d.is_infinite() {
            return Ok(if d > 0.0 { 0.0 } else { 1.0 });
        }
        let known = &self.known;
        if d == 0.0 || nu == f64::INFINITY {
            return known.tail(d);
        }
        if d < 0.0 {
            return self.below.integral(-d, nu, -d, |x| known.tail(-x));
        }
        // The hump lies between the scale where f(s) exp(−d²s²/2) peaks, and 1.
        let from = d * (nu / (nu + d * d)).sqrt();
        self.above.integral(d, nu, from, |x| known.tail(x))
    }

    /// The d with P(max > d) = `alpha`.
    ///
    /// # Errors
    /// As [`Equicoordinate::tail`]; [`Refusal::OutOfRange`] when `alpha` is not inside (0, 1).
    pub fn critical(&mut self, alpha: f64, nu: f64) -> Result<f64, Refusal> {
        open_unit(alpha, "error rate")?;
        if let Some((_, _, known)) = self.last.filter(|l| (l.0, l.1) == (alpha, nu)) {
            return Ok(known);
        }
        let share = if self.known.sides == Sides::Two {
            0.5 * alpha
        } else {
            alpha
        };
        let count = self.known.members.len() as f64;
        // One comparison alone and Bonferroni's inequality bracket the value.
        let low = student::upper_quantile(share, nu);
        if self.known.members.len() == 1 {
            return Ok(low);
        }
        let high = student::upper_quantile(share / count, nu);
        let margin = 1e-9 * (1.0 + high.abs());
        let mut fault = None;
        let miss = |d: f64| match self.tail(d, nu) {
            Ok(tail) => (tail / alpha).ln(),
            Err(refusal) => {
                fault = Some(refusal);
                f64::NAN
            }
        };
        let found = root::between(miss, low - margin, high + margin, "critical value");
        let found = fault.map_or(found, Err)?;
        self.last = Some((alpha, nu, found));
        Ok(found)
    }
}

impl KnownSpread {
    fn new(lambdas: &[f64], sides: Sides) -> Self {
        let members: Vec<Member> = lambdas.iter().map(|&l| Member::new(l, sides)).collect();
        let steepness: f64 = members
            .iter()
            .map(|m| (m.lambda * m.sharpness).powi(2))
            .sum();
        // The trapezoid error is exp(−(2π/h)²/(2(1+Σλ²/r²))), see `scale::step`; made e⁻³⁰.
        let step = std::f64::consts::TAU / (60.0 * (1.0 + steepness)).sqrt();
        Self {
            members,
            sides,
            step,
        }
    }

    /// G(x): the tail when the standard deviation is known.
    fn tail(&self, x: f64) -> Result<f64, Refusal> {
        let integrand = |z: f64| normal::pdf(z) * self.any_beyond(x, z);
        let extent = |lambda: f64| lambda.abs() * x.max(0.0);
        let reach = 9.0
            + self
                .members
                .iter()
                .map(|m| extent(m.lambda))
                .fold(0.0, f64::max);
        let symmetric = self.sides == Sides::Two;
        if self.members.iter().any(|m| m.sharpness > STEEP) {
            let ends = self.steep_places(x, reach, symmetric);
            let half = quadrature::adaptive(integrand, &ends, 1e-11, "many-to-one integral")?;
            return Ok(if symmetric { 2.0 * half } else { half });
        }
        let h = self.step;
        let last = (reach / h).ceil() as i32;
        let one_way: f64 = (1..=last).map(|i| integrand(f64::from(i) * h)).sum();
        let other_way = if symmetric {
            one_way
        } else {
            (1..=last).map(|i| integrand(-f64::from(i) * h)).sum()
        };
        Ok(h * (integrand(0.0) + one_way + other_way))
    }

    /// P(some member beyond x | Z₀ = z), added up one member at a time so that it keeps its figures
    /// when it is tiny.
    fn any_beyond(&self, x: f64, z: f64) -> f64 {
        let members = self.members.iter().map(|m| m.beyond(x, z, self.sides));
        members.fold(0.0, |any, own| any + own * (1.0 - any))
    }

    /// Ends for the adaptive rule: zero or the far left, the steep places, the far right.
    fn steep_places(&self, x: f64, reach: f64, symmetric: bool) -> Vec<f64> {
        let left = if symmetric { 0.0 } else { -reach };
        let mut ends = vec![left, reach];
        for m in self.members.iter().filter(|m| m.sharpness > STEEP) {
            let (place, width) = (x / m.lambda, 8.0 / (m.sharpness * m.lambda.abs()));
            ends.extend([place - width, place, place + width]);
            if symmetric {
                ends.extend([-place - width, -place, -place + width]);
            }
        }
        ends.retain(|&z| z >= left && z <= reach);
        ends.sort_by(f64::total_cmp);
        ends.dedup();
        ends
    }
}

impl Member {
    fn new(lambda: f64, sides: Sides) -> Self {
        // Two-sided tails depend on |λ| only.
        let lambda = if sides == Sides::Two {
            lambda.abs()
        } else {
            lambda
        };
        Self {
            lambda,
            sharpness: 1.0 / ((1.0 - lambda) * (1.0 + lambda)).sqrt(),
        }
    }

    /// P(this member beyond x | Z₀ = z).
    fn beyond(&self, x: f64, z: f64, sides: Sides) -> f64 {
        let shift = self.lambda * z;
        let above = self.scaled_tail(x - shift);
        match sides {
            Sides::One => above,
            Sides::Two => (above + self.scaled_tail(x + shift)).min(1.0),
        }
    }

    fn scaled_tail(&self, gap: f64) -> f64 {
        if self.sharpness.is_finite() {
            normal::sf(gap * self.sharpness)
        } else if gap > 0.0 {
            0.0
        } else {
            1.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Dunnett, Biometrics 20 (1964) 482, table of two-sided 5 % points for equal n; two decimals.
    #[test]
    fn printed_two_sided_points() {
        for (k, nu, want) in [
            (2, 12.0, 2.50),
            (3, 16.0, 2.59),
            (4, 20.0, 2.65),
            (5, 24.0, 2.70),
        ] {
            let lambdas = vec![0.5_f64.sqrt(); k];
            let mut law = Equicoordinate::new(&lambdas, Sides::Two, nu).unwrap();
            assert!((law.critical(0.05, nu).unwrap() - want).abs() < 0.0051);
        }
    }

    /// Without correlation and with known spread the family is a product: Šidák's value.
    #[test]
    fn independent_members_give_a_product() {
        let mut law = Equicoordinate::new(&[0.0; 4], Sides::Two, 1.0).unwrap();
        let want = 1.0 - (1.0 - 2.0 * normal::sf(2.2)).powi(4);
        assert!((law.tail(2.2, f64::INFINITY).unwrap() / want - 1.0).abs() < 1e-12);
    }

    /// A family whose members are all the reference itself is one comparison.
    #[test]
    fn complete_correlation_collapses_to_one_comparison() {
        for lambda in [1.0, 1.0 - 1e-15] {
            let mut law = Equicoordinate::new(&[lambda; 3], Sides::Two, 7.0).unwrap();
            let tail = law.tail(2.365, 7.0).unwrap();
            assert!(
                (tail / student::two_sided(2.365, 7.0) - 1.0).abs() < 1e-6,
                "{tail}"
            );
        }
    }

    /// The steep branch and the plain sum agree where both apply.
    #[test]
    fn halving_the_steps_changes_nothing() {
        for (lambda, nu) in [(0.3, 2.0), (0.7, 5.0), (0.95, 11.3), (0.999, 40.0)] {
            for sides in [Sides::One, Sides::Two] {
                let mut law = Equicoordinate::new(&[lambda, 0.5, 0.6], sides, nu).unwrap();
                let mut fine = law.clone();
                fine.known.step *= 0.5;
                fine.above.step *= 0.5;
                for d in [0.4, 2.3, 9.0] {
                    let (a, b) = (law.tail(d, nu).unwrap(), fine.tail(d, nu).unwrap());
                    assert!((a / b - 1.0).abs() < 1e-11, "{lambda} {nu} {d}: {a} {b}");
                }
            }
        }
    }

    #[test]
    fn refuses_nonsense() {
        assert!(Equicoordinate::new(&[], Sides::Two, 3.0).is_err());
        assert!(Equicoordinate::new(&[1.5], Sides::Two, 3.0).is_err());
        let mut law = Equicoordinate::new(&[0.5, 0.5], Sides::Two, 3.0).unwrap();
        assert!(law.critical(0.05, 300.0).is_err());
        assert!(law.tail(f64::NAN, 3.0).is_err());
    }
}
