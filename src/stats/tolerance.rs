//! One-sided tolerance limits of a normal population.

use crate::stats::dist::{noncentral_t, normal};
use crate::stats::refusal::{Refusal, open_unit};

/// The factor k for which mean − k·s lies below the share `coverage` of the population, with the
/// stated confidence.
///
/// # Formula
/// ```text
/// k = t'(confidence; n−1, z √n)/√n,  z the normal quantile of the coverage
/// ```
/// # Source
/// Natrella, NBS Handbook 91 (1963), table A-7; ISO 16269-6 (from memory).
///
/// # Errors
/// [`Refusal::TooFew`] below two values, [`Refusal::OutOfRange`], [`Refusal::NoConvergence`].
pub fn one_sided_factor(n: usize, coverage: f64, confidence: f64) -> Result<f64, Refusal> {
    open_unit(coverage, "coverage")?;
    open_unit(confidence, "confidence")?;
    if n < 2 {
        return Err(Refusal::TooFew { needed: 2, got: n });
    }
    let root = (n as f64).sqrt();
    let shift = normal::quantile(coverage) * root;
    Ok(noncentral_t::quantile(confidence, n as f64 - 1.0, shift)? / root)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Handbook 3.16: 95 % of the population with 95 % confidence.
    #[test]
    fn printed_factors() {
        for (n, want) in [(3, 7.656), (5, 4.203), (8, 3.187), (10, 2.911), (20, 2.396)] {
            assert!(
                (one_sided_factor(n, 0.95, 0.95).unwrap() - want).abs() < 1.1e-3,
                "{n}"
            );
        }
        assert!(one_sided_factor(1, 0.95, 0.95).is_err());
    }
}
