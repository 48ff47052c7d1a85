//! The same question by other methods: permutation, ranks, bootstrap. Each stands beside the result
//! that decides, none replaces it, and none carries a verdict word.
//!
//! Their intervals are made to hold together like those that decide (Bonferroni), and their p values
//! are adjusted for the family (Holm): no unadjusted interval stands beside a verdict (practice.md
//! §3.1). Values are put in order before anything is drawn, so that the order of the pieces changes
//! nothing.

use serde::{Deserialize, Serialize};

use crate::analysis::beside::Compared;
use crate::analysis::compare::Side;
use crate::analysis::comparison::Unit;
use crate::stats::bootstrap;
use crate::stats::multiplicity::{Adjustment, adjust};
use crate::stats::permutation::{self, Permutation};
use crate::stats::rank::{RankSum, rank_sum};
use crate::stats::refusal::Refusal;
use crate::stats::sample::sorted;
use crate::stats::shift::{Shift, ShiftInterval, hodges_lehmann};

/// Start of every random sequence here.
pub const SEED: u64 = 0x0b5e_55ed;

/// Resamples of a bootstrap.
pub const RESAMPLES: usize = 2000;

/// Random splits, where there are too many to go through all.
pub const SPLITS: usize = 4999;

/// With fewer values in a group a bootstrap only repeats them.
pub const FEWEST_FOR_BOOTSTRAP: usize = 4;

/// From so many values in the smaller group a bootstrap interval is shown without its coverage.
pub const ENOUGH_FOR_BOOTSTRAP: usize = 20;

/// How often a BCa interval of a ratio at 95 % holds what it promises, by the size of both groups
/// (equal normal groups, 5 % scatter; simulated in `tests/benches/coverage.rs`, table in
/// `tests/benches/coverage.md`).
pub const BOOTSTRAP_COVERAGE: [(usize, f64); 5] =
    [(4, 0.85), (6, 0.89), (8, 0.91), (10, 0.92), (15, 0.93)];

/// The comparison that decides, asked by other methods.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Robustness {
    /// What they rest on.
    pub unit: Unit,
    /// Confidence of each interval, in %, so that all of them hold together at the plan's.
    pub each_percent: f64,
    /// Start of the random sequences.
    pub seed: u64,
    /// One for each condition with two values or more.
    pub members: Vec<RobustMember>,
    /// Why there are none.
    pub none: Option<String>,
}

/// One condition against the reference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RobustMember {
    /// Name of the condition.
    pub name: String,
    /// Permutation of the difference of means.
    pub permutation: Option<PermutationFinding>,
    /// Mann and Whitney's test with the Hodges–Lehmann shift.
    pub rank: Option<RankFinding>,
    /// BCa bootstrap of the change.
    pub bootstrap: Option<BootstrapFinding>,
    /// Why one of them is missing, in words.
    pub missing: Vec<String>,
}

/// A permutation test of the difference of means.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PermutationFinding {
    /// Two-sided p.
    pub p: f64,
    /// Adjusted for the family (Holm).
    pub p_adjusted: f64,
    /// Splits gone through, or drawn (the observed one counted).
    pub splits: f64,
    /// Whether all splits were gone through.
    pub is_exact: bool,
}

/// A rank test with its shift, in the response's unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RankFinding {
    /// Two-sided p.
    pub p: f64,
    /// Adjusted for the family (Holm).
    pub p_adjusted: f64,
    /// Whether p is exact or from the normal approximation.
    pub is_exact: bool,
    /// Hodges–Lehmann shift.
    pub shift: f64,
    /// Its interval; `None` where there are too many values for an exact one.
    pub interval: Option<(f64, f64)>,
    /// Confidence that the interval reaches, in %; `None` with ties, where none is promised.
    pub achieved_percent: Option<f64>,
}

/// A bootstrap interval of a change, in % (loads) or in percentage points (changes).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BootstrapFinding {
    /// The change.
    pub estimate_percent: f64,
    /// Lower end.
    pub lower_percent: f64,
    /// Upper end.
    pub upper_percent: f64,
    /// Resamples.
    pub resamples: usize,
    /// Values in the smaller group.
    pub smallest_group: usize,
    /// How often such an interval at 95 % holds with groups that small; `None` from
    /// [`ENOUGH_FOR_BOOTSTRAP`] values.
    pub coverage: Option<f64>,
}

/// Asks by other methods.
pub(super) fn robustness(compared: &Compared<'_>) -> Robustness {
    let comparisons = compared.sides.len().max(1) as f64;
    let each = 1.0 - (1.0 - compared.confidence()) / comparisons;
    let mut found = Robustness {
        unit: compared.unit(),
        each_percent: each * 100.0,
        seed: SEED,
        members: Vec::new(),
        none: None,
    };
    if compared.unit() == Unit::Mixed {
        found.none = Some(
            "some conditions rest on holders and some on pieces, which cannot be exchanged for each \
             other"
                .to_owned(),
        );
        return found;
    }
    let reference = sorted(&compared.reference.arm.units());
    found.members = compared
        .sides
        .iter()
        .map(|side| member(side, &reference, each, compared.is_change()))
        .collect();
    adjust_for_family(&mut found.members);
    found
}

