//! The restricted likelihood and its derivatives, from cross products alone.
//!
//! With S = [Z X y] everything needed is in Sᵀ V⁻¹ S, whose size is levels + effects + 1, however
//! many values there are. Powers of V⁻¹ for the residual variance follow from σ² V⁻¹ = I − Σ θ_i
//! V_i V⁻¹.
#![expect(
    clippy::indexing_slicing,
    reason = "matrix entries within shapes made here"
)]

use super::{Factor, matrix};
use crate::stats::refusal::Refusal;
use nalgebra::{DMatrix, DVector};
use std::ops::Range;

/// Cross products of the levels, the fixed columns and the response.
#[derive(Debug, Clone)]
pub(super) struct Crossed {
    gram: DMatrix<f64>,
    /// Columns of each factor.
    factors: Vec<Range<usize>>,
    /// Columns of the fixed effects.
    fixed: Range<usize>,
    /// Number of values.
    rows: f64,
}

impl Crossed {
    pub(super) fn new(y: &[f64], fixed: &[Vec<f64>], factors: &[Factor]) -> Result<Self, Refusal> {
        let rows = y.len();
        let mut columns: Vec<Vec<f64>> = Vec::new();
        let mut ranges = Vec::new();
        for factor in factors {
            let levels = factor.iter().max().map_or(0, |m| m + 1);
            if levels < 2 {
                return Err(Refusal::TooFew {
                    needed: 2,
                    got: levels,
                });
            }
            if levels > rows {
                return Err(Refusal::OutOfRange {
                    what: "level of a random factor",
                });
            }
            let start = columns.len();
            for level in 0..levels {
                columns.push(factor.iter().map(|l| f64::from(*l == level)).collect());
            }
            ranges.push(start..columns.len());
        }
        let start = columns.len();
        columns.extend_from_slice(fixed);
        let fixed = start..columns.len();
        columns.push(y.to_vec());
        let all = matrix(&columns, rows);
        Ok(Self {
            gram: all.tr_mul(&all),
            factors: ranges,
            fixed,
            rows: rows as f64,
        })
    }

    fn levels(&self) -> usize {
        self.fixed.start
    }

    pub(super) fn effects(&self) -> usize {
        self.fixed.len()
    }

    /// Sᵀ V⁻¹ S and ln |V| for the variances θ, the residual one last.
    fn weighted(&self, theta: &[f64]) -> Result<(DMatrix<f64>, f64), Refusal> {
        let failed = Refusal::NoConvergence {
            what: "mixed model",
        };
        let (&residual, between) = theta.split_last().ok_or(failed)?;
        let q = self.levels();
        let mut roots = DVector::zeros(q);
        for (range, variance) in self.factors.iter().zip(between) {
            range.clone().for_each(|i| roots[i] = variance.sqrt());
        }
        // M = σ² I + Θ^½ ZᵀZ Θ^½
        let mut inner = DMatrix::from_fn(q, q, |i, j| roots[i] * self.gram[(i, j)] * roots[j]);
        (0..q).for_each(|i| inner[(i, i)] += residual);
        let factored = inner.cholesky().ok_or(failed)?;
        let ln_inner = 2.0
            * factored
                .l_dirty()
                .diagonal()
                .iter()
                .take(q)
                .map(|d| d.ln())
                .sum::<f64>();
        let across = DMatrix::from_fn(q, self.gram.ncols(), |i, j| roots[i] * self.gram[(i, j)]);
        let solved = factored.solve(&across);
        let weighted = (&self.gram - across.tr_mul(&solved)) / residual;
        Ok((weighted, (self.rows - q as f64) * residual.ln() + ln_inner))
    }
}

