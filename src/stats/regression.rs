//! Straight-line and multiple regression.

use crate::stats::dist::{beta::f_sf, student};
use crate::stats::interval::Interval;
use crate::stats::numeric::least_squares;
use crate::stats::numeric::sum::{mean, squares_about, sum};
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::sample::check;

/// A fitted linear model.
#[derive(Debug, Clone)]
pub struct Regression {
    /// Coefficients, the intercept first where there is one.
    pub coefficients: Vec<f64>,
    /// Their standard errors.
    pub errors: Vec<f64>,
    /// (XᵀX)⁻¹; times the residual variance the covariance of the coefficients.
    pub inverse: Vec<Vec<f64>>,
    /// Observed less fitted, in the order given.
    pub residuals: Vec<f64>,
    /// Σ residual², zero for an exact fit.
    pub residual_ss: f64,
    /// Values less coefficients.
    pub residual_df: f64,
    /// Explained sum of squares: about the mean with an intercept, about zero without.
    pub regression_ss: f64,
    /// Coefficients, the intercept not counted.
    pub regression_df: f64,
    intercept: bool,
}

/// A t test of one coefficient or of a sum of coefficients.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    /// The estimate.
    pub estimate: f64,
    /// Its standard error; zero for an exact fit.
    pub se: f64,
    /// P(|T| ≥ |estimate/se|).
    pub p: f64,
    /// Its interval.
    pub interval: Interval,
}

/// A prediction at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prediction {
    /// The fitted value.
    pub fit: f64,
    /// Interval of the mean at that place.
    pub mean: Interval,
    /// Interval of a single new value.
    pub single: Interval,
}

/// Fits y on the given columns, with an intercept or without.
///
/// # Formula
/// ```text
/// b = (XᵀX)⁻¹ Xᵀy,  s² = Σ residual²/(n − p),  se_j = s √((XᵀX)⁻¹_jj)
/// ```
/// solved in twofold precision, so that the NIST StRD linear sets keep their certified figures. A
/// residual sum below 1e-26 of Σ y² is taken as an exact fit.
///
/// # Source
/// Draper & Smith, Applied Regression Analysis (1998).
///
/// # Errors
/// [`Refusal::TooFew`] without a residual degree of freedom, [`Refusal::Unmatched`],
/// [`Refusal::Collinear`], [`Refusal::NotFinite`], [`Refusal::TooLarge`].
pub fn fit(columns: &[Vec<f64>], y: &[f64], intercept: bool) -> Result<Regression, Refusal> {
    check(y)?;
    let mut design: Vec<Vec<f64>> = Vec::with_capacity(columns.len() + 1);
    if intercept {
        design.push(vec![1.0; y.len()]);
    }
    for column in columns {
        check(column)?;
        design.push(column.clone());
    }
    if y.len() <= design.len() {
        return Err(Refusal::TooFew {
            needed: design.len() + 1,
            got: y.len(),
        });
    }
    let solved = least_squares::solve(&design, y)?;
    let squares = sum(y.iter().map(|v| v * v)).value();
    let residual_ss = if solved.residual_ss <= 1e-26 * squares {
        0.0
    } else {
        solved.residual_ss
    };
    let residual_df = (y.len() - design.len()) as f64;
    let variance = residual_ss / residual_df;
    let error = |(i, row): (usize, &Vec<f64>)| {
        (variance * row.get(i).copied().unwrap_or_default())
            .max(0.0)
            .sqrt()
    };
    Ok(Regression {
        errors: solved.inverse.iter().enumerate().map(error).collect(),
        coefficients: solved.coefficients,
        inverse: solved.inverse,
        residuals: solved.residuals,
        residual_ss,
        residual_df,
        regression_ss: solved.explained.iter().skip(usize::from(intercept)).sum(),
        regression_df: columns.len() as f64,
        intercept,
    })
}

impl Regression {
    /// Residual standard deviation.
    pub fn sd(&self) -> f64 {
        (self.residual_ss / self.residual_df).sqrt()
    }

    /// Explained share of the sum of squares; 1 for an exact fit.
    pub fn r_squared(&self) -> f64 {
        let whole = self.regression_ss + self.residual_ss;
        if whole > 0.0 {
            self.regression_ss / whole
        } else {
            1.0
        }
    }

    /// F of the whole regression and its p; infinite and 0 for an exact fit.
    pub fn f_test(&self) -> (f64, f64) {
        if self.residual_ss == 0.0 {
            return (f64::INFINITY, 0.0);
        }
        let f = self.regression_ss / self.regression_df / (self.residual_ss / self.residual_df);
        (f, f_sf(f, self.regression_df, self.residual_df))
    }

