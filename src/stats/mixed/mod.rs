//! Mixed models: fixed conditions, random holders; variances by restricted maximum likelihood
//! (REML), intervals after Satterthwaite and after Kenward and Roger.
//!
//! The default verdict rests on holder means (see [`super::family`]); the mixed model stands beside
//! it. `components` holds the likelihood, `inference` what follows from it.

mod components;
mod holders;
mod inference;

pub use holders::{HolderModel, with_holders};
pub use inference::{Effect, Omnibus};

use crate::stats::numeric::least_squares;
use crate::stats::refusal::Refusal;
use crate::stats::sample::check;
use components::{Components, Crossed};
use nalgebra::{DMatrix, DVector};

/// A random factor: for every value the number of its level, from 0.
pub type Factor = Vec<usize>;

/// A fitted mixed model.
#[derive(Debug, Clone)]
pub struct Mixed {
    /// Variance between the levels of each random factor; zero when the data show none.
    pub between: Vec<f64>,
    /// Variance within levels.
    pub residual: f64,
    /// −2 log restricted likelihood, all constants included.
    pub criterion: f64,
    /// The fixed effects, one per column.
    pub coefficients: Vec<f64>,
    /// Values less fixed effects: the degrees of freedom when no factor varies.
    pub plain_df: f64,
    parts: inference::Parts,
}

impl Mixed {
    /// Share of the first factor in the whole variance: the intraclass correlation.
    pub fn intraclass_correlation(&self) -> f64 {
        let whole: f64 = self.between.iter().sum::<f64>() + self.residual;
        self.between.first().map_or(0.0, |first| first / whole)
    }
}

/// Fits y = Xβ + Σ Z u + e with one or more random factors.
///
/// # Formula
/// ```text
/// V = σ² I + Σ θ_i Z_i Z_iᵀ,  −2ℓ = ln|V| + ln|Xᵀ V⁻¹ X| + yᵀ P y + (n−p) ln 2π,  θ ≥ 0
/// ```
/// maximised by Newton steps from the best point of a grid; a variance that would fall below zero is
/// held there, and everything else is then that of the model without it.
///
/// # Source
/// Patterson & Thompson, Biometrika 58 (1971) 545.
///
/// # Errors
/// [`Refusal::Unmatched`], [`Refusal::TooFew`] without residual degrees of freedom or a factor of
/// fewer than two levels, [`Refusal::Collinear`], [`Refusal::ZeroSpread`] when the fixed effects
/// leave nothing over, [`Refusal::NoConvergence`].
pub fn fit(y: &[f64], fixed: &[Vec<f64>], factors: &[Factor]) -> Result<Mixed, Refusal> {
    check(y)?;
    for column in fixed {
        check(column)?;
    }
    if factors.iter().any(|f| f.len() != y.len()) {
        return Err(Refusal::Unmatched);
    }
    if y.len() <= fixed.len() {
        return Err(Refusal::TooFew {
            needed: fixed.len() + 1,
            got: y.len(),
        });
    }
    // Residuals of the plain fit, scaled to a variance of one: the likelihood is the same, the
    // arithmetic much better.
    let plain = least_squares::solve(fixed, y)?;
    let df = (y.len() - fixed.len()) as f64;
    let scale = (plain.residual_ss / df).sqrt();
    let size = y.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    if scale <= 1e-13 * size {
        return Err(Refusal::ZeroSpread);
    }
    let scaled: Vec<f64> = plain.residuals.iter().map(|r| r / scale).collect();
    let crossed = Crossed::new(&scaled, fixed, factors)?;
    let found = components::maximise(&crossed)?;
    let state = Components::at(&crossed, &found)?;
    let unit = scale * scale;
    let shift = DVector::from_vec(plain.coefficients);
    let coefficients = shift + &state.effects * scale;
    let (residual, between) = found
        .split_last()
        .ok_or(Refusal::TooFew { needed: 1, got: 0 })?;
    Ok(Mixed {
        between: between.iter().map(|v| v * unit).collect(),
        residual: residual * unit,
        criterion: state.criterion + df * unit.ln(),
        coefficients: coefficients.iter().copied().collect(),
        plain_df: df,
        parts: inference::Parts::new(&state, scale)?,
    })
}

/// A matrix from columns of equal length.
fn matrix(columns: &[Vec<f64>], rows: usize) -> DMatrix<f64> {
    DMatrix::from_iterator(rows, columns.len(), columns.iter().flatten().copied())
}

#[cfg(test)]
mod tests;