/// The likelihood at one set of variances, and all that inference needs there.
#[derive(Debug, Clone)]
pub(super) struct Components {
    /// −2 log restricted likelihood.
    pub(super) criterion: f64,
    /// Derivative of the log-likelihood by each variance.
    pub(super) score: DVector<f64>,
    /// Observed information.
    pub(super) observed: DMatrix<f64>,
    /// Expected information.
    pub(super) expected: DMatrix<f64>,
    /// (Xᵀ V⁻¹ X)⁻¹.
    pub(super) covariance: DMatrix<f64>,
    /// (Xᵀ V⁻¹ X)⁻¹ Xᵀ V⁻¹ y.
    pub(super) effects: DVector<f64>,
    /// Xᵀ V⁻¹ V_i V⁻¹ X.
    pub(super) first: Vec<DMatrix<f64>>,
    /// Xᵀ V⁻¹ V_i V⁻¹ V_j V⁻¹ X.
    pub(super) second: Vec<Vec<DMatrix<f64>>>,
    /// Variances that are not held at zero.
    pub(super) free: Vec<usize>,
}

impl Components {
    pub(super) fn at(crossed: &Crossed, theta: &[f64]) -> Result<Self, Refusal> {
        let failed = Refusal::NoConvergence {
            what: "mixed model",
        };
        let (weighted, ln_v) = crossed.weighted(theta)?;
        let (p, y) = (crossed.effects(), crossed.gram.ncols() - 1);
        let fixed = crossed.fixed.start;
        let xx = weighted.view((fixed, fixed), (p, p)).into_owned();
        let factored = xx.clone().cholesky().ok_or(Refusal::Collinear)?;
        let ln_xx = 2.0
            * factored
                .l_dirty()
                .diagonal()
                .iter()
                .map(|d| d.ln())
                .sum::<f64>();
        let covariance = factored.inverse();
        let to_all = weighted.rows(fixed, p).into_owned();
        // Sᵀ P S
        let projected = &weighted - to_all.tr_mul(&(&covariance * &to_all));
        let df = crossed.rows - p as f64;
        let parts = Projected {
            crossed,
            theta,
            matrix: &projected,
        };
        let (trace, traces) = parts.traces(df)?;
        let (quad, quads) = parts.quadratics(y)?;
        let (first, second) = parts.fixed_effects(&weighted, &xx)?;
        let criterion = ln_v + ln_xx + projected[(y, y)] + df * (2.0 * std::f64::consts::PI).ln();
        if !criterion.is_finite() {
            return Err(failed);
        }
        let free = (0..theta.len())
            .filter(|i| theta.get(*i).is_some_and(|t| *t > 0.0))
            .collect();
        Ok(Self {
            criterion,
            score: (&quad - &trace) * 0.5,
            observed: &quads - &traces * 0.5,
            expected: traces * 0.5,
            effects: &covariance * to_all.column(y),
            covariance,
            first,
            second,
            free,
        })
    }
}

/// Sᵀ P S with the identities that lead from the random factors to the residual.
struct Projected<'a> {
    crossed: &'a Crossed,
    theta: &'a [f64],
    matrix: &'a DMatrix<f64>,
}

