//! Ranks: Kruskal–Wallis, and the exact rank-sum test of Mann and Whitney, ties included.

use crate::stats::dist::{gamma::chi_squared_sf, normal};
use crate::stats::homogeneity::ChiSquared;
use crate::stats::refusal::Refusal;
use crate::stats::sample::check;

/// Ranks of values, ties sharing the middle of their places, doubled so that they are whole.
pub fn doubled_midranks(values: &[f64]) -> Vec<u64> {
    let mut order: Vec<(usize, f64)> = values.iter().copied().enumerate().collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut ranks = vec![0; values.len()];
    let mut before = 0_usize;
    for tie in order.chunk_by(|a, b| a.1 == b.1) {
        // Places before+1 … before+len; twice their middle.
        let doubled = (2 * before + tie.len() + 1) as u64;
        for &(index, _) in tie {
            if let Some(rank) = ranks.get_mut(index) {
                *rank = doubled;
            }
        }
        before += tie.len();
    }
    ranks
}

/// Σ (t³ − t) over the ties.
fn tie_sum(values: &[f64]) -> f64 {
    let mut ordered = values.to_vec();
    ordered.sort_by(f64::total_cmp);
    let cubed = |tie: &[f64]| (tie.len() as f64).powi(3) - tie.len() as f64;
    ordered.chunk_by(|a, b| a == b).map(cubed).sum()
}

/// The Kruskal–Wallis test, corrected for ties, with its chi-squared approximation.
///
/// # Formula
/// ```text
/// H = [12/(N(N+1)) Σ R_i²/n_i − 3(N+1)] / [1 − Σ(t³−t)/(N³−N)]
/// ```
/// # Source
/// Kruskal & Wallis, J. Am. Stat. Assoc. 47 (1952) 583.
///
/// # Errors
/// [`Refusal::TooFew`] below two groups or for an empty one; [`Refusal::ZeroSpread`] when all
/// values are equal.
pub fn kruskal_wallis<G: AsRef<[f64]>>(groups: &[G]) -> Result<ChiSquared, Refusal> {
    if groups.len() < 2 || groups.iter().any(|g| g.as_ref().is_empty()) {
        return Err(Refusal::TooFew {
            needed: 2,
            got: groups.len(),
        });
    }
    let all: Vec<f64> = groups
        .iter()
        .flat_map(|g| g.as_ref().iter().copied())
        .collect();
    check(&all)?;
    let n = all.len() as f64;
    let correction = 1.0 - tie_sum(&all) / (n * n * n - n);
    if correction <= 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    let ranks = doubled_midranks(&all);
    let mut left = ranks.as_slice();
    let mut squares = 0.0;
    for group in groups {
        let (own, rest) = left.split_at(group.as_ref().len());
        let sum = own.iter().sum::<u64>() as f64 / 2.0;
        // About the expected rank, so that nothing large cancels.
        let size = own.len() as f64;
        squares += (sum / size - 0.5 * (n + 1.0)).powi(2) * size;
        left = rest;
    }
    let statistic = 12.0 / (n * (n + 1.0)) * squares / correction;
    let df = groups.len() as f64 - 1.0;
    Ok(ChiSquared {
        statistic,
        df,
        p: chi_squared_sf(statistic, df),
    })
}

/// How the exact distribution splits at what was observed. Counts are whole numbers, exact up to
/// 2⁵³.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Counts {
    /// All ways to choose the first group.
    pub total: f64,
    /// Those with a statistic no larger than observed.
    pub at_most: f64,
    /// Those with a statistic no smaller than observed.
    pub at_least: f64,
    /// Those at least as far from the middle as observed.
    pub as_far: f64,
}

impl Counts {
    /// Small when the first group is lower.
    pub fn p_less(&self) -> f64 {
        self.at_most / self.total
    }

    /// Small when the first group is higher.
    pub fn p_greater(&self) -> f64 {
        self.at_least / self.total
    }

    /// Small when the groups differ in either direction.
    pub fn p_two_sided(&self) -> f64 {
        self.as_far / self.total
    }
}

/// The rank-sum test of two groups.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RankSum {
    /// Pairs in which the first group's value is larger, ties counted half.
    pub u: f64,
    /// The exact distribution; `None` where it would take too long (about 60 values and more).
    pub exact: Option<Counts>,
    /// Two-sided p from the normal approximation with continuity correction.
    pub p_normal: f64,
    /// The same without continuity correction.
    pub p_normal_plain: f64,
}

/// The Mann–Whitney test, exact given the ties as observed.
///
/// # Formula
/// ```text
/// U = R_x − n₁(n₁+1)/2;  all choices of n₁ midranks equally likely
/// two-sided: P(|R − E R| ≥ |r − E R|)
/// ```
/// # Source
/// Mann & Whitney, Ann. Math. Stat. 18 (1947) 50.
///
/// # Errors
/// [`Refusal::TooFew`] for an empty group; [`Refusal::ZeroSpread`] when all values are equal.
pub fn rank_sum(x: &[f64], y: &[f64]) -> Result<RankSum, Refusal> {
    if x.is_empty() || y.is_empty() {
        return Err(Refusal::TooFew { needed: 1, got: 0 });
    }
    let all: Vec<f64> = x.iter().chain(y).copied().collect();
    check(&all)?;
    let (a, b, n) = (x.len() as f64, y.len() as f64, all.len() as f64);
    let spread = a * b / 12.0 * ((n + 1.0) - tie_sum(&all) / (n * (n - 1.0)));
    if spread <= 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    let law = Distribution::of(&all, x.len());
    let ranks = doubled_midranks(&all);
    let doubled: u64 = ranks.iter().take(x.len()).sum();
    let u = doubled as f64 / 2.0 - a * (a + 1.0) / 2.0;
    let off = u - a * b / 2.0;
    let two_sided = |z: f64| (2.0 * normal::sf(z)).min(1.0);
    Ok(RankSum {
        u,
        exact: law.map(|law| law.split_at(doubled)),
        p_normal: two_sided((off.abs() - 0.5).max(0.0) / spread.sqrt()),
        p_normal_plain: two_sided(off.abs() / spread.sqrt()),
    })
}

