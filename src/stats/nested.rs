//! Balanced nested analysis of variance: conditions, holders inside them, pieces inside those.

use crate::stats::dist::beta::f_sf;
use crate::stats::numeric::sum::{Twofold, mean, squares_about, sum_twofold};
use crate::stats::refusal::Refusal;
use crate::stats::sample::check;

/// The table of a balanced nested analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nested {
    /// Sums of squares: between top groups, between subgroups within them, within subgroups.
    pub ss: [f64; 3],
    /// Their degrees of freedom.
    pub df: [f64; 3],
    /// Top groups against subgroups: F and p.
    pub top: (f64, f64),
    /// Subgroups against values: F and p.
    pub sub: (f64, f64),
    /// Variance components (top, sub, values) by the method of moments; negative as computed.
    pub variances: [f64; 3],
}

impl Nested {
    /// Mean squares in the order of [`Nested::ss`].
    pub fn mean_squares(&self) -> [f64; 3] {
        let ([a, b, c], [x, y, z]) = (self.ss, self.df);
        [a / x, b / y, c / z]
    }
}

/// Analyses `groups[i][j]`, the values of subgroup j in top group i.
///
/// # Formula
/// ```text
/// σ²_values = MS₃,  σ²_sub = (MS₂ − MS₃)/n,  σ²_top = (MS₁ − MS₂)/(b n)
/// ```
/// # Source
/// Snedecor & Cochran, Statistical Methods (1967), chapter 10.
///
/// # Errors
/// [`Refusal::TooFew`] below two of anything, [`Refusal::OutOfRange`] when the design is not
/// balanced (use [`super::mixed`]), [`Refusal::ZeroSpread`] without spread inside or between
/// subgroups.
pub fn balanced(groups: &[Vec<Vec<f64>>]) -> Result<Nested, Refusal> {
    let subs = groups.first().map_or(0, Vec::len);
    let size = groups.first().and_then(|g| g.first()).map_or(0, Vec::len);
    let least = groups.len().min(subs).min(size);
    if least < 2 {
        return Err(Refusal::TooFew {
            needed: 2,
            got: least,
        });
    }
    if groups
        .iter()
        .any(|g| g.len() != subs || g.iter().any(|s| s.len() != size))
    {
        return Err(Refusal::OutOfRange {
            what: "balance of the design",
        });
    }
    let all: Vec<f64> = groups.iter().flatten().flatten().copied().collect();
    check(&all)?;
    let grand = mean(&all);
    let about = |values: &[f64], centre: Twofold, weight: usize| {
        let off = mean(values).minus(centre);
        off.times(off).times(Twofold::from(weight as f64))
    };
    let top = sum_twofold(
        groups
            .iter()
            .map(|g| about(&g.concat(), grand, subs * size)),
    );
    let sub = sum_twofold(groups.iter().flat_map(|g| {
        let centre = mean(&g.concat());
        g.iter().map(move |s| about(s, centre, size))
    }));
    let within = sum_twofold(groups.iter().flatten().map(|s| squares_about(s, mean(s))));
    let (a, b, n) = (groups.len() as f64, subs as f64, size as f64);
    let mut found = Nested {
        ss: [top.value(), sub.value(), within.value()],
        df: [a - 1.0, a * (b - 1.0), a * b * (n - 1.0)],
        top: (0.0, 1.0),
        sub: (0.0, 1.0),
        variances: [0.0; 3],
    };
    let ([ms1, ms2, ms3], [df1, df2, df3]) = (found.mean_squares(), found.df);
    if ms3 <= 0.0 || ms2 <= 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    found.top = (ms1 / ms2, f_sf(ms1 / ms2, df1, df2));
    found.sub = (ms2 / ms3, f_sf(ms2 / ms3, df2, df3));
    found.variances = [(ms1 - ms2) / (b * n), (ms2 - ms3) / n, ms3];
    Ok(found)
}
