//! Weibull strength by maximum likelihood, censored pieces included, with profile intervals.

use crate::stats::dist::{gamma, normal};
use crate::stats::interval::Interval;
use crate::stats::numeric::root;
use crate::stats::refusal::{Refusal, open_unit, positive};

/// Euler's constant.
const EULER: f64 = 0.577_215_664_901_532_9;

/// A fitted Weibull distribution, F(t) = 1 − exp(−(t/scale)^shape).
#[derive(Debug, Clone)]
pub struct Weibull {
    /// Shape (Weibull modulus); biased high in small samples.
    pub shape: f64,
    /// Scale: the load at which 63.2 % have failed, in the unit of the values.
    pub scale: f64,
    /// Log-likelihood at the maximum.
    pub ln_likelihood: f64,
    /// Variance of the shape, from the observed information.
    pub var_shape: f64,
    /// Variance of the scale.
    pub var_scale: f64,
    /// Covariance of shape and scale.
    pub covariance: f64,
    /// Standard errors of shape and scale from the expected information; `None` with censored
    /// pieces.
    pub expected_errors: Option<(f64, f64)>,
    data: Data,
}

/// What the likelihood needs of the pieces.
#[derive(Debug, Clone)]
struct Data {
    /// ln of every value.
    ln: Vec<f64>,
    /// Number that failed.
    failures: f64,
    /// Σ ln t over those that failed.
    failed_ln: f64,
}

impl Data {
    fn new(values: &[f64], failed: &[bool]) -> Result<Self, Refusal> {
        if values.len() != failed.len() {
            return Err(Refusal::Unmatched);
        }
        for &value in values {
            positive(value, "value of a Weibull sample")?;
        }
        let ln: Vec<f64> = values.iter().map(|v| v.ln()).collect();
        let those: Vec<f64> = ln
            .iter()
            .zip(failed)
            .filter(|(_, failed)| **failed)
            .map(|(l, _)| *l)
            .collect();
        if those.len() < 2 {
            return Err(Refusal::TooFew {
                needed: 2,
                got: those.len(),
            });
        }
        let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if those.iter().all(|l| *l == most) {
            return Err(Refusal::ZeroSpread);
        }
        Ok(Self {
            failures: those.len() as f64,
            failed_ln: those.iter().sum(),
            ln,
        })
    }

    /// Σ (t/v)^k (ln(t/v))^power.
    fn moment(&self, k: f64, ln_v: f64, power: i32) -> f64 {
        let term = |l: &f64| (k * (l - ln_v)).exp() * (l - ln_v).powi(power);
        self.ln.iter().map(term).sum()
    }

    /// ln of the scale that is best for a given shape.
    fn best_ln_scale(&self, k: f64) -> f64 {
        let most = self.ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        most + (self.moment(k, most, 0) / self.failures).ln() / k
    }

    /// Log-likelihood in terms of the shape and of the value v at which the cumulative hazard is c
    /// (c = 1: the scale).
    fn ln_likelihood(&self, k: f64, ln_v: f64, c: f64) -> f64 {
        let hazards = self.failures * (k.ln() + c.ln() - k * ln_v) + (k - 1.0) * self.failed_ln;
        hazards - c * self.moment(k, ln_v, 0)
    }

    /// The shape that is best for a given v; searched from a first guess.
    fn best_shape(&self, ln_v: f64, c: f64, guess: f64) -> Result<f64, Refusal> {
        let slope = |ln_k: f64| {
            let k = ln_k.exp();
            let linear = self.failures / k + self.failed_ln - self.failures * ln_v;
            linear - c * self.moment(k, ln_v, 1)
        };
        let from = guess.ln();
        let stride = if slope(from) > 0.0 { 0.2 } else { -0.2 };
        Ok(root::beyond(slope, from, stride, "Weibull profile")?.exp())
    }
}