/// The exact distribution of the doubled rank sum of one group.
#[derive(Debug, Clone)]
pub(super) struct Distribution {
    /// Number of choices by doubled rank sum.
    ways: Vec<f64>,
    /// Twice the expected doubled rank sum.
    twice_middle: u64,
    chosen: usize,
}

/// Additions beyond which the exact distribution is not tabulated.
const MOST_WORK: u64 = 20_000_000;

impl Distribution {
    /// Choosing `chosen` of the values; `None` when that would take too long.
    pub(super) fn of(all: &[f64], chosen: usize) -> Option<Self> {
        let ranks = doubled_midranks(all);
        let whole: u64 = ranks.iter().sum();
        let work = ranks.len() as u64 * chosen as u64 * whole;
        if work > MOST_WORK {
            return None;
        }
        let width = whole as usize + 1;
        // ways[j][s]: choices of j ranks with sum s; larger j first, so that no rank counts twice.
        let mut ways = vec![vec![0.0; width]; chosen + 1];
        if let Some(first) = ways.first_mut().and_then(|row| row.first_mut()) {
            *first = 1.0;
        }
        for &rank in &ranks {
            for j in (1..=chosen).rev() {
                let (head, tail) = ways.split_at_mut(j);
                let (Some(from), Some(to)) = (head.last(), tail.first_mut()) else {
                    continue;
                };
                for (into, add) in to.iter_mut().skip(rank as usize).zip(from) {
                    *into += add;
                }
            }
        }
        let twice_middle = 2 * whole * chosen as u64 / ranks.len() as u64;
        Some(Self {
            ways: ways.pop().unwrap_or_default(),
            twice_middle,
            chosen,
        })
    }

    fn split_at(&self, observed: u64) -> Counts {
        let mut counts = Counts {
            total: 0.0,
            at_most: 0.0,
            at_least: 0.0,
            as_far: 0.0,
        };
        let distance = (2 * observed).abs_diff(self.twice_middle);
        for (sum, &ways) in (0_u64..).zip(&self.ways) {
            counts.total += ways;
            if sum <= observed {
                counts.at_most += ways;
            }
            if sum >= observed {
                counts.at_least += ways;
            }
            if (2 * sum).abs_diff(self.twice_middle) >= distance {
                counts.as_far += ways;
            }
        }
        counts
    }

    /// The smallest U with P(U ≤ u) ≥ p, and P(U < u).
    pub(super) fn quantile(&self, p: f64) -> (f64, f64) {
        let total: f64 = self.ways.iter().sum();
        let least = (self.chosen * (self.chosen + 1)) as f64 / 2.0;
        let mut below = 0.0;
        for (sum, &ways) in (0_u64..).zip(&self.ways) {
            if ways > 0.0 && below + ways >= p * total * (1.0 - 1e-12) {
                return (sum as f64 / 2.0 - least, below / total);
            }
            below += ways;
        }
        (f64::INFINITY, 1.0)
    }

    /// P(U = its least value).
    pub(super) fn share_of_least(&self) -> f64 {
        let total: f64 = self.ways.iter().sum();
        self.ways
            .iter()
            .find(|w| **w > 0.0)
            .map_or(0.0, |w| w / total)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn midranks_share_their_places() {
        assert_eq!(doubled_midranks(&[3.0, 1.0, 3.0, 2.0]), [7, 2, 7, 4]);
    }

    /// Three against three can be no more extreme than 2 of 20 (handbook 7.6).
    #[test]
    fn the_smallest_groups_have_a_least_p_value() {
        let p = |n: usize| {
            let x: Vec<f64> = (0..n).map(|i| i as f64).collect();
            let y: Vec<f64> = x.iter().map(|v| v + 100.0).collect();
            rank_sum(&x, &y).unwrap().exact.unwrap().p_two_sided()
        };
        assert_eq!(p(3), 2.0 / 20.0);
        assert_eq!(p(4), 2.0 / 70.0);
    }

    #[test]
    fn any_rising_change_of_scale_changes_nothing() {
        let (x, y) = ([1.0, 4.0, 9.0, 3.0], [2.0, 8.0, 7.0, 12.0, 10.0]);
        let plain = rank_sum(&x, &y).unwrap();
        assert_eq!(plain, rank_sum(&x.map(f64::exp), &y.map(f64::exp)).unwrap());
        let swapped = rank_sum(&y, &x).unwrap();
        assert_eq!(
            swapped.exact.unwrap().at_most,
            plain.exact.unwrap().at_least
        );
    }

    #[test]
    fn awkward_input_has_a_name() {
        assert_eq!(rank_sum(&[1.0; 3], &[1.0; 3]), Err(Refusal::ZeroSpread));
        assert!(matches!(rank_sum(&[], &[1.0]), Err(Refusal::TooFew { .. })));
        assert_eq!(kruskal_wallis(&[[1.0], [1.0]]), Err(Refusal::ZeroSpread));
    }
}
