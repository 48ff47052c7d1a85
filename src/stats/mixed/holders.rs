//! Conditions with holders inside them, by the mixed model.

use super::{Effect, Mixed, fit};
use crate::stats::dist::equicoordinate::{Equicoordinate, Sides};
use crate::stats::ratio::{Ratio, Relative};
use crate::stats::refusal::{Refusal, open_unit};

/// What one ratio starts from.
struct Contrast {
    relative: Relative,
    df: f64,
    lambda: f64,
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
    /// Condition `index` (from 1) less the first, unadjusted for the others, with the degrees of
    /// freedom held at [`HolderModel::most_df`].
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

    /// Ratios of all conditions to the first with simultaneous Fieller sets: what stands beside the
    /// verdict, which rests on holder means.
    ///
    /// # Formula
    /// As [`crate::stats::many_ratio::ratios`], variances of the condition means and degrees of
    /// freedom after Kenward and Roger, held at [`HolderModel::most_df`].
    ///
    /// # Source
    /// Our own combination of the two; its coverage is simulated in `tests/benches/coverage.rs`.
    ///
    /// # Errors
    /// The inner ones concern one comparison, the outer ones all.
    pub fn ratios(&self, confidence: f64) -> Result<Vec<Result<Ratio, Refusal>>, Refusal> {
        open_unit(confidence, "confidence")?;
        let count = self.fit.coefficients.len();
        if count < 2 {
            return Err(Refusal::NoComparison);
        }
        let control = self.mean(0, 0.0, confidence)?;
        let contrasts: Vec<Result<Contrast, Refusal>> = (1..count)
            .map(|i| self.contrast(i, &control, confidence))
            .collect();
        let lambdas: Vec<f64> = contrasts
            .iter()
            .map(|c| c.as_ref().map_or(0.0, |c| c.lambda))
            .collect();
        let mut law = Equicoordinate::new(&lambdas, Sides::Two, self.most_df)?;
        let mut one = |c: Contrast| -> Result<Ratio, Refusal> {
            let critical = law.critical(1.0 - confidence, c.df)?;
            let (g, set) = c.relative.set(critical);
            Ok(Ratio {
                ratio: c.relative.ratio,
                df: c.df,
                critical,
                g,
                set,
            })
        };
        Ok(contrasts
            .into_iter()
            .map(|c| c.and_then(&mut one))
            .collect())
    }

    /// Condition `index` plus `times` the first condition's mean.
    fn mean(&self, index: usize, times: f64, confidence: f64) -> Result<Effect, Refusal> {
        let weight = |i: usize| match i {
            0 if index == 0 => 1.0,
            0 => 1.0 + times,
            _ => f64::from(i == index),
        };
        let weights: Vec<f64> = (0..self.fit.coefficients.len()).map(weight).collect();
        self.fit.kenward_roger(&weights, confidence)
    }

    fn contrast(
        &self,
        index: usize,
        control: &Effect,
        confidence: f64,
    ) -> Result<Contrast, Refusal> {
        let own = self.mean(index, 0.0, confidence)?;
        let (variance, base) = (own.se * own.se, control.se * control.se);
        let relative = Relative::new((own.estimate, variance), (control.estimate, base))?;
        let total = relative.variance_at(relative.ratio);
        let lambda = relative.ratio.abs() * (relative.denominator / total).sqrt();
        let df = self.mean(index, -relative.ratio, confidence);
        // At a ratio whose contrast is exactly zero the degrees of freedom do not depend on it.
        let df = df.map_or(self.most_df, |effect| effect.df.min(self.most_df));
        Ok(Contrast {
            relative,
            df,
            lambda: lambda.min(1.0),
        })
    }
}
