//! Are the spreads of several groups alike? Looked at, never used to choose a method.

use crate::stats::anova::{FTest, one_way, spread_groups};
use crate::stats::describe::median;
use crate::stats::dist::gamma::chi_squared_sf;
use crate::stats::refusal::Refusal;
use crate::stats::sample::Sample;

/// The centre from which distances are taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Centre {
    /// The group mean: Levene.
    Mean,
    /// The group median: Brown and Forsythe, less upset by long tails.
    Median,
}

/// Levene's test: analysis of variance of the distances |x − centre of its group|.
///
/// # Source
/// Levene (1960); Brown & Forsythe, J. Am. Stat. Assoc. 69 (1974) 364.
///
/// # Errors
/// [`Refusal::TooFew`]; [`Refusal::ZeroSpread`] when the distances do not vary within any group.
pub fn levene<G: AsRef<[f64]>>(groups: &[G], centre: Centre) -> Result<FTest, Refusal> {
    let distances = |group: &G| -> Result<Vec<f64>, Refusal> {
        let sample = Sample::new(group.as_ref())?;
        let middle = match centre {
            Centre::Mean => sample.mean(),
            Centre::Median => median(sample.values())?,
        };
        Ok(sample.values().iter().map(|v| (v - middle).abs()).collect())
    };
    let distances: Vec<Vec<f64>> = groups.iter().map(distances).collect::<Result<_, _>>()?;
    let table = one_way(&distances)?;
    Ok(FTest {
        f: table.f,
        df1: table.df_between,
        df2: table.df_within,
        p: table.p,
    })
}

/// A chi-squared test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChiSquared {
    /// The statistic.
    pub statistic: f64,
    /// Its degrees of freedom.
    pub df: f64,
    /// P(χ² ≥ statistic).
    pub p: f64,
}

/// Bartlett's test, exact in nothing but normal data: it mistakes long tails for unequal spreads.
///
/// # Formula
/// ```text
/// K² = [(N−k) ln s_p² − Σ(n−1) ln s²] / [1 + (Σ 1/(n−1) − 1/(N−k)) / (3(k−1))]
/// ```
/// # Source
/// Bartlett, Proc. R. Soc. A 160 (1937) 268.
///
/// # Errors
/// [`Refusal::TooFew`] below two groups or two values in a group; [`Refusal::ZeroSpread`] when a
/// group has none.
pub fn bartlett<G: AsRef<[f64]>>(groups: &[G]) -> Result<ChiSquared, Refusal> {
    let summaries = spread_groups(groups)?;
    let k = summaries.len() as f64;
    let df: f64 = summaries.iter().map(|s| s.n as f64 - 1.0).sum();
    let pooled = summaries
        .iter()
        .map(|s| (s.n as f64 - 1.0) * s.variance)
        .sum::<f64>()
        / df;
    // Logarithms of shares of the pooled variance, so that large variances do not cancel.
    let spread: f64 = summaries
        .iter()
        .map(|s| -(s.n as f64 - 1.0) * (s.variance / pooled).ln())
        .sum();
    let inverse: f64 = summaries.iter().map(|s| 1.0 / (s.n as f64 - 1.0)).sum();
    let statistic = spread / (1.0 + (inverse - 1.0 / df) / (3.0 * (k - 1.0)));
    Ok(ChiSquared {
        statistic,
        df: k - 1.0,
        p: chi_squared_sf(statistic.max(0.0), k - 1.0),
    })
}
