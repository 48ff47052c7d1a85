//! The noncentral t distribution: both tails and quantiles, accurate far out and for large
//! noncentrality, which the usual series are not. The general library has none.

use crate::stats::dist::scale::{LogScale, step};
use crate::stats::dist::{normal, student};
use crate::stats::numeric::{quadrature::two_way_sum, root};
use crate::stats::refusal::{Refusal, positive};

/// Which side of the point a tail lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Lower,
    Upper,
}

/// P(T ≤ t) for `nu` degrees of freedom and noncentrality `ncp`.
///
/// # Formula
/// ```text
/// T = (Z + δ)/S,  S = χ_ν/√ν:   P(T ≤ t) = ∫ f(s) Φ(t s − δ) ds
/// ```
/// summed over ln s by the trapezoid rule around the integrand's peak; all terms are positive, so
/// the relative accuracy holds in both tails (checked to 1e-8 down to 1e-34).
///
/// # Errors
/// [`Refusal::OutOfRange`] for degrees of freedom that are not positive or a noncentrality or
/// point that is not a number.
pub fn cdf(t: f64, nu: f64, ncp: f64) -> Result<f64, Refusal> {
    tail(t, nu, ncp, Side::Lower)
}

/// P(T > t); see [`cdf`].
///
/// # Errors
/// As [`cdf`].
pub fn sf(t: f64, nu: f64, ncp: f64) -> Result<f64, Refusal> {
    tail(t, nu, ncp, Side::Upper)
}

fn tail(t: f64, nu: f64, ncp: f64, side: Side) -> Result<f64, Refusal> {
    if t.is_nan() || !ncp.is_finite() {
        return Err(Refusal::OutOfRange {
            what: "noncentral t",
        });
    }
    let sign = if side == Side::Lower { 1.0 } else { -1.0 };
    if nu == f64::INFINITY || t == 0.0 || t.is_infinite() {
        return Ok(normal::cdf(sign * (t - ncp)));
    }
    positive(nu, "degrees of freedom")?;
    if ncp == 0.0 {
        return Ok(student::cdf(sign * t, nu));
    }
    let law = LogScale::new(nu);
    // Only where t·s is near δ, or in the tail up to about |δ| + 8, does Φ change.
    let h = step(nu, ncp.abs() + 8.0);
    let ln_term = |u: f64| law.ln_density(u) + normal::ln_cdf(sign * (t * u.exp() - ncp));
    let peak = peak(sign * t, sign * ncp, nu)?;
    let start = (peak / h).round();
    let top = ln_term(start * h);
    let sum = two_way_sum(
        0,
        |i| (ln_term((start + f64::from(i)) * h) - top).exp(),
        "noncentral t integral",
    )?;
    Ok((top + (sum * h).ln()).exp().min(1.0))
}

/// ln s at which f(s) Φ(t s − δ) is largest: the root of ν(1 − s²) + t s φ/Φ(t s − δ).
fn peak(t: f64, ncp: f64, nu: f64) -> Result<f64, Refusal> {
    let slope = |u: f64| {
        let s = u.exp();
        nu * (1.0 - s * s) + t * s * normal::inverse_mills(t * s - ncp)
    };
    let stride = if t > 0.0 { 0.1 } else { -0.1 };
    root::beyond(slope, 0.0, stride, "peak of the noncentral t integrand")
}

/// The value with lower tail `p`.
///
/// # Errors
/// [`Refusal::OutOfRange`] when `p` is not inside (0, 1), [`Refusal::NoConvergence`] when the
/// search fails.
pub fn quantile(p: f64, nu: f64, ncp: f64) -> Result<f64, Refusal> {
    crate::stats::refusal::open_unit(p, "probability")?;
    if ncp == 0.0 {
        return Ok(-student::upper_quantile(p, nu));
    }
    let mut fault = None;
    // The smaller tail carries the figures, so the miss is taken on it, in logarithms.
    let mut miss = |t: f64| {
        let (got, want) = if p < 0.5 {
            (cdf(t, nu, ncp), p)
        } else {
            (sf(t, nu, ncp), 1.0 - p)
        };
        match got {
            Ok(tail) if p < 0.5 => (tail / want).ln(),
            Ok(tail) => (want / tail).ln(),
            Err(refusal) => {
                fault = Some(refusal);
                f64::NAN
            }
        }
    };
    let from = ncp - 0.5 * student::upper_quantile(p, nu);
    let at = miss(from);
    let stride = if at > 0.0 { -0.5 } else { 0.5 };
    let found = root::beyond(&mut miss, from, stride, "noncentral t quantile");
    fault.map_or(found, Err)
}

/// The noncentrality for which `t` has upper tail `p`: the pivot of intervals for effect sizes.
///
/// # Errors
/// As [`quantile`].
pub fn ncp_with_upper_tail(t: f64, nu: f64, p: f64) -> Result<f64, Refusal> {
    crate::stats::refusal::open_unit(p, "probability")?;
    let miss = |ncp: f64| {
        let small = if p < 0.5 {
            sf(t, nu, ncp).map(|tail| (tail / p).ln())
        } else {
            cdf(t, nu, ncp).map(|tail| ((1.0 - p) / tail).ln())
        };
        small.unwrap_or(f64::NAN)
    };
    let stride = if miss(t) > 0.0 { -1.0 } else { 1.0 };
    root::beyond(miss, t, stride, "noncentrality")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cases of Owen, Biometrika 52 (1965) 437 are in `tests/reference`; here only the laws.
    #[test]
    fn reflects_and_adds_up() {
        for (t, nu, ncp) in [(1.5, 4.0, 2.0), (-3.0, 1.0, 0.7), (40.0, 12.5, 30.0)] {
            let low = cdf(t, nu, ncp).unwrap();
            let high = sf(t, nu, ncp).unwrap();
            assert!((low + high - 1.0).abs() < 1e-13);
            let mirrored = sf(-t, nu, -ncp).unwrap();
            assert!((low - mirrored).abs() <= 1e-14 * low);
        }
    }

    #[test]
    fn quantile_undoes_the_tail() {
        for p in [1e-9, 0.05, 0.5, 0.99] {
            let t = quantile(p, 7.0, 3.0).unwrap();
            assert!((cdf(t, 7.0, 3.0).unwrap() / p - 1.0).abs() < 1e-10);
        }
        let ncp = ncp_with_upper_tail(3.29, 10.0, 0.025).unwrap();
        assert!((sf(3.29, 10.0, ncp).unwrap() / 0.025 - 1.0).abs() < 1e-10);
    }

    #[test]
    fn refuses_nonsense() {
        assert!(cdf(f64::NAN, 3.0, 1.0).is_err());
        assert!(cdf(1.0, -3.0, 1.0).is_err());
        assert!(quantile(0.0, 3.0, 1.0).is_err());
    }
}