impl Projected<'_> {
    fn parts(&self) -> Result<(f64, &[f64]), Refusal> {
        let split = self
            .theta
            .split_last()
            .map(|(residual, between)| (*residual, between));
        split.ok_or(Refusal::NoConvergence {
            what: "mixed model",
        })
    }

    /// Completes a list by its residual entry: (whole − Σ θ_i entry_i)/σ².
    fn completed(&self, mut entries: Vec<f64>, whole: f64) -> Result<Vec<f64>, Refusal> {
        let (residual, between) = self.parts()?;
        let known: f64 = entries.iter().zip(between).map(|(e, t)| e * t).sum();
        entries.push((whole - known) / residual);
        Ok(entries)
    }

    /// Completes a symmetric table by its residual row, `edges` being what the rows complete to.
    fn completed_table(&self, table: &[Vec<f64>], edges: &[f64]) -> Result<DMatrix<f64>, Refusal> {
        let m = self.theta.len();
        let mut rows: Vec<Vec<f64>> = Vec::with_capacity(m);
        for (row, edge) in table.iter().zip(edges) {
            rows.push(self.completed(row.clone(), *edge)?);
        }
        let last: Vec<f64> = rows.iter().filter_map(|r| r.last().copied()).collect();
        rows.push(self.completed(last, edges.last().copied().unwrap_or(f64::NAN))?);
        Ok(DMatrix::from_row_iterator(m, m, rows.into_iter().flatten()))
    }

    /// tr(P V_i) and tr(P V_i P V_j).
    fn traces(&self, df: f64) -> Result<(DVector<f64>, DMatrix<f64>), Refusal> {
        let block = |a: &Range<usize>, b: &Range<usize>| {
            self.matrix
                .view((a.start, b.start), (a.len(), b.len()))
                .norm_squared()
        };
        let own = |r: &Range<usize>| r.clone().map(|i| self.matrix[(i, i)]).sum::<f64>();
        let factors = &self.crossed.factors;
        let single = self.completed(factors.iter().map(own).collect(), df)?;
        let table: Vec<Vec<f64>> = factors
            .iter()
            .map(|a| factors.iter().map(|b| block(a, b)).collect())
            .collect();
        let double = self.completed_table(&table, &single)?;
        Ok((DVector::from_vec(single), double))
    }

    /// yᵀ P V_i P y and yᵀ P V_i P V_j P y.
    fn quadratics(&self, y: usize) -> Result<(DVector<f64>, DMatrix<f64>), Refusal> {
        let factors = &self.crossed.factors;
        let side = |r: &Range<usize>| self.matrix.view((r.start, y), (r.len(), 1)).into_owned();
        let sides: Vec<DMatrix<f64>> = factors.iter().map(side).collect();
        let single = sides.iter().map(|s| s.norm_squared()).collect();
        let single = self.completed(single, self.matrix[(y, y)])?;
        let between = |(a, left): (&Range<usize>, &DMatrix<f64>)| -> Vec<f64> {
            let entry = |(b, right): (&Range<usize>, &DMatrix<f64>)| {
                let middle = self.matrix.view((a.start, b.start), (a.len(), b.len()));
                (left.transpose() * middle * right)[(0, 0)]
            };
            factors.iter().zip(&sides).map(entry).collect()
        };
        let table: Vec<Vec<f64>> = factors.iter().zip(&sides).map(between).collect();
        let double = self.completed_table(&table, &single)?;
        Ok((DVector::from_vec(single), double))
    }

    /// Xᵀ V⁻¹ V_i V⁻¹ X and Xᵀ V⁻¹ V_i V⁻¹ V_j V⁻¹ X.
    #[expect(clippy::type_complexity, reason = "two tables of matrices, used once")]
    fn fixed_effects(
        &self,
        weighted: &DMatrix<f64>,
        xx: &DMatrix<f64>,
    ) -> Result<(Vec<DMatrix<f64>>, Vec<Vec<DMatrix<f64>>>), Refusal> {
        let (residual, between) = self.parts()?;
        let factors = &self.crossed.factors;
        let fixed = &self.crossed.fixed;
        let side = |r: &Range<usize>| {
            weighted
                .view((fixed.start, r.start), (fixed.len(), r.len()))
                .into_owned()
        };
        let sides: Vec<DMatrix<f64>> = factors.iter().map(side).collect();
        let complete = |entries: &mut Vec<DMatrix<f64>>, whole: &DMatrix<f64>| {
            let mut rest = whole.clone();
            entries
                .iter()
                .zip(between)
                .for_each(|(e, t)| rest -= e * *t);
            entries.push(rest / residual);
        };
        let mut first: Vec<DMatrix<f64>> = sides.iter().map(|s| s * s.transpose()).collect();
        complete(&mut first, xx);
        let mut second: Vec<Vec<DMatrix<f64>>> = Vec::new();
        for (i, (a, left)) in factors.iter().zip(&sides).enumerate() {
            let entry = |(b, right): (&Range<usize>, &DMatrix<f64>)| {
                let middle = weighted.view((a.start, b.start), (a.len(), b.len()));
                left * middle * right.transpose()
            };
            let mut row: Vec<DMatrix<f64>> = factors.iter().zip(&sides).map(entry).collect();
            complete(&mut row, first.get(i).unwrap_or(xx));
            second.push(row);
        }
        let mut last: Vec<DMatrix<f64>> = second
            .iter()
            .filter_map(|row| row.last().map(DMatrix::transpose))
            .collect();
        complete(&mut last, first.last().unwrap_or(xx));
        second.push(last);
        Ok((first, second))
    }
}

