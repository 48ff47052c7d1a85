//! Linear least squares in twofold precision, for designs that a double cannot hold apart.

use crate::stats::numeric::sum::{Twofold, sum_twofold};
use crate::stats::refusal::Refusal;

/// A solved least-squares problem.
#[derive(Debug, Clone)]
pub struct Solution {
    /// One coefficient per column.
    pub coefficients: Vec<f64>,
    /// (XᵀX)⁻¹, row by row.
    pub inverse: Vec<Vec<f64>>,
    /// Observed less fitted.
    pub residuals: Vec<f64>,
    /// Σ residual².
    pub residual_ss: f64,
    /// The part of Σ y² that each column explains beyond those before it.
    pub explained: Vec<f64>,
}

/// A column is refused as a copy of the others when less than this share of its length is its own.
const OWN_SHARE: f64 = 1e-14;

fn dot(a: &[Twofold], b: &[Twofold]) -> Twofold {
    sum_twofold(a.iter().zip(b).map(|(x, y)| x.times(*y)))
}

/// Takes from `column` what lies along `unit`, and returns how much that was.
fn take_out(column: &mut [Twofold], unit: &[Twofold]) -> Twofold {
    let along = dot(unit, column);
    for (value, u) in column.iter_mut().zip(unit) {
        *value = value.minus(along.times(*u));
    }
    along
}

/// Minimises |y − Σ b_j x_j|² over the coefficients of the columns.
///
/// Gram and Schmidt's orthogonalisation, the modified order, carried in about 32 figures; Longley's
/// and Wampler's data keep all certified figures.
///
/// # Source
/// Björck, BIT 7 (1967) 1.
///
/// # Errors
/// [`Refusal::TooFew`] for fewer rows than columns or no column, [`Refusal::Unmatched`] for columns
/// of another length than `y`, [`Refusal::Collinear`].
pub fn solve(columns: &[Vec<f64>], y: &[f64]) -> Result<Solution, Refusal> {
    if columns.is_empty() || y.len() < columns.len() {
        return Err(Refusal::TooFew {
            needed: columns.len().max(1),
            got: y.len(),
        });
    }
    if columns.iter().any(|c| c.len() != y.len()) {
        return Err(Refusal::Unmatched);
    }
    let widen = |c: &[f64]| c.iter().map(|v| Twofold::from(*v)).collect::<Vec<_>>();
    let mut left: Vec<Vec<Twofold>> = columns.iter().map(|c| widen(c)).collect();
    let mut residual = widen(y);
    // Row j of the triangle: its diagonal and what the later columns have along unit j.
    let mut triangle: Vec<Vec<Twofold>> = Vec::new();
    let mut along_y: Vec<Twofold> = Vec::new();
    for j in 0..columns.len() {
        let (done, rest) = left.split_at_mut(j + 1);
        let Some(column) = done.last_mut() else {
            continue;
        };
        let length = dot(column, column).sqrt();
        let whole = columns
            .get(j)
            .map_or(0.0, |c| c.iter().map(|v| v * v).sum::<f64>().sqrt());
        if length.value() <= OWN_SHARE * whole {
            return Err(Refusal::Collinear);
        }
        for value in column.iter_mut() {
            *value = value.divided_by(length);
        }
        let mut row = vec![length];
        row.extend(rest.iter_mut().map(|later| take_out(later, column)));
        triangle.push(row);
        along_y.push(take_out(&mut residual, column));
    }
    let coefficients = back_substitute(&triangle, &along_y);
    Ok(Solution {
        coefficients: coefficients.iter().map(|c| c.value()).collect(),
        inverse: inverse(&triangle),
        residual_ss: dot(&residual, &residual).value(),
        residuals: residual.iter().map(|r| r.value()).collect(),
        explained: along_y.iter().map(|a| a.times(*a).value()).collect(),
    })
}

/// Solves the triangle for one right-hand side.
fn back_substitute(triangle: &[Vec<Twofold>], right: &[Twofold]) -> Vec<Twofold> {
    let mut found: Vec<Twofold> = Vec::new(); // last first
    for (row, value) in triangle.iter().zip(right).rev() {
        let (Some(diagonal), later) = (row.first(), row.iter().skip(1).rev()) else {
            continue;
        };
        let known = sum_twofold(later.zip(&found).map(|(r, b)| r.times(*b)));
        found.push(value.minus(known).divided_by(*diagonal));
    }
    found.reverse();
    found
}

/// (RᵀR)⁻¹ = R⁻¹ R⁻ᵀ.
fn inverse(triangle: &[Vec<Twofold>]) -> Vec<Vec<f64>> {
    let p = triangle.len();
    let unit = |j: usize| -> Vec<Twofold> {
        (0..p)
            .map(|i| Twofold::from(if i == j { 1.0 } else { 0.0 }))
            .collect()
    };
    // Column j of R⁻¹.
    let columns: Vec<Vec<Twofold>> = (0..p)
        .map(|j| back_substitute(triangle, &unit(j)))
        .collect();
    let entry = |i: usize, k: usize| {
        let of = |c: &Vec<Twofold>, at: usize| c.get(at).copied().unwrap_or_default();
        sum_twofold(columns.iter().map(|c| of(c, i).times(of(c, k)))).value()
    };
    (0..p)
        .map(|i| (0..p).map(|k| entry(i, k)).collect())
        .collect()
}
