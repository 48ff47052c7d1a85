//! Critical values for a planner: one with pooled spreads, a small table with separate ones.

use super::{Design, Draw};
use crate::stats::dist::equicoordinate::{Equicoordinate, Sides};
use crate::stats::dist::student;
use crate::stats::refusal::Refusal;
use crate::stats::sample::Spread;

/// Places along each side of the table.
const PLACES: usize = 7;

/// Where the critical value of one imagined study comes from.
#[derive(Debug, Clone)]
pub(super) enum CriticalValues {
    /// One condition: t.
    Single,
    /// Pooled spreads, by the correlation only; or separate ones, by mean correlation and degrees of
    /// freedom: ln c at Chebyshev's places.
    Table(Table),
}

/// ln c over w = √(1 − correlation) in [0, 1] and u = 1/ν.
#[derive(Debug, Clone)]
pub(super) struct Table {
    confidence: f64,
    w: Vec<f64>,
    u: Vec<f64>,
    /// One row per w.
    ln_c: Vec<Vec<f64>>,
}

/// Chebyshev's places of the first kind between two ends.
fn places(low: f64, high: f64) -> Vec<f64> {
    if low == high {
        return vec![low];
    }
    let angle = |i: usize| std::f64::consts::PI * (i as f64 + 0.5) / PLACES as f64;
    (0..PLACES)
        .map(|i| 0.5 * (low + high) - 0.5 * (high - low) * angle(i).cos())
        .collect()
}

/// The polynomial through (places, values), at x; Lagrange's form.
fn interpolated(places: &[f64], values: impl Iterator<Item = f64>, x: f64) -> f64 {
    let share = |i: usize, own: f64| -> f64 {
        let others = places.iter().enumerate().filter(|(j, _)| *j != i);
        others.map(|(_, p)| (x - p) / (own - p)).product()
    };
    places
        .iter()
        .enumerate()
        .zip(values)
        .map(|((i, own), v)| v * share(i, *own))
        .sum()
}

impl Table {
    fn new(conditions: usize, confidence: f64, nu: (f64, f64)) -> Result<Self, Refusal> {
        let (w, u) = (places(0.0, 1.0), places(1.0 / nu.1, 1.0 / nu.0));
        let mut ln_c = Vec::with_capacity(w.len());
        for place in &w {
            let lambda = (1.0 - place * place).sqrt();
            let mut law = Equicoordinate::new(&vec![lambda; conditions], Sides::Two, nu.1)?;
            let row: Result<Vec<f64>, Refusal> = u
                .iter()
                .map(|u| Ok(law.critical(1.0 - confidence, 1.0 / u)?.ln()))
                .collect();
            ln_c.push(row?);
        }
        Ok(Self {
            confidence,
            w,
            u,
            ln_c,
        })
    }

    fn at(&self, correlation: f64, nu: f64) -> f64 {
        let w = (1.0 - correlation).clamp(0.0, 1.0).sqrt();
        let rows = self
            .ln_c
            .iter()
            .map(|row| interpolated(&self.u, row.iter().copied(), 1.0 / nu));
        let value = interpolated(&self.w, rows, w).exp();
        // No family's value is below that of one comparison alone.
        value.max(student::two_sided_quantile(self.confidence, nu))
    }
}

impl CriticalValues {
    pub(super) fn new(design: &Design) -> Result<Self, Refusal> {
        if design.conditions == 1 {
            return Ok(Self::Single);
        }
        let (n0, n) = (design.control_units as f64, design.exposed_units as f64);
        let nu = match design.spread {
            Spread::Pooled => (design.pooled_df(), design.pooled_df()),
            Spread::Separate => (n0.min(n) - 1.0, n0 + n - 2.0),
        };
        Table::new(design.conditions, design.confidence, nu).map(Self::Table)
    }

    /// The critical value of the first condition in an imagined study, all conditions having the
    /// given true ratio.
    ///
    /// The correlations of the study are replaced by their mean, and taken at the true ratio; both
    /// together move the value by less than half a per cent.
    pub(super) fn at(&self, design: &Design, draw: &Draw, ratio: f64) -> f64 {
        let control = ratio * ratio * draw.control;
        let own = draw.exposed.first().copied().unwrap_or_default();
        let nu = match design.spread {
            Spread::Pooled => design.pooled_df(),
            Spread::Separate => {
                let share = own / (own + control);
                let rest = 1.0 - share;
                let exposed = share * share / (design.exposed_units as f64 - 1.0);
                1.0 / (exposed + rest * rest / (design.control_units as f64 - 1.0))
            }
        };
        match self {
            Self::Single => student::two_sided_quantile(design.confidence, nu),
            Self::Table(table) => table.at(mean_correlation(&draw.exposed, control), nu),
        }
    }
}

/// Mean of λ_i λ_j over the pairs of conditions.
fn mean_correlation(exposed: &[f64], control: f64) -> f64 {
    let lambdas = exposed.iter().map(|v| (control / (control + v)).sqrt());
    let (sum, squares) = lambdas.fold((0.0, 0.0), |(sum, squares), l| (sum + l, squares + l * l));
    let k = exposed.len() as f64;
    (sum * sum - squares) / (k * (k - 1.0))
}