/// The variances at the largest restricted likelihood, the residual one last.
pub(super) fn maximise(crossed: &Crossed) -> Result<Vec<f64>, Refusal> {
    let failed = Refusal::NoConvergence {
        what: "mixed model",
    };
    let mut theta = best_of_grid(crossed)?;
    let mut state = Components::at(crossed, &theta)?;
    for _ in 0..200 {
        let step = newton_step(&state, &theta)?;
        let largest = step
            .iter()
            .zip(&theta)
            .map(|(s, t)| s.abs() / (t + 1e-3))
            .fold(0.0, f64::max);
        if largest < 1e-12 {
            return Ok(theta);
        }
        let mut share = 1.0;
        loop {
            let moved: Vec<f64> = theta
                .iter()
                .zip(&step)
                .map(|(t, s)| (t + share * s).max(0.0))
                .collect();
            let allowed = moved.last().is_some_and(|r| *r > 0.0);
            match Components::at(crossed, &moved) {
                // A hair of rounding is let pass, else the last steps would not be taken.
                Ok(next) if allowed && next.criterion <= state.criterion + 1e-10 => {
                    (theta, state) = (moved, next);
                    break;
                }
                _ => share *= 0.5,
            }
            if share < 1e-10 {
                return if largest < 1e-7 {
                    Ok(theta)
                } else {
                    Err(failed)
                };
            }
        }
    }
    Err(failed)
}

/// The best of a coarse grid of shares of the residual variance.
fn best_of_grid(crossed: &Crossed) -> Result<Vec<f64>, Refusal> {
    const SHARES: [f64; 6] = [0.0, 0.03, 0.2, 1.0, 5.0, 30.0];
    let factors = crossed.factors.len();
    let mut points: Vec<Vec<f64>> = vec![vec![]];
    for _ in 0..factors {
        let longer =
            |p: &Vec<f64>| SHARES.map(|s| p.iter().copied().chain([s]).collect::<Vec<f64>>());
        points = points.iter().flat_map(longer).collect();
    }
    let mut best: Option<(f64, Vec<f64>)> = None;
    for point in points {
        // With the response scaled to variance one the shares add up to about one.
        let residual = 1.0 / (1.0 + point.iter().sum::<f64>());
        let theta: Vec<f64> = point.iter().chain([&1.0]).map(|s| s * residual).collect();
        let criterion = Components::at(crossed, &theta)?.criterion;
        if best.as_ref().is_none_or(|(least, _)| criterion < *least) {
            best = Some((criterion, theta));
        }
    }
    best.map(|b| b.1).ok_or(Refusal::NoConvergence {
        what: "mixed model",
    })
}

/// A Newton step among the variances that are free to move; those at zero that want to fall stay.
fn newton_step(state: &Components, theta: &[f64]) -> Result<Vec<f64>, Refusal> {
    let held = |i: usize| theta.get(i).is_some_and(|t| *t <= 0.0) && state.score[i] <= 0.0;
    let free: Vec<usize> = (0..theta.len()).filter(|i| !held(*i)).collect();
    let score = DVector::from_iterator(free.len(), free.iter().map(|i| state.score[*i]));
    let pick = |m: &DMatrix<f64>| m.select_rows(&free).select_columns(&free);
    // Far from the top the observed information may not be positive; the expected one always is.
    let factored = pick(&state.observed)
        .cholesky()
        .or_else(|| pick(&state.expected).cholesky());
    let factored = factored.ok_or(Refusal::NoConvergence {
        what: "mixed model",
    })?;
    let moves = factored.solve(&score);
    let mut step = vec![0.0; theta.len()];
    for (i, by) in free.iter().zip(moves.iter()) {
        if let Some(slot) = step.get_mut(*i) {
            *slot = *by;
        }
    }
    Ok(step)
}
