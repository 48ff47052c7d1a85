//! The scale S = χ_ν/√ν by which an estimated standard deviation differs from the true one, and
//! the step with which integrals over ln S are summed.

use crate::stats::dist::{gamma, normal};
use crate::stats::numeric::quadrature::two_way_sum;
use crate::stats::refusal::{Refusal, positive};
use std::collections::HashMap;
use std::f64::consts::PI;

/// The density of ln S, up to a factor kept apart so that it is computed once.
#[derive(Debug, Clone, Copy)]
pub struct LogScale {
    nu: f64,
    ln_front: f64,
}

impl LogScale {
    /// The distribution for `nu` degrees of freedom (positive, finite).
    pub fn new(nu: f64) -> Self {
        // (ν/2)^(ν/2)/Γ(ν/2) · 2 e^(−ν/2), in Stirling's form so that large ν does not cancel.
        let half = 0.5 * nu;
        let ln_front = 2.0_f64.ln() + 0.5 * half.ln() - normal::LN_SQRT_2PI;
        Self {
            nu,
            ln_front: ln_front - gamma::stirling_rest(half),
        }
    }

    /// The degrees of freedom.
    pub fn nu(&self) -> f64 {
        self.nu
    }

    /// ln density of u = ln S.
    ///
    /// # Formula
    /// ```text
    /// f(u) = 2 (ν/2)^(ν/2) / Γ(ν/2) · exp(ν u − ν e^(2u)/2)
    /// ```
    pub fn ln_density(&self, u: f64) -> f64 {
        self.ln_front + self.nu * (u - 0.5 * (2.0 * u).exp_m1())
    }
}

/// Step of a trapezoid sum over u = ln S for an integrand f(u) · K(e^u).
///
/// # Formula
/// Shifted by i·y into the complex plane the integrand grows no faster than exp((2ν + w²) y²/2),
/// w being the largest argument at which K still changes (in units of its own width), so the
/// error is exp(−(2π/h)²/(2(2ν + w²))); the step makes that e⁻³² with a fifth to spare. It is kept
/// below 0.1 because the growth is faster near y = π/4, where the scale density stops decaying.
///
/// # Source
/// Trefethen & Weideman, SIAM Review 56 (2014) 385, theorem 5.1.
pub fn step(nu: f64, sharpness: f64) -> f64 {
    let width = 2.0 * nu + sharpness * sharpness;
    (0.8 * 2.0 * PI / (64.0 * width).sqrt()).min(0.1)
}

/// Integrals ∫ f_ν(s) K(d s) ds of one kernel K for many d and ν.
///
/// K depends on neither, so it is tabulated on the geometric grid x = e^(ih), as far as it is needed;
/// each integral is then a short weighted sum over the table.
#[derive(Debug, Clone)]
pub struct Mixture {
    pub(super) step: f64,
    table: HashMap<i32, f64>,
}

impl Mixture {
    /// A table fine enough for up to `largest_nu` degrees of freedom and a kernel that no longer
    /// matters beyond the argument `sharpness` (in units of its own width).
    pub fn new(largest_nu: f64, sharpness: f64) -> Self {
        let nu = if largest_nu.is_finite() {
            largest_nu.max(1.0)
        } else {
            1.0
        };
        Self {
            step: step(nu, sharpness),
            table: HashMap::new(),
        }
    }

    /// The integral for scale `size` > 0 and finite `nu`, its hump lying near or above the
    /// argument `from`.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] for `nu` not positive or beyond the largest announced; what the
    /// kernel refuses; [`Refusal::NoConvergence`].
    pub fn integral(
        &mut self,
        size: f64,
        nu: f64,
        from: f64,
        kernel: impl Fn(f64) -> Result<f64, Refusal>,
    ) -> Result<f64, Refusal> {
        positive(nu, "degrees of freedom")?;
        if step(nu, 0.0) < self.step * 0.999 {
            return Err(Refusal::OutOfRange {
                what: "degrees of freedom",
            });
        }
        let law = LogScale::new(nu);
        let (h, ln_size) = (self.step, size.ln());
        let start = (from.ln() / h).round() as i32;
        let mut fault = None;
        let sum = two_way_sum(
            start,
            |i| {
                let weight = law.ln_density(f64::from(i) * h - ln_size).exp();
                match self.at_node(i, &kernel) {
                    Ok(value) => weight * value,
                    Err(refusal) => {
                        fault = Some(refusal);
                        f64::NAN
                    }
                }
            },
            "integral over the estimated spread",
        );
        fault.map_or(sum, Err).map(|sum| (sum * h).min(1.0))
    }

    fn at_node(
        &mut self,
        i: i32,
        kernel: &impl Fn(f64) -> Result<f64, Refusal>,
    ) -> Result<f64, Refusal> {
        if let Some(&known) = self.table.get(&i) {
            return Ok(known);
        }
        let value = kernel((f64::from(i) * self.step).exp())?;
        self.table.insert(i, value);
        Ok(value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_density_integrates_to_one() {
        for nu in [1.0, 2.5, 19.0, 20.0, 21.0, 1e3, 1e6] {
            let law = LogScale::new(nu);
            let h = step(nu, 0.0);
            let sum = two_way_sum(0, |i| law.ln_density(f64::from(i) * h).exp(), "test").unwrap();
            assert!((sum * h - 1.0).abs() < 1e-12, "{nu}: {}", sum * h);
        }
    }
}
