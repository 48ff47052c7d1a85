//! Tests and intervals of fixed effects in a fitted mixed model.
#![expect(
    clippy::indexing_slicing,
    reason = "matrix entries within shapes made here"
)]

use super::Mixed;
use super::components::Components;
use crate::stats::dist::{beta::f_sf, student};
use crate::stats::interval::Interval;
use crate::stats::refusal::{Refusal, open_unit};
use nalgebra::{DMatrix, DVector};

/// One sum of fixed effects.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// The estimate.
    pub estimate: f64,
    /// Its standard error.
    pub se: f64,
    /// Its degrees of freedom.
    pub df: f64,
    /// estimate / se.
    pub t: f64,
    /// P(|T| ≥ |t|).
    pub p: f64,
    /// t-interval.
    pub interval: Interval,
}

impl Effect {
    fn new(estimate: f64, se: f64, df: f64, confidence: f64) -> Result<Self, Refusal> {
        open_unit(confidence, "confidence")?;
        if se.is_nan() || se <= 0.0 || df.is_nan() || df <= 0.0 {
            return Err(Refusal::NoConvergence {
                what: "degrees of freedom",
            });
        }
        let half_width = student::two_sided_quantile(confidence, df) * se;
        let t = estimate / se;
        let interval = Interval::around(estimate, half_width);
        Ok(Self {
            estimate,
            se,
            df,
            t,
            p: student::two_sided(t, df),
            interval,
        })
    }

    /// The same with no more than this many degrees of freedom.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] for the confidence.
    pub fn with_df_at_most(self, most: f64, confidence: f64) -> Result<Self, Refusal> {
        Self::new(self.estimate, self.se, self.df.min(most), confidence)
    }
}

/// An F test of several sums of fixed effects at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Omnibus {
    /// The statistic, scaled where the method does so.
    pub f: f64,
    /// Number of sums.
    pub df1: f64,
    /// Degrees of freedom of the denominator.
    pub df2: f64,
    /// P(F ≥ f).
    pub p: f64,
}

/// What inference keeps of the likelihood, in the units of the response.
#[derive(Debug, Clone)]
pub(super) struct Parts {
    covariance: DMatrix<f64>,
    first: Vec<DMatrix<f64>>,
    second: Vec<Vec<DMatrix<f64>>>,
    observed: DMatrix<f64>,
    expected: DMatrix<f64>,
    free: Vec<usize>,
}

impl Parts {
    /// From the likelihood of a response that was divided by `scale`.
    pub(super) fn new(state: &Components, scale: f64) -> Result<Self, Refusal> {
        let v = scale * scale;
        let by = |m: &DMatrix<f64>, factor: f64| m * factor;
        Ok(Self {
            covariance: by(&state.covariance, v),
            first: state.first.iter().map(|m| by(m, 1.0 / (v * v))).collect(),
            second: state
                .second
                .iter()
                .map(|row| row.iter().map(|m| by(m, 1.0 / (v * v * v))).collect())
                .collect(),
            observed: by(&state.observed, 1.0 / (v * v)),
            expected: by(&state.expected, 1.0 / (v * v)),
            free: state.free.clone(),
        })
    }

    /// Inverse of an information over some variances only.
    fn inverse(&self, information: &DMatrix<f64>, over: &[usize]) -> Result<DMatrix<f64>, Refusal> {
        let part = information.select_rows(over).select_columns(over);
        let failed = Refusal::NoConvergence {
            what: "information of the variances",
        };
        Ok(part.cholesky().ok_or(failed)?.inverse())
    }

    /// The covariance of the fixed effects after Kenward and Roger, which allows for the variances
    /// being estimated.
    fn adjusted(&self, over: &[usize], weights: &DMatrix<f64>) -> DMatrix<f64> {
        let c = &self.covariance;
        let mut inner = DMatrix::zeros(c.nrows(), c.ncols());
        for (a, i) in over.iter().enumerate() {
            for (b, j) in over.iter().enumerate() {
                let part = (self.second.get(*i).and_then(|r| r.get(*j)))
                    .zip(self.first.get(*i).zip(self.first.get(*j)));
                if let Some((second, (left, right))) = part {
                    inner += (second - left * c * right) * weights[(a, b)];
                }
            }
        }
        c + c * inner * c * 2.0
    }
}

