//! Mixed models: fixed conditions, random holders; variances by restricted maximum likelihood
//! (REML), intervals after Satterthwaite and after Kenward and Roger.
//!
//! The default verdict rests on holder means (see [`super::family`]); the mixed model stands beside
//! it. [`components`] holds the likelihood, [`inference`] what follows from it.

mod components;
mod inference;

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

/// A model of conditions with holders inside them: the first condition is the one compared with.
#[derive(Debug, Clone)]
pub struct HolderModel {
    /// The fit; coefficient 0 is the first condition's mean, i the difference of condition i.
    pub fit: Mixed,
    /// Holders less conditions: no interval may use more degrees of freedom than this, also when
    /// the variance between holders is estimated as zero.
    pub most_df: f64,
}

/// Fits conditions (fixed) with holders inside them (random): `conditions[i][j]` are the values of
/// holder j of condition i.
///
/// # Errors
/// As [`fit`]; [`Refusal::TooFew`] unless some condition has two holders.
pub fn with_holders(conditions: &[Vec<Vec<f64>>]) -> Result<HolderModel, Refusal> {
    let holders: usize = conditions.iter().map(Vec::len).sum();
    if holders <= conditions.len() || conditions.iter().any(|c| c.iter().all(Vec::is_empty)) {
        return Err(Refusal::TooFew {
            needed: conditions.len() + 1,
            got: holders,
        });
    }
    let (mut y, mut factor, mut own) = (Vec::new(), Vec::new(), Vec::new());
    let all = conditions
        .iter()
        .enumerate()
        .flat_map(|(i, c)| c.iter().map(move |h| (i, h)));
    for (holder, (condition, values)) in all.filter(|(_, h)| !h.is_empty()).enumerate() {
        for value in values {
            y.push(*value);
            factor.push(holder);
            own.push(condition);
        }
    }
    let used = factor.last().map_or(0, |h| h + 1);
    let column = |c: usize| -> Vec<f64> {
        own.iter()
            .map(|o| if c == 0 || *o == c { 1.0 } else { 0.0 })
            .collect()
    };
    let fixed: Vec<Vec<f64>> = (0..conditions.len()).map(column).collect();
    if used <= conditions.len() {
        return Err(Refusal::TooFew {
            needed: conditions.len() + 1,
            got: used,
        });
    }
    let most_df = (used - conditions.len()) as f64;
    Ok(HolderModel {
        fit: fit(&y, &fixed, &[factor])?,
        most_df,
    })
}

impl HolderModel {
    /// Condition `index` (from 1) less the first, with the degrees of freedom held at
    /// [`HolderModel::most_df`].
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`].
    pub fn difference(&self, index: usize, confidence: f64) -> Result<Effect, Refusal> {
        let count = self.fit.coefficients.len();
        if index == 0 || index >= count {
            return Err(Refusal::OutOfRange { what: "condition" });
        }
        let weights: Vec<f64> = (0..count).map(|i| f64::from(i == index)).collect();
        self.fit
            .kenward_roger(&weights, confidence)?
            .with_df_at_most(self.most_df, confidence)
    }
}

/// A matrix from columns of equal length.
fn matrix(columns: &[Vec<f64>], rows: usize) -> DMatrix<f64> {
    DMatrix::from_iterator(rows, columns.len(), columns.iter().flatten().copied())
}

#[cfg(test)]
mod tests;