fn member(side: &Side, reference: &[f64], confidence: f64, is_change: bool) -> RobustMember {
    let values = sorted(&side.arm.units());
    let mut missing = Vec::new();
    let mut keep = |what: &str, refusal: Refusal| missing.push(format!("{what}: {refusal}"));
    let permutation = permutation::mean_difference(&values, reference, SPLITS, SEED)
        .map_err(|refusal| keep("permutation", refusal))
        .ok();
    let rank = rank_sum(&values, reference)
        .and_then(|test| Ok((test, hodges_lehmann(&values, reference, confidence)?)))
        .map_err(|refusal| keep("ranks", refusal))
        .ok();
    let bootstrap = bootstrapped(&values, reference, confidence, is_change)
        .map_err(|refusal| keep("bootstrap", refusal))
        .ok();
    RobustMember {
        name: side.name.clone(),
        permutation: permutation.map(permutation_finding),
        rank: rank.map(|(test, shift)| rank_finding(&test, &shift)),
        bootstrap,
        missing,
    }
}

fn permutation_finding(found: Permutation) -> PermutationFinding {
    let p = found.counts.p_two_sided();
    PermutationFinding {
        p,
        p_adjusted: p,
        splits: found.counts.total,
        is_exact: found.exact,
    }
}

fn rank_finding(test: &RankSum, shift: &Shift) -> RankFinding {
    let exact = test.exact.map(|counts| counts.p_two_sided());
    let p = exact.unwrap_or(test.p_normal);
    let (interval, achieved) = match shift.interval {
        ShiftInterval::Exact {
            interval, achieved, ..
        } => (Some(interval), Some(achieved * 100.0)),
        ShiftInterval::Tied { interval } => (Some(interval), None),
        ShiftInterval::TooMany => (None, None),
    };
    RankFinding {
        p,
        p_adjusted: p,
        is_exact: exact.is_some(),
        shift: shift.estimate,
        interval: interval.map(|i| (i.lower, i.upper)),
        achieved_percent: achieved,
    }
}

fn bootstrapped(
    values: &[f64],
    reference: &[f64],
    confidence: f64,
    is_change: bool,
) -> Result<BootstrapFinding, Refusal> {
    let smallest = values.len().min(reference.len());
    if smallest < FEWEST_FOR_BOOTSTRAP {
        return Err(Refusal::TooFew {
            needed: FEWEST_FOR_BOOTSTRAP,
            got: smallest,
        });
    }
    let both = [values, reference];
    let statistic = if is_change {
        bootstrap::difference_of_means
    } else {
        bootstrap::ratio_of_means
    };
    let found = bootstrap::bca(&both, statistic, confidence, RESAMPLES, SEED)?;
    let percent = |value: f64| {
        if is_change {
            value
        } else {
            (value - 1.0) * 100.0
        }
    };
    Ok(BootstrapFinding {
        estimate_percent: percent(found.estimate),
        lower_percent: percent(found.bca.lower),
        upper_percent: percent(found.bca.upper),
        resamples: RESAMPLES,
        smallest_group: smallest,
        coverage: coverage(smallest),
    })
}

/// The simulated coverage at the next smaller size; `None` where the groups are large enough.
fn coverage(smallest: usize) -> Option<f64> {
    if smallest >= ENOUGH_FOR_BOOTSTRAP {
        return None;
    }
    let smaller = BOOTSTRAP_COVERAGE
        .iter()
        .rev()
        .find(|(n, _)| *n <= smallest);
    smaller.map(|(_, share)| *share)
}

/// Holm's adjustment over the members that have a p value.
fn adjust_for_family(members: &mut [RobustMember]) {
    let permuted = members.iter_mut().filter_map(|m| m.permutation.as_mut());
    adjust_each(
        permuted
            .map(|found| (found.p, &mut found.p_adjusted))
            .collect(),
    );
    let ranked = members.iter_mut().filter_map(|m| m.rank.as_mut());
    adjust_each(
        ranked
            .map(|found| (found.p, &mut found.p_adjusted))
            .collect(),
    );
}

fn adjust_each(mut all: Vec<(f64, &mut f64)>) {
    let plain: Vec<f64> = all.iter().map(|(p, _)| *p).collect();
    // p values of tests lie in [0, 1]; were one not to, it would stay as it is.
    if let Ok(adjusted) = adjust(&plain, Adjustment::Holm) {
        for ((_, slot), p) in all.iter_mut().zip(adjusted) {
            **slot = p;
        }
    }
}
