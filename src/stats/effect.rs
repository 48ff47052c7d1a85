//! Standardised mean difference (Hedges' g) with its exact interval.

use crate::stats::dist::{gamma, noncentral_t};
use crate::stats::interval::Interval;
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::sample::{Spread, Summary};
use crate::stats::two_sample;

/// A mean difference in units of the pooled standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// Difference over pooled standard deviation, biased upwards in size for small groups.
    pub cohen_d: f64,
    /// The factor that removes the bias.
    pub correction: f64,
    /// `cohen_d` × `correction`.
    pub hedges_g: f64,
    /// Interval of the noncentrality of t.
    pub noncentrality: Interval,
    /// Interval of the standardised difference, from the noncentrality.
    pub d_interval: Interval,
    /// The same, times `correction`.
    pub g_interval: Interval,
}

/// Hedges' g of the first group against the second.
///
/// # Formula
/// ```text
/// J = Γ(m/2) / (√(m/2) Γ((m−1)/2)),  m = n₁ + n₂ − 2
/// interval: the noncentralities at which t has upper tail α/2 and 1 − α/2, times √(1/n₁+1/n₂)
/// ```
/// # Source
/// Hedges, J. Educ. Stat. 6 (1981) 107; pivot: Steiger & Fouladi (1997).
///
/// # Errors
/// [`Refusal::TooFew`] below two degrees of freedom, [`Refusal::ZeroSpread`], or
/// [`Refusal::NoConvergence`] from the noncentral t.
pub fn hedges(first: &[f64], second: &[f64], confidence: f64) -> Result<Effect, Refusal> {
    open_unit(confidence, "confidence")?;
    let (a, b) = (Summary::of(first)?, Summary::of(second)?);
    let (se, m) = two_sample::standard_error(&a, &b, Spread::Pooled)?;
    if m < 2.0 {
        return Err(Refusal::TooFew {
            needed: 4,
            got: a.n + b.n,
        });
    }
    let t = (a.mean - b.mean) / se;
    let unit = (1.0 / a.n as f64 + 1.0 / b.n as f64).sqrt();
    let correction = gamma::ln_gamma_ratio(0.5 * (m - 1.0), 0.5).exp() / (0.5 * m).sqrt();
    let alpha = 1.0 - confidence;
    let noncentrality = Interval {
        lower: noncentral_t::ncp_with_upper_tail(t, m, 0.5 * alpha)?,
        upper: noncentral_t::ncp_with_upper_tail(t, m, 1.0 - 0.5 * alpha)?,
    };
    let d_interval = noncentrality.scaled(unit);
    Ok(Effect {
        cohen_d: t * unit,
        correction,
        hedges_g: t * unit * correction,
        noncentrality,
        d_interval,
        g_interval: d_interval.scaled(correction),
    })
}