impl Mixed {
    fn estimate(&self, weights: &[f64]) -> Result<(f64, DVector<f64>), Refusal> {
        if weights.len() != self.coefficients.len() {
            return Err(Refusal::Unmatched);
        }
        let estimate = self
            .coefficients
            .iter()
            .zip(weights)
            .map(|(c, w)| c * w)
            .sum();
        Ok((estimate, DVector::from_row_slice(weights)))
    }

    /// A sum of fixed effects with Satterthwaite's degrees of freedom.
    ///
    /// # Formula
    /// ```text
    /// ν = 2 v² / (gᵀ A g),  v = lᵀ C l,  g_i = ∂v/∂θ_i,  A the inverse observed information
    /// ```
    /// # Source
    /// Satterthwaite (1946); Giesbrecht & Burns, Biometrics 41 (1985) 477.
    ///
    /// # Errors
    /// [`Refusal::Unmatched`] unless there is one weight per fixed effect, [`Refusal::OutOfRange`],
    /// [`Refusal::NoConvergence`].
    pub fn satterthwaite(&self, weights: &[f64], confidence: f64) -> Result<Effect, Refusal> {
        let (estimate, l) = self.estimate(weights)?;
        let parts = &self.parts;
        let spread = parts.inverse(&parts.observed, &parts.free)?;
        let (v, df) = self.variance_and_df(&l, &spread);
        Effect::new(estimate, v.sqrt(), df, confidence)
    }

    fn variance_and_df(&self, l: &DVector<f64>, spread: &DMatrix<f64>) -> (f64, f64) {
        let parts = &self.parts;
        let side = &parts.covariance * l;
        let v = l.dot(&side);
        let slope = |i: &usize| parts.first.get(*i).map_or(0.0, |d| side.dot(&(d * &side)));
        let g = DVector::from_iterator(parts.free.len(), parts.free.iter().map(slope));
        (v, 2.0 * v * v / g.dot(&(spread * &g)))
    }

    /// A sum of fixed effects with standard error and degrees of freedom after Kenward and Roger.
    ///
    /// # Source
    /// Kenward & Roger, Biometrics 53 (1997) 983.
    ///
    /// # Errors
    /// As [`Mixed::satterthwaite`].
    pub fn kenward_roger(&self, weights: &[f64], confidence: f64) -> Result<Effect, Refusal> {
        self.kenward_roger_over(weights, confidence, &self.parts.free)
    }

    /// As [`Mixed::kenward_roger`], as if variances estimated as zero were not known to be zero.
    ///
    /// # Errors
    /// As [`Mixed::satterthwaite`].
    pub fn kenward_roger_with_zeros(
        &self,
        weights: &[f64],
        confidence: f64,
    ) -> Result<Effect, Refusal> {
        let all: Vec<usize> = (0..=self.between.len()).collect();
        self.kenward_roger_over(weights, confidence, &all)
    }

    fn kenward_roger_over(
        &self,
        weights: &[f64],
        confidence: f64,
        over: &[usize],
    ) -> Result<Effect, Refusal> {
        let (estimate, l) = self.estimate(weights)?;
        let parts = &self.parts;
        let spread = parts.inverse(&parts.expected, over)?;
        let adjusted = parts.adjusted(over, &spread);
        let side = &parts.covariance * &l;
        let v = l.dot(&side);
        let share = |i: &usize| {
            parts
                .first
                .get(*i)
                .map_or(0.0, |d| side.dot(&(d * &side)) / v)
        };
        let a = DVector::from_iterator(over.len(), over.iter().map(share));
        let df = 2.0 / a.dot(&(&spread * &a));
        Effect::new(estimate, l.dot(&(adjusted * &l)).sqrt(), df, confidence)
    }