    /// A sum of coefficients with the given weights (one per coefficient, the intercept first).
    ///
    /// # Errors
    /// [`Refusal::Unmatched`], [`Refusal::OutOfRange`] for the confidence.
    pub fn combination(&self, weights: &[f64], confidence: f64) -> Result<Term, Refusal> {
        open_unit(confidence, "confidence")?;
        let (estimate, unit) = self.estimate_and_unit(weights)?;
        let se = self.sd() * unit.sqrt();
        let t = student::two_sided_quantile(confidence, self.residual_df);
        let p = if se > 0.0 {
            student::two_sided(estimate / se, self.residual_df)
        } else {
            f64::from(estimate == 0.0)
        };
        Ok(Term {
            estimate,
            se,
            p,
            interval: Interval::around(estimate, t * se),
        })
    }

    fn estimate_and_unit(&self, weights: &[f64]) -> Result<(f64, f64), Refusal> {
        if weights.len() != self.coefficients.len() {
            return Err(Refusal::Unmatched);
        }
        let dot = |row: &Vec<f64>| row.iter().zip(weights).map(|(a, b)| a * b).sum::<f64>();
        let unit: f64 = self
            .inverse
            .iter()
            .zip(weights)
            .map(|(row, w)| w * dot(row))
            .sum();
        Ok((dot(&self.coefficients), unit.max(0.0)))
    }

    /// The coefficient at an index, the intercept being 0 where there is one.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`].
    pub fn term(&self, index: usize, confidence: f64) -> Result<Term, Refusal> {
        if index >= self.coefficients.len() {
            return Err(Refusal::OutOfRange {
                what: "coefficient",
            });
        }
        let pick = |i| if i == index { 1.0 } else { 0.0 };
        let weights: Vec<f64> = (0..self.coefficients.len()).map(pick).collect();
        self.combination(&weights, confidence)
    }

    /// Fitted value, interval of the mean and of a new value at a place (one number per column).
    ///
    /// # Errors
    /// As [`Regression::combination`].
    pub fn predict(&self, at: &[f64], confidence: f64) -> Result<Prediction, Refusal> {
        let mut weights = if self.intercept { vec![1.0] } else { vec![] };
        weights.extend_from_slice(at);
        let term = self.combination(&weights, confidence)?;
        let t = student::two_sided_quantile(confidence, self.residual_df);
        let single = t * self.sd().hypot(term.se);
        Ok(Prediction {
            fit: term.estimate,
            mean: term.interval,
            single: Interval::around(term.estimate, single),
        })
    }
}

/// Fits a straight line y = a + b x; coefficient 0 is a, 1 is b.
///
/// # Errors
/// As [`fit`]; [`Refusal::ZeroSpread`] when all x are equal.
pub fn line(x: &[f64], y: &[f64]) -> Result<Regression, Refusal> {
    check(x)?;
    if x.len() == y.len() && squares_about(x, mean(x)).value() == 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    fit(&[x.to_vec()], y, true)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked example of our handbook (trade.md 7.8): first-order decay, k 0.021149 per month.
    #[test]
    fn worked_example() {
        let x = [0.0, 3.0, 6.0, 12.0, 24.0];
        let y = [100.0_f64, 94.1, 87.9, 77.8, 60.2].map(f64::ln);
        let found = line(&x, &y).unwrap();
        let slope = found.term(1, 0.95).unwrap();
        assert!((slope.estimate + 0.021_149).abs() < 5e-7);
        assert!((slope.se - 0.000_124).abs() < 5e-7);
        assert!((0.5 * slope.interval.width() - 0.000_394).abs() < 1e-6);
        assert!((found.r_squared() - 0.999_90).abs() < 5e-6);
    }

    /// Wampler, J. Am. Stat. Assoc. 65 (1970) 549: a fifth-degree polynomial with all coefficients
    /// one, which loses all figures in ordinary arithmetic with powers of x.
    #[test]
    fn wampler() {
        let x: Vec<f64> = (0..21).map(f64::from).collect();
        let columns: Vec<Vec<f64>> = (1..=5)
            .map(|k| x.iter().map(|v| v.powi(k)).collect())
            .collect();
        let y: Vec<f64> = x.iter().map(|v| (0..=5).map(|k| v.powi(k)).sum()).collect();
        let found = fit(&columns, &y, true).unwrap();
        assert!(found.coefficients.iter().all(|c| (c - 1.0).abs() < 1e-12));
        assert_eq!(found.f_test(), (f64::INFINITY, 0.0));
    }

    #[test]
    fn awkward_input_has_a_name() {
        let x = vec![1.0, 2.0, 3.0, 4.0];
        let twice = vec![2.0, 4.0, 6.0, 8.0];
        assert_eq!(
            fit(&[x.clone(), twice], &x, true).unwrap_err(),
            Refusal::Collinear
        );
        assert_eq!(line(&[1.0; 4], &x).unwrap_err(), Refusal::ZeroSpread);
        assert!(line(&[1.0, 2.0], &[1.0, 2.0]).is_err());
        assert_eq!(fit(&[vec![1.0]], &x, true).unwrap_err(), Refusal::Unmatched);
    }
}
