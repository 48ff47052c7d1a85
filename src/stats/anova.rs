//! One-way analysis of variance, with a common spread and, after Welch, without.

use crate::stats::dist::beta::f_sf;
use crate::stats::numeric::sum::{Twofold, squares_about, sum, sum_twofold};
use crate::stats::refusal::Refusal;
use crate::stats::sample::{Sample, Summary, check};

/// The table of a one-way analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWay {
    /// Groups less one.
    pub df_between: f64,
    /// Values less groups.
    pub df_within: f64,
    /// Σ n_i (mean_i − mean)².
    pub ss_between: f64,
    /// Σ Σ (x − mean_i)².
    pub ss_within: f64,
    /// Ratio of the mean squares.
    pub f: f64,
    /// P(F ≥ f) when all means are equal.
    pub p: f64,
}

impl OneWay {
    /// Mean square between groups.
    pub fn ms_between(&self) -> f64 {
        self.ss_between / self.df_between
    }

    /// Mean square within groups, the pooled variance.
    pub fn ms_within(&self) -> f64 {
        self.ss_within / self.df_within
    }

    /// Share of the sum of squares that lies between the groups.
    pub fn r_squared(&self) -> f64 {
        self.ss_between / (self.ss_between + self.ss_within)
    }
}

/// One-way analysis of variance.
///
/// Means and sums of squares are taken in twofold precision: the certified SmLs01 … SmLs09 hold to
/// what their values keep when read into doubles.
///
/// # Source
/// Fisher, Statistical Methods for Research Workers (1925); data: NIST StRD, one-way ANOVA.
///
/// # Errors
/// [`Refusal::TooFew`] below two groups, for an empty group or without a degree of freedom within;
/// [`Refusal::ZeroSpread`] when no group has any spread.
pub fn one_way<G: AsRef<[f64]>>(groups: &[G]) -> Result<OneWay, Refusal> {
    if groups.len() < 2 {
        return Err(Refusal::TooFew {
            needed: 2,
            got: groups.len(),
        });
    }
    let samples: Vec<Sample<'_>> = groups
        .iter()
        .map(|g| Sample::new(g.as_ref()))
        .collect::<Result<_, _>>()?;
    let total: usize = samples.iter().map(Sample::len).sum();
    let df_within = total as f64 - samples.len() as f64;
    if df_within < 1.0 {
        return Err(Refusal::TooFew {
            needed: samples.len() + 1,
            got: total,
        });
    }
    let grand = sum(samples.iter().flat_map(|s| s.values().iter().copied())).over(total as f64);
    let between = sum_twofold(samples.iter().map(|s| {
        let off = s.twofold_mean().minus(grand);
        off.times(off).times(Twofold::from(s.len() as f64))
    }));
    let within = sum_twofold(
        samples
            .iter()
            .map(|s| squares_about(s.values(), s.twofold_mean())),
    );
    let (ss_between, ss_within) = (between.value(), within.value());
    if samples.iter().all(|s| s.sum_of_squares() == 0.0) || ss_within <= 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    let df_between = samples.len() as f64 - 1.0;
    let f = (ss_between / df_between) / (ss_within / df_within);
    let p = f_sf(f, df_between, df_within);
    Ok(OneWay {
        df_between,
        df_within,
        ss_between,
        ss_within,
        f,
        p,
    })
}

/// An F test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FTest {
    /// The statistic.
    pub f: f64,
    /// Degrees of freedom of the numerator.
    pub df1: f64,
    /// Degrees of freedom of the denominator.
    pub df2: f64,
    /// P(F ≥ f).
    pub p: f64,
}

