//! The studentised range: the largest difference among k means, in units of an estimated standard
//! error. The general library has none.

use crate::stats::dist::scale::Mixture;
use crate::stats::dist::{normal, student};
use crate::stats::numeric::root;
use crate::stats::refusal::{Refusal, open_unit};

/// The distribution of the studentised range of k independent means.
///
/// # Formula
/// ```text
/// P(Q > q)  = ∫ f_ν(s) [1 − W(q s)] ds,   W(x) = k ∫ φ(z) [Φ(z) − Φ(z − x)]^(k−1) dz
/// 1 − W(x)  = k ∫ φ(z) [Φ(z)^(k−1) − (Φ(z) − Φ(z − x))^(k−1)] dz
/// ```
/// Both tails are sums of positive terms and keep their relative accuracy (reference cases from
/// 4e-26 to 1 − 4e-26).
///
/// # Source
/// Hartley, Biometrika 32 (1942) 334; Copenhaver & Holland, J. Stat. Comput. Simul. 30 (1988) 1.
#[derive(Debug, Clone)]
pub struct StudentisedRange {
    means: f64,
    nu: f64,
    /// Step in z of the inner sum.
    step: f64,
    upper: Mixture,
    lower: Mixture,
}

impl StudentisedRange {
    /// The range of `k` ≥ 2 means (at most 1000) with `nu` degrees of freedom, infinity allowed.
    ///
    /// # Errors
    /// [`Refusal::TooFew`] below two means, [`Refusal::OutOfRange`].
    pub fn new(k: usize, nu: f64) -> Result<Self, Refusal> {
        if k < 2 {
            return Err(Refusal::TooFew { needed: 2, got: k });
        }
        if k > 1000 || nu.is_nan() || nu <= 0.0 {
            return Err(Refusal::OutOfRange {
                what: "studentised range",
            });
        }
        let means = k as f64;
        let table = Mixture::new(nu, 8.0);
        // Shifted by i·y the integrand grows like exp(k y²/2); the error is made e⁻³⁰.
        let step = std::f64::consts::TAU / (60.0 * means).sqrt();
        Ok(Self {
            means,
            nu,
            step,
            upper: table.clone(),
            lower: table,
        })
    }

    /// P(Q > q).
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] for a NaN, [`Refusal::NoConvergence`].
    pub fn sf(&mut self, q: f64) -> Result<f64, Refusal> {
        if let Some(known) = trivial(q, 1.0, 0.0)? {
            return Ok(known);
        }
        let (means, step, nu) = (self.means, self.step, self.nu);
        let known = |x: f64| Ok(beyond(means, step, x));
        if nu == f64::INFINITY {
            return known(q);
        }
        // The tail of the range of two falls like exp(−x²/4).
        let from = q * (nu / (nu + 0.5 * q * q)).sqrt();
        self.upper.integral(q, nu, from, known)
    }

    /// P(Q ≤ q).
    ///
    /// # Errors
    /// As [`StudentisedRange::sf`].
    pub fn cdf(&mut self, q: f64) -> Result<f64, Refusal> {
        if let Some(known) = trivial(q, 0.0, 1.0)? {
            return Ok(known);
        }
        let (means, step, nu) = (self.means, self.step, self.nu);
        let known = |x: f64| Ok(within(means, step, x));
        if nu == f64::INFINITY {
            return known(q);
        }
        self.lower.integral(q, nu, q, known)
    }

    /// The q with P(Q > q) = `alpha`.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`], [`Refusal::NoConvergence`].
    pub fn upper_quantile(&mut self, alpha: f64) -> Result<f64, Refusal> {
        open_unit(alpha, "error rate")?;
        let pairs = 0.5 * self.means * (self.means - 1.0);
        // One pair alone, and all pairs after Bonferroni, bracket the value.
        let of_pair = |p: f64| std::f64::consts::SQRT_2 * student::upper_quantile(0.5 * p, self.nu);
        let (low, high) = (of_pair(alpha), of_pair(alpha / pairs));
        let margin = 1e-9 * (1.0 + high);
        let mut fault = None;
        let miss = |q: f64| match self.sf(q) {
            Ok(tail) => (tail / alpha).ln(),
            Err(refusal) => {
                fault = Some(refusal);
                f64::NAN
            }
        };
        let found = root::between(
            miss,
            (low - margin).max(0.0),
            high + margin,
            "critical range",
        );
        fault.map_or(found, Err)
    }
}

/// The value at or below zero and at infinity.
fn trivial(q: f64, at_zero: f64, at_infinity: f64) -> Result<Option<f64>, Refusal> {
    if q.is_nan() {
        return Err(Refusal::OutOfRange {
            what: "studentised range",
        });
    }
    let end = (q <= 0.0).then_some(at_zero);
    Ok(end.or_else(|| q.is_infinite().then_some(at_infinity)))
}

/// k ∫ φ(z) K(Φ(z), Φ(z) − Φ(z−x)) dz as a plain sum; z is the largest of the k.
fn over_largest(means: f64, step: f64, x: f64, kernel: impl Fn(f64, f64, f64) -> f64) -> f64 {
    let first = (-9.0 / step).floor() as i32;
    let last = ((9.0 + x.min(80.0)) / step).ceil() as i32;
    let term = |i: i32| {
        let z = f64::from(i) * step;
        let (below, left) = (normal::cdf(z), normal::cdf(z - x));
        // From the side where the difference of the two does not cancel.
        let between = if z > 0.0 {
            normal::sf(z - x) - normal::sf(z)
        } else {
            below - left
        };
        normal::pdf(z) * kernel(below, left, between)
    };
    means * step * (first..=last).map(term).sum::<f64>()
}

/// P(range > x) with known standard deviation.
fn beyond(means: f64, step: f64, x: f64) -> f64 {
    let others = means - 1.0;
    over_largest(means, step, x, |below, left, _| {
        if below <= 0.0 {
            return 0.0;
        }
        // Where x is tiny the two tails may differ by a rounding error the wrong way round.
        -below.powf(others) * (others * (-left / below).max(-1.0).ln_1p()).exp_m1()
    })
}

/// P(range ≤ x) with known standard deviation.
fn within(means: f64, step: f64, x: f64) -> f64 {
    over_largest(means, step, x, |_, _, between| {
        between.max(0.0).powf(means - 1.0)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Harter (1960) as printed in every handbook: 5 % points, three decimals.
    #[test]
    fn printed_points() {
        for (k, nu, want) in [(2, 10.0, 3.151), (3, 10.0, 3.877), (5, 20.0, 4.232)] {
            let got = StudentisedRange::new(k, nu)
                .unwrap()
                .upper_quantile(0.05)
                .unwrap();
            assert!((got - want).abs() < 6e-4, "{k} {nu}: {got}");
        }
    }

    /// The range of two is √2 |t|.
    #[test]
    fn two_means_are_a_t_test() {
        for nu in [1.0, 3.5, 40.0] {
            for q in [0.01, 2.0, 30.0] {
                let mut law = StudentisedRange::new(2, nu).unwrap();
                let want = student::two_sided(q / std::f64::consts::SQRT_2, nu);
                assert!((law.sf(q).unwrap() / want - 1.0).abs() < 1e-11);
                assert!((law.cdf(q).unwrap() + want - 1.0).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn nonsense_is_refused() {
        assert!(StudentisedRange::new(1, 3.0).is_err());
        assert!(StudentisedRange::new(3, -1.0).is_err());
        assert!(StudentisedRange::new(3, 5.0).unwrap().sf(f64::NAN).is_err());
    }
}