    /// Several sums of fixed effects at once, degrees of freedom after Satterthwaite.
    ///
    /// # Formula
    /// ```text
    /// Lᵀ C L = U D Uᵀ;  ν_m for each turned contrast;  E = Σ ν_m/(ν_m − 2);  ν = 2E/(E − l)
    /// ```
    /// # Source
    /// Fai & Cornelius, J. Stat. Comput. Simul. 54 (1996) 363.
    ///
    /// # Errors
    /// As [`Mixed::satterthwaite`]; [`Refusal::Collinear`] when the sums depend on each other.
    pub fn omnibus_satterthwaite(&self, sums: &[Vec<f64>]) -> Result<Omnibus, Refusal> {
        let (l, values) = self.sums(sums)?;
        let parts = &self.parts;
        let spread = parts.inverse(&parts.observed, &parts.free)?;
        let turned = (l.transpose() * &parts.covariance * &l).symmetric_eigen();
        let (mut total, mut expected) = (0.0, 0.0);
        for (value, direction) in turned
            .eigenvalues
            .iter()
            .zip(turned.eigenvectors.column_iter())
        {
            if *value <= 0.0 {
                return Err(Refusal::Collinear);
            }
            let weights = &l * direction;
            total += values.dot(&direction).powi(2) / value;
            let (_, df) = self.variance_and_df(&weights, &spread);
            if df > 2.0 {
                expected += df / (df - 2.0);
            }
        }
        let count = sums.len() as f64;
        let df2 = if sums.len() == 1 {
            self.variance_and_df(&l.column(0).into_owned(), &spread).1
        } else if expected > count {
            2.0 * expected / (expected - count)
        } else {
            return Err(Refusal::NoConvergence {
                what: "degrees of freedom",
            });
        };
        let f = total / count;
        Ok(Omnibus {
            f,
            df1: count,
            df2,
            p: f_sf(f, count, df2),
        })
    }

    /// Several sums of fixed effects at once after Kenward and Roger.
    ///
    /// # Source
    /// Kenward & Roger (1997), section 3.
    ///
    /// # Errors
    /// As [`Mixed::omnibus_satterthwaite`].
    pub fn omnibus_kenward_roger(&self, sums: &[Vec<f64>]) -> Result<Omnibus, Refusal> {
        let (l, values) = self.sums(sums)?;
        let parts = &self.parts;
        let spread = parts.inverse(&parts.expected, &parts.free)?;
        let plain = (l.transpose() * &parts.covariance * &l).cholesky();
        let middle = &l * plain.ok_or(Refusal::Collinear)?.inverse() * l.transpose();
        let turned = |i: &usize| {
            let first = parts.first.get(*i);
            first.map(|d| &middle * &parts.covariance * d * &parts.covariance)
        };
        let turned: Vec<DMatrix<f64>> = parts.free.iter().filter_map(turned).collect();
        let (mut a1, mut a2) = (0.0, 0.0);
        for (i, left) in turned.iter().enumerate() {
            for (j, right) in turned.iter().enumerate() {
                a1 += spread[(i, j)] * left.trace() * right.trace();
                a2 += spread[(i, j)] * (left * right).trace();
            }
        }
        let adjusted = parts.adjusted(&parts.free, &spread);
        let between = (l.transpose() * adjusted * &l)
            .cholesky()
            .ok_or(Refusal::Collinear)?;
        let wald = values.dot(&between.solve(&values));
        let count = sums.len() as f64;
        let (scale, df2) = matched(count, a1, a2);
        let f = scale * wald / count;
        if !f.is_finite() || df2.is_nan() || df2 <= 0.0 {
            return Err(Refusal::NoConvergence {
                what: "degrees of freedom",
            });
        }
        Ok(Omnibus {
            f,
            df1: count,
            df2,
            p: f_sf(f, count, df2),
        })
    }

    /// The sums as columns, and their estimates.
    fn sums(&self, sums: &[Vec<f64>]) -> Result<(DMatrix<f64>, DVector<f64>), Refusal> {
        if sums.is_empty() {
            return Err(Refusal::NoComparison);
        }
        let mut values = Vec::with_capacity(sums.len());
        for weights in sums {
            values.push(self.estimate(weights)?.0);
        }
        let rows = self.coefficients.len();
        Ok((super::matrix(sums, rows), DVector::from_vec(values)))
    }
}

/// Scale and denominator degrees of freedom that match mean and variance of the Wald statistic to an
/// F distribution (Kenward & Roger 1997, equations 6 to 8).
fn matched(l: f64, a1: f64, a2: f64) -> (f64, f64) {
    let b = (a1 + 6.0 * a2) / (2.0 * l);
    let g = ((l + 1.0) * a1 - (l + 4.0) * a2) / ((l + 2.0) * a2);
    let base = 3.0 * l + 2.0 * (1.0 - g);
    let (c1, c2, c3) = (g / base, (l - g) / base, (l + 2.0 - g) / base);
    let mean = 1.0 / (1.0 - a2 / l);
    let variance = 2.0 / l * (1.0 + c1 * b) / ((1.0 - c2 * b).powi(2) * (1.0 - c3 * b));
    let ratio = variance / (2.0 * mean * mean);
    let df = 4.0 + (l + 2.0) / (l * ratio - 1.0);
    (df / (mean * (df - 2.0)), df)
}