/// Welch's analysis of variance: equality of means without a common spread.
///
/// # Formula
/// ```text
/// w = n/s²,  m̃ = Σwm/Σw,  A = Σw(m − m̃)²/(k−1),  Λ = Σ(1 − w/Σw)²/(n−1)
/// F = A/(1 + 2(k−2)Λ/(k²−1)),  df = k−1 and (k²−1)/(3Λ)
/// ```
/// # Source
/// Welch, Biometrika 38 (1951) 330.
///
/// # Errors
/// [`Refusal::TooFew`] below two groups or two values in a group; [`Refusal::ZeroSpread`] when a
/// group has none.
pub fn welch<G: AsRef<[f64]>>(groups: &[G]) -> Result<FTest, Refusal> {
    let summaries = spread_groups(groups)?;
    let k = summaries.len() as f64;
    let weights: Vec<f64> = summaries.iter().map(|s| 1.0 / s.mean_variance()).collect();
    let whole: f64 = weights.iter().sum();
    let centre = weights
        .iter()
        .zip(&summaries)
        .map(|(w, s)| w * s.mean)
        .sum::<f64>()
        / whole;
    let (mut between, mut lambda) = (0.0, 0.0);
    for (w, s) in weights.iter().zip(&summaries) {
        between += w * (s.mean - centre).powi(2);
        lambda += (1.0 - w / whole).powi(2) / (s.n as f64 - 1.0);
    }
    let f = between / (k - 1.0) / (1.0 + 2.0 * (k - 2.0) * lambda / (k * k - 1.0));
    let (df1, df2) = (k - 1.0, (k * k - 1.0) / (3.0 * lambda));
    Ok(FTest {
        f,
        df1,
        df2,
        p: f_sf(f, df1, df2),
    })
}

/// Two or more groups, each with two or more values that differ.
pub(super) fn spread_groups<G: AsRef<[f64]>>(groups: &[G]) -> Result<Vec<Summary>, Refusal> {
    if groups.len() < 2 {
        return Err(Refusal::TooFew {
            needed: 2,
            got: groups.len(),
        });
    }
    let mut summaries = Vec::with_capacity(groups.len());
    for group in groups {
        let values = group.as_ref();
        check(values)?;
        let summary = Summary::of(Sample::at_least(2, values)?.values())?;
        if summary.variance <= 0.0 {
            return Err(Refusal::ZeroSpread);
        }
        summaries.push(summary);
    }
    Ok(summaries)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::{sample::Spread, two_sample};

    #[test]
    fn two_groups_are_a_t_test_squared() {
        let (a, b) = ([3.1, 4.0, 2.2, 5.0], [6.0, 5.5, 7.1]);
        let t = two_sample::compare(&a, &b, Spread::Pooled, 0.95).unwrap();
        let table = one_way(&[&a[..], &b[..]]).unwrap();
        assert!(
            (table.f - t.t * t.t).abs() < 1e-12 && (table.p / t.p_two_sided - 1.0).abs() < 1e-12
        );
        let t = two_sample::compare(&a, &b, Spread::Separate, 0.95).unwrap();
        let table = welch(&[&a[..], &b[..]]).unwrap();
        assert!((table.f - t.t * t.t).abs() < 1e-12 && (table.df2 - t.df).abs() < 1e-12);
    }

    #[test]
    fn an_offset_of_a_billion_changes_nothing() {
        let groups = [vec![1.25, 2.5, 3.0], vec![2.0, 2.75, 4.0], vec![1.0, 6.0]];
        let moved: Vec<Vec<f64>> = groups
            .iter()
            .map(|g| g.iter().map(|v| v + 1e9).collect())
            .collect();
        let (a, b) = (one_way(&groups).unwrap(), one_way(&moved).unwrap());
        assert!((a.f - b.f).abs() < 1e-13);
    }

    #[test]
    fn awkward_input_has_a_name() {
        assert_eq!(one_way(&[[1.0, 1.0], [2.0, 2.0]]), Err(Refusal::ZeroSpread));
        assert!(matches!(
            one_way(&[vec![1.0], vec![2.0]]),
            Err(Refusal::TooFew { .. })
        ));
        assert!(matches!(
            one_way(&[vec![1.0, 2.0], vec![]]),
            Err(Refusal::TooFew { .. })
        ));
        assert_eq!(welch(&[[1.0, 1.0], [2.0, 3.0]]), Err(Refusal::ZeroSpread));
    }
}
