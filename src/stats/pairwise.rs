//! All pairs of groups: Tukey–Kramer with a common spread, Games–Howell without.

use crate::stats::anova::spread_groups;
use crate::stats::dist::range::StudentisedRange;
use crate::stats::interval::Interval;
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::sample::{Sample, Spread, Summary};
use crate::stats::two_sample;
use std::f64::consts::SQRT_2;

/// One pair of groups, adjusted for all pairs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// Index of the first group.
    pub first: usize,
    /// Index of the second group.
    pub second: usize,
    /// Mean of the first less mean of the second.
    pub difference: f64,
    /// Its standard error.
    pub se: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// difference / se.
    pub t: f64,
    /// √2 |t|, to be compared with the studentised range.
    pub q: f64,
    /// P(the range ≥ q) when no groups differ.
    pub p: f64,
    /// Simultaneous interval of the difference.
    pub interval: Interval,
}

/// All pairs, first index before second.
fn pairs(k: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..k).flat_map(move |i| (i + 1..k).map(move |j| (i, j)))
}

/// One pair against the range of all groups.
fn pair(
    (first, second): (usize, usize),
    difference: f64,
    (se, df): (f64, f64),
    range: &mut StudentisedRange,
    alpha: f64,
) -> Result<Pair, Refusal> {
    let t = difference / se;
    let q = SQRT_2 * t.abs();
    let critical = range.upper_quantile(alpha)?;
    let interval = Interval::around(difference, critical * se / SQRT_2);
    Ok(Pair {
        first,
        second,
        difference,
        se,
        df,
        t,
        q,
        p: range.sf(q)?,
        interval,
    })
}

/// All pairs with a common spread.
///
/// # Source
/// Tukey (1953); unequal sizes: Kramer, Biometrics 12 (1956) 307.
///
/// # Errors
/// [`Refusal::TooFew`] below two groups, for an empty group or without a degree of freedom;
/// [`Refusal::ZeroSpread`], [`Refusal::NoConvergence`].
pub fn tukey_kramer<G: AsRef<[f64]>>(groups: &[G], confidence: f64) -> Result<Vec<Pair>, Refusal> {
    open_unit(confidence, "confidence")?;
    let table = crate::stats::anova::one_way(groups)?;
    let samples: Vec<Sample<'_>> = groups
        .iter()
        .map(|g| Sample::new(g.as_ref()))
        .collect::<Result<_, _>>()?;
    let mut range = StudentisedRange::new(groups.len(), table.df_within)?;
    let mut all = Vec::new();
    for (i, j) in pairs(samples.len()) {
        let (Some(a), Some(b)) = (samples.get(i), samples.get(j)) else {
            continue;
        };
        let sizes = 1.0 / a.len() as f64 + 1.0 / b.len() as f64;
        let error = ((table.ms_within() * sizes).sqrt(), table.df_within);
        all.push(pair(
            (i, j),
            a.mean() - b.mean(),
            error,
            &mut range,
            1.0 - confidence,
        )?);
    }
    Ok(all)
}

/// All pairs without a common spread.
///
/// # Formula
/// ```text
/// q = √2 |d| / √(s_i²/n_i + s_j²/n_j),  ν after Satterthwaite for the pair
/// ```
/// # Source
/// Games & Howell, J. Educ. Stat. 1 (1976) 113.
///
/// # Errors
/// [`Refusal::TooFew`] below two groups or two values in a group; [`Refusal::ZeroSpread`];
/// [`Refusal::NoConvergence`].
pub fn games_howell<G: AsRef<[f64]>>(groups: &[G], confidence: f64) -> Result<Vec<Pair>, Refusal> {
    open_unit(confidence, "confidence")?;
    let summaries: Vec<Summary> = spread_groups(groups)?;
    let mut all = Vec::new();
    for (i, j) in pairs(summaries.len()) {
        let (Some(a), Some(b)) = (summaries.get(i), summaries.get(j)) else {
            continue;
        };
        let error = two_sample::standard_error(a, b, Spread::Separate)?;
        let mut range = StudentisedRange::new(summaries.len(), error.1)?;
        all.push(pair(
            (i, j),
            a.mean - b.mean,
            error,
            &mut range,
            1.0 - confidence,
        )?);
    }
    Ok(all)
}
