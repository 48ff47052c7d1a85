//! Permutation of a mean difference: exact where all splits can be gone through, else resampled.

use crate::stats::numeric::sum::sum;
use crate::stats::rank::Counts;
use crate::stats::refusal::Refusal;
use crate::stats::rng::Rng;
use crate::stats::sample::check;

/// Splits beyond which the exact test is not attempted; C(26, 13) is below.
pub const MOST_SPLITS: f64 = 12_000_000.0;

/// Splits up to which [`mean_difference`] goes through all of them; C(20, 10) is below.
pub const QUICK_SPLITS: f64 = 200_000.0;

/// Two differences of means closer than this share of the largest value count as equal: decimals
/// do not add exactly in binary.
const SAME: f64 = 1e-11;

/// A permutation test of the difference of two means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Permutation {
    /// Mean of the first group less mean of the second.
    pub difference: f64,
    /// How the splits fall. Resampled counts include the observed split itself.
    pub counts: Counts,
    /// Whether all splits were gone through.
    pub exact: bool,
}

/// What every split is compared with.
struct Observed {
    first: f64,
    second: f64,
    total: f64,
    difference: f64,
    same: f64,
}

impl Observed {
    fn new(x: &[f64], y: &[f64]) -> Result<Self, Refusal> {
        if x.is_empty() || y.is_empty() {
            return Err(Refusal::TooFew { needed: 1, got: 0 });
        }
        check(x)?;
        check(y)?;
        let (first, second) = (x.len() as f64, y.len() as f64);
        let (sx, sy) = (
            sum(x.iter().copied()).value(),
            sum(y.iter().copied()).value(),
        );
        let largest = x.iter().chain(y).fold(0.0_f64, |m, v| m.max(v.abs()));
        if x.iter().chain(y).all(|v| Some(v) == x.first()) {
            return Err(Refusal::ZeroSpread);
        }
        let difference = sx / first - sy / second;
        Ok(Self {
            first,
            second,
            total: sx + sy,
            difference,
            same: SAME * largest,
        })
    }

    fn count(&self, chosen: f64, counts: &mut Counts) {
        let difference = chosen / self.first - (self.total - chosen) / self.second;
        let within = |a: f64, b: f64| a <= b + self.same;
        counts.total += 1.0;
        counts.at_most += f64::from(within(difference, self.difference));
        counts.at_least += f64::from(within(self.difference, difference));
        counts.as_far += f64::from(within(self.difference.abs(), difference.abs()));
    }
}

const NONE: Counts = Counts {
    total: 0.0,
    at_most: 0.0,
    at_least: 0.0,
    as_far: 0.0,
};

/// Number of ways to choose k of n.
fn choose(n: usize, k: usize) -> f64 {
    (0..k.min(n - k)).fold(1.0, |ways, i| ways * (n - i) as f64 / (i + 1) as f64)
}

/// Adds every choice of `left` values from `values` on top of `so_far`.
fn all_splits(values: &[f64], left: usize, so_far: f64, visit: &mut impl FnMut(f64)) {
    if left == 0 {
        visit(so_far);
        return;
    }
    for at in 0..=values.len().saturating_sub(left) {
        if let Some((value, rest)) = values.get(at..).and_then(<[f64]>::split_first) {
            all_splits(rest, left - 1, so_far + value, visit);
        }
    }
}

/// The exact test: every split of the values into groups of these sizes.
///
/// # Source
/// Pitman, J. R. Stat. Soc. Suppl. 4 (1937) 119.
///
/// # Errors
/// [`Refusal::TooFew`] for an empty group, [`Refusal::ZeroSpread`] when all values are equal,
/// [`Refusal::OutOfRange`] above [`MOST_SPLITS`].
pub fn exact(x: &[f64], y: &[f64]) -> Result<Permutation, Refusal> {
    let observed = Observed::new(x, y)?;
    if choose(x.len() + y.len(), x.len()) > MOST_SPLITS {
        return Err(Refusal::OutOfRange {
            what: "number of splits",
        });
    }
    let all: Vec<f64> = x.iter().chain(y).copied().collect();
    let mut counts = NONE;
    all_splits(&all, x.len(), 0.0, &mut |chosen| {
        observed.count(chosen, &mut counts)
    });
    Ok(Permutation {
        difference: observed.difference,
        counts,
        exact: true,
    })
}

/// The same from `draws` random splits; p is (hits + 1)/(draws + 1).
///
/// # Source
/// Phipson & Smyth, Stat. Appl. Genet. Mol. Biol. 9 (2010) 39, for counting the observed split.
///
/// # Errors
/// As [`exact`], without the limit on splits; [`Refusal::TooFew`] for no draw.
pub fn resampled(x: &[f64], y: &[f64], draws: usize, seed: u64) -> Result<Permutation, Refusal> {
    let observed = Observed::new(x, y)?;
    if draws == 0 {
        return Err(Refusal::TooFew { needed: 1, got: 0 });
    }
    let mut all: Vec<f64> = x.iter().chain(y).copied().collect();
    let mut rng = Rng::new(seed);
    let mut counts = Counts {
        total: 1.0,
        at_most: 1.0,
        at_least: 1.0,
        as_far: 1.0,
    };
    // The smaller group is drawn; the other's sum follows.
    let small = x.len().min(y.len());
    for _ in 0..draws {
        for i in 0..small {
            let j = i + rng.below(all.len() - i);
            all.swap(i, j);
        }
        let drawn: f64 = all.iter().take(small).sum();
        let chosen = if small == x.len() {
            drawn
        } else {
            observed.total - drawn
        };
        observed.count(chosen, &mut counts);
    }
    Ok(Permutation {
        difference: observed.difference,
        counts,
        exact: false,
    })
}

/// Exact up to [`QUICK_SPLITS`], else resampled.
///
/// # Errors
/// As [`exact`] and [`resampled`].
pub fn mean_difference(
    x: &[f64],
    y: &[f64],
    draws: usize,
    seed: u64,
) -> Result<Permutation, Refusal> {
    if choose(x.len() + y.len(), x.len()) > QUICK_SPLITS {
        resampled(x, y, draws, seed)
    } else {
        exact(x, y)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn resampling_comes_close_to_the_exact_answer() {
        let (x, y) = ([8.8, 8.9, 7.9, 7.5], [8.3, 9.2, 10.1, 10.1, 8.6, 8.9, 9.7]);
        let all = exact(&x, &y).unwrap().counts;
        assert_eq!(all.total, 330.0);
        let some = resampled(&x, &y, 20_000, 1).unwrap().counts;
        assert!((all.p_two_sided() - some.p_two_sided()).abs() < 0.006);
        let turned = resampled(&y, &x, 20_000, 1).unwrap().counts;
        assert!((all.p_less() - turned.p_greater()).abs() < 0.006);
    }

    #[test]
    fn the_same_seed_gives_the_same_numbers() {
        let x: Vec<f64> = (0..30).map(f64::from).collect();
        let a = mean_difference(&x, &x, 500, 9).unwrap();
        assert!(!a.exact);
        assert_eq!(a, mean_difference(&x, &x, 500, 9).unwrap());
    }

    #[test]
    fn awkward_input_has_a_name() {
        assert_eq!(exact(&[1.0, 1.0], &[1.0]), Err(Refusal::ZeroSpread));
        assert!(exact(&[], &[1.0]).is_err());
        assert!(exact(&[0.0; 40], &[1.0; 40]).is_err());
    }
}