/// Fits a Weibull distribution; `failed` is false where the value is only a lower bound.
///
/// # Formula
/// ```text
/// 1/k + mean ln t (failed) = Σ tᵏ ln t / Σ tᵏ,   scaleᵏ = Σ tᵏ / r,   r failures
/// ```
/// # Source
/// Cohen, Technometrics 7 (1965) 579; standard errors from the observed information (Lawless,
/// Statistical Models and Methods for Lifetime Data, 1982).
///
/// # Errors
/// [`Refusal::TooFew`] below two failures, [`Refusal::ZeroSpread`] when all failed at the largest
/// value (the shape is infinite), [`Refusal::OutOfRange`] for a value not above zero,
/// [`Refusal::Unmatched`], [`Refusal::NoConvergence`].
pub fn fit(values: &[f64], failed: &[bool]) -> Result<Weibull, Refusal> {
    let data = Data::new(values, failed)?;
    let r = data.failures;
    let most = data.ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mean = data.failed_ln / r;
    let slope = |ln_k: f64| {
        let k = ln_k.exp();
        1.0 / k + (mean - most) - data.moment(k, most, 1) / data.moment(k, most, 0)
    };
    let stride = if slope(0.0) > 0.0 { 0.5 } else { -0.5 };
    let k = root::beyond(slope, 0.0, stride, "Weibull shape")?.exp();
    let ln_scale = data.best_ln_scale(k);
    let scale = ln_scale.exp();
    let (first, second) = (data.moment(k, ln_scale, 1), data.moment(k, ln_scale, 2));
    // Observed information at the maximum, where Σ (t/λ)^k = r.
    let (shape2, cross, scale2) = (
        r / (k * k) + second,
        -k / scale * first,
        r * (k / scale).powi(2),
    );
    let determinant = shape2 * scale2 - cross * cross;
    if !scale.is_finite() || determinant.is_nan() || determinant <= 0.0 {
        return Err(Refusal::NoConvergence {
            what: "Weibull fit",
        });
    }
    let bias = 6.0 / std::f64::consts::PI.powi(2);
    let expected = (
        k * (bias / r).sqrt(),
        scale / k * ((1.0 + bias * (1.0 - EULER).powi(2)) / r).sqrt(),
    );
    Ok(Weibull {
        shape: k,
        scale,
        ln_likelihood: data.ln_likelihood(k, ln_scale, 1.0),
        var_shape: scale2 / determinant,
        var_scale: shape2 / determinant,
        covariance: -cross / determinant,
        expected_errors: (data.ln.len() as f64 == r).then_some(expected),
        data,
    })
}

/// What is asked about a fitted distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Quantity {
    /// The shape.
    Shape,
    /// The scale.
    Scale,
    /// The value below which this share fails (0.1: the B10 load).
    Quantile(f64),
}

impl Weibull {
    /// Cumulative hazard at a share, −ln(1 − p).
    fn hazard(p: f64) -> Result<f64, Refusal> {
        Ok(-(-open_unit(p, "share of failures")?).ln_1p())
    }

