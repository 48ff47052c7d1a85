//! Student's t: tails and quantiles for any positive degrees of freedom.
//!
//! The general library offers this distribution too, but takes the upper tail as one minus the
//! lower and inverts with an absolute tolerance; p-values below 1e-10 lose their figures there.

use crate::stats::dist::{beta, gamma, normal};

/// Beyond this many degrees of freedom t is taken as normal; the relative error of the tail is
/// about t⁴/4ν, so below 1e-8 for |t| under 4.
const PRACTICALLY_NORMAL: f64 = 1e10;

/// P(|T| > |t|), to a relative error of about (ν + 10) · 1e-16.
pub fn two_sided(t: f64, nu: f64) -> f64 {
    if nu > PRACTICALLY_NORMAL {
        return 2.0 * normal::sf(t.abs());
    }
    if t.is_infinite() {
        return 0.0;
    }
    // Divided through by the larger, so that a t of 1e200 does not overflow when squared.
    let (x, y) = if t.abs() > nu.sqrt() {
        let r = (nu.sqrt() / t).powi(2);
        (r / (1.0 + r), 1.0 / (1.0 + r))
    } else {
        let r = t * t / nu;
        (1.0 / (1.0 + r), r / (1.0 + r))
    };
    beta::tails(0.5 * nu, 0.5, x, y).0
}

/// P(T > t).
pub fn sf(t: f64, nu: f64) -> f64 {
    let half = 0.5 * two_sided(t, nu);
    if t >= 0.0 { half } else { 1.0 - half }
}

/// P(T ≤ t).
pub fn cdf(t: f64, nu: f64) -> f64 {
    sf(-t, nu)
}

/// ln of the density at `t`.
pub fn ln_pdf(t: f64, nu: f64) -> f64 {
    if nu > PRACTICALLY_NORMAL {
        return -0.5 * t * t - normal::LN_SQRT_2PI;
    }
    let front = gamma::ln_gamma_ratio(0.5 * nu, 0.5) - 0.5 * (nu * std::f64::consts::PI).ln();
    front - 0.5 * (nu + 1.0) * (t * t / nu).ln_1p()
}

/// The value whose upper tail is `p`; infinite at 0 and 1.
///
/// # Formula
/// Newton steps on ln P(T > t) − ln p against ln t, which is nearly straight in both the normal
/// and the power-law part, inside a bracket that only shrinks.
pub fn upper_quantile(p: f64, nu: f64) -> f64 {
    if p > 0.5 {
        return -upper_quantile(1.0 - p, nu);
    }
    if p <= 0.0 {
        return f64::INFINITY;
    }
    if p == 0.5 {
        return 0.0;
    }
    if nu > PRACTICALLY_NORMAL {
        return -normal::quantile(p);
    }
    let target = p.ln();
    let z = -normal::quantile(p);
    // ln t between the normal value (t tails are heavier) and the Cauchy-like bound.
    let (mut low, mut high) = (z.ln(), f64::INFINITY);
    let mut u = low;
    for _ in 0..100 {
        let t = u.exp();
        let tail = sf(t, nu);
        let miss = tail.ln() - target;
        if miss > 0.0 {
            low = u;
        } else {
            high = u;
        }
        let slope = -(ln_pdf(t, nu) - tail.ln()).exp() * t;
        let mut next = u - miss / slope;
        if !(next >= low && next <= high) {
            next = if high.is_finite() {
                0.5 * (low + high)
            } else {
                low + 1.0
            };
        }
        let done = (next - u).abs() <= 4.0 * f64::EPSILON * (1.0 + u.abs());
        u = next;
        if done {
            break;
        }
    }
    u.exp()
}

/// The factor of a two-sided interval of the given confidence: P(|T| ≤ t) = confidence.
pub fn two_sided_quantile(confidence: f64, nu: f64) -> f64 {
    upper_quantile(0.5 * (1.0 - confidence), nu)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, want: f64, rel: f64) {
        assert!(
            (got - want).abs() <= rel * want.abs(),
            "{got} instead of {want}"
        );
    }

    /// t(0.975) for 2 … 11 degrees of freedom as printed in every table (three decimals).
    #[test]
    fn printed_quantiles() {
        let printed = [
            4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201,
        ];
        for (nu, want) in (2..).zip(printed) {
            assert!((two_sided_quantile(0.95, f64::from(nu)) - want).abs() < 5.1e-4);
        }
    }

    /// Student (1908), sleep data: t = 4.0621 with 9 degrees of freedom, p = 0.002833.
    #[test]
    fn sleep_data_p_value() {
        near(
            two_sided(-4.062_127_683_382_036, 9.0),
            0.002_832_890_197_384_273,
            1e-12,
        );
    }

    #[test]
    fn quantile_and_tail_undo_each_other() {
        for nu in [0.3, 1.0, 2.0, 4.7, 30.0, 1000.0, 1e7, f64::INFINITY] {
            for p in [1e-100, 1e-12, 0.001, 0.2, 0.499, 0.7] {
                if nu < 1.0 && p < 1e-20 {
                    continue; // the quantile itself overflows
                }
                let limit = if nu.is_finite() {
                    1e-12 + 1e-15 * nu
                } else {
                    1e-12
                };
                near(sf(upper_quantile(p, nu), nu), p, limit);
            }
        }
    }

    /// One degree of freedom is the Cauchy distribution, known in closed form.
    #[test]
    fn one_degree_of_freedom_is_cauchy() {
        for t in [0.001, 1.0, 1e8, 1e100] {
            let want = (1.0_f64 / t).atan() / std::f64::consts::PI;
            near(sf(t, 1.0), want, 1e-13);
        }
    }
}