    /// The estimate and its standard error (delta method, observed information).
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] for a share outside (0, 1).
    pub fn estimate(&self, of: Quantity) -> Result<(f64, f64), Refusal> {
        match of {
            Quantity::Shape => Ok((self.shape, self.var_shape.sqrt())),
            Quantity::Scale => Ok((self.scale, self.var_scale.sqrt())),
            Quantity::Quantile(p) => {
                let ln_c = Self::hazard(p)?.ln();
                let unit = (ln_c / self.shape).exp();
                let value = self.scale * unit;
                let by_shape = -value * ln_c / (self.shape * self.shape);
                let variance = by_shape * by_shape * self.var_shape
                    + unit * unit * self.var_scale
                    + 2.0 * by_shape * unit * self.covariance;
                Ok((value, variance.max(0.0).sqrt()))
            }
        }
    }

    /// Wald interval on the logarithm: quick, and too narrow in small samples.
    ///
    /// # Errors
    /// As [`Weibull::estimate`], and [`Refusal::OutOfRange`] for the confidence.
    pub fn wald(&self, of: Quantity, confidence: f64) -> Result<Interval, Refusal> {
        open_unit(confidence, "confidence")?;
        let (value, error) = self.estimate(of)?;
        let factor = (normal::quantile(0.5 + 0.5 * confidence) * error / value).exp();
        Ok(Interval {
            lower: value / factor,
            upper: value * factor,
        })
    }

    /// Profile-likelihood interval: all values whose best log-likelihood is within χ²/2 of the
    /// maximum.
    ///
    /// # Source
    /// Lawless (1982), section 4.1.
    ///
    /// # Errors
    /// As [`Weibull::wald`], and [`Refusal::NoConvergence`] when the likelihood stays too flat to
    /// bound the value.
    pub fn profile(&self, of: Quantity, confidence: f64) -> Result<Interval, Refusal> {
        open_unit(confidence, "confidence")?;
        let z = normal::quantile(0.5 + 0.5 * confidence);
        let allowed = 0.5 * z * z;
        let (value, error) = self.estimate(of)?;
        let excess = |ln: f64| match self.best_ln_likelihood(of, ln) {
            Ok(found) => self.ln_likelihood - found - allowed,
            Err(_) => f64::NAN,
        };
        let stride = (error / value).min(1.0);
        Ok(Interval {
            lower: root::beyond(excess, value.ln(), -stride, "Weibull interval")?.exp(),
            upper: root::beyond(excess, value.ln(), stride, "Weibull interval")?.exp(),
        })
    }

    /// The log-likelihood maximised with one quantity held at exp(`ln`).
    fn best_ln_likelihood(&self, of: Quantity, ln: f64) -> Result<f64, Refusal> {
        let c = match of {
            Quantity::Shape => {
                let k = ln.exp();
                return Ok(self.data.ln_likelihood(k, self.data.best_ln_scale(k), 1.0));
            }
            Quantity::Scale => 1.0,
            Quantity::Quantile(p) => Self::hazard(p)?,
        };
        let k = self.data.best_shape(ln, c, self.shape)?;
        Ok(self.data.ln_likelihood(k, ln, c))
    }

    /// The mean of the fitted distribution.
    pub fn mean(&self) -> f64 {
        self.scale * gamma::ln_gamma(1.0 + 1.0 / self.shape).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOADS: [f64; 10] = [42.1, 45.3, 47.8, 49.6, 51.2, 52.9, 54.4, 56.0, 58.1, 61.3];

    /// The worked example of our handbook (trade.md 7.9): m 10.450, scale 54.379.
    #[test]
    fn worked_example() {
        let found = fit(&LOADS, &[true; 10]).unwrap();
        assert!((found.shape - 10.450).abs() < 5.1e-4 && (found.scale - 54.379).abs() < 5.1e-4);
    }

    #[test]
    fn scale_moves_with_the_unit_and_shape_does_not() {
        let mut failed = [true; 10];
        failed[9] = false;
        let plain = fit(&LOADS, &failed).unwrap();
        let moved = fit(&LOADS.map(|v| v * 1e-6), &failed).unwrap();
        assert!((plain.shape / moved.shape - 1.0).abs() < 1e-11);
        assert!((plain.scale * 1e-6 / moved.scale - 1.0).abs() < 1e-12);
        let b10 = plain.profile(Quantity::Quantile(0.1), 0.9).unwrap();
        assert!(b10.contains(plain.estimate(Quantity::Quantile(0.1)).unwrap().0));
    }

    #[test]
    fn awkward_input_has_a_name() {
        assert_eq!(fit(&[3.0; 5], &[true; 5]).unwrap_err(), Refusal::ZeroSpread);
        assert!(matches!(
            fit(&LOADS, &[false; 10]),
            Err(Refusal::TooFew { .. })
        ));
        assert!(fit(&[0.0, 1.0, 2.0], &[true; 3]).is_err());
        assert_eq!(fit(&LOADS, &[true]).unwrap_err(), Refusal::Unmatched);
    }
}
