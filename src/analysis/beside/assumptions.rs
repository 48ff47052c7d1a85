//! The assumptions behind the intervals, looked at and told; never a gate that changes the method.

use serde::{Deserialize, Serialize};

use crate::analysis::beside::Compared;
use crate::analysis::outlier;
use crate::analysis::piece::{Piece, PieceName};
use crate::stats::dist::gamma::chi_squared_sf;
use crate::stats::homogeneity::{Centre, levene};
use crate::stats::normality::shapiro_wilk;
use crate::stats::sample::Summary;

/// Below so many values in all no test of normality has power to speak of (trade.md §7.6).
pub const FEWEST_FOR_NORMALITY: usize = 10;

/// What was looked at.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Assumptions {
    /// Values of all compared groups together (holder means where those are compared).
    pub values: usize,
    /// Whether values lie about their group's mean as normal ones do; `None` when too few or all
    /// equal.
    pub normality: Option<NormalityFinding>,
    /// Whether the groups scatter alike; `None` when that cannot be looked at.
    pub spread: Option<SpreadFinding>,
    /// Pieces flagged by the plan's outlier rule; they stay in.
    pub flagged: Vec<PieceName>,
}

/// Shapiro and Wilk's test in each group, put together.
///
/// # Source
/// Fisher, Statistical Methods for Research Workers (1932): −2 Σ ln p of independent tests is χ² with
/// two degrees of freedom each. By group, because groups may scatter differently.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NormalityFinding {
    /// Groups of three values and more.
    pub groups: Vec<GroupNormality>,
    /// p of all of them together.
    pub p: f64,
}

/// One group's test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GroupNormality {
    /// Name of the group.
    pub name: String,
    /// Its values.
    pub n: usize,
    /// Shapiro and Wilk's W.
    pub w: f64,
    /// p of the group by itself.
    pub p: f64,
}

/// Smallest and largest standard deviation, and Brown and Forsythe's test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SpreadFinding {
    /// Group with the smallest standard deviation.
    pub smallest_name: String,
    /// That standard deviation, in the response's unit.
    pub smallest_sd: f64,
    /// Group with the largest.
    pub largest_name: String,
    /// That standard deviation.
    pub largest_sd: f64,
    /// Brown and Forsythe's F; `None` when the distances from the medians do not vary.
    pub f: Option<f64>,
    /// Its p.
    pub p: Option<f64>,
}

/// Looks at them.
pub(super) fn look(compared: &Compared<'_>, pieces: &[Piece]) -> Assumptions {
    let groups: Vec<(&str, Vec<f64>)> = compared
        .all()
        .map(|side| (side.name.as_str(), side.arm.units()))
        .collect();
    let family = compared.family;
    let flagged = outlier::flagged(compared.plan, pieces, &family.response, family.stage_days);
    Assumptions {
        values: groups.iter().map(|(_, values)| values.len()).sum(),
        normality: normality(&groups),
        spread: spread(&groups),
        flagged: flagged.into_iter().collect(),
    }
}

fn normality(groups: &[(&str, Vec<f64>)]) -> Option<NormalityFinding> {
    let tested: Vec<GroupNormality> = groups
        .iter()
        .filter_map(|(name, values)| {
            let found = shapiro_wilk(values).ok()?;
            Some(GroupNormality {
                name: (*name).to_owned(),
                n: values.len(),
                w: found.statistic,
                p: found.p,
            })
        })
        .collect();
    let values: usize = tested.iter().map(|g| g.n).sum();
    if values < FEWEST_FOR_NORMALITY {
        return None;
    }
    // A p of zero is one too small to be held.
    let sum: f64 = tested
        .iter()
        .map(|g| -2.0 * g.p.max(f64::MIN_POSITIVE).ln())
        .sum();
    Some(NormalityFinding {
        p: chi_squared_sf(sum, 2.0 * tested.len() as f64),
        groups: tested,
    })
}

fn spread(groups: &[(&str, Vec<f64>)]) -> Option<SpreadFinding> {
    let several: Vec<(&str, &Vec<f64>, f64)> = groups
        .iter()
        .filter(|(_, values)| values.len() >= 2)
        .filter_map(|(name, values)| Some((*name, values, Summary::of(values).ok()?.sd())))
        .collect();
    let by_sd = |a: &&(&str, &Vec<f64>, f64), b: &&(&str, &Vec<f64>, f64)| a.2.total_cmp(&b.2);
    let smallest = several.iter().min_by(by_sd)?;
    let largest = several.iter().max_by(by_sd)?;
    if several.len() < 2 {
        return None;
    }
    let values: Vec<&[f64]> = several.iter().map(|(_, v, _)| v.as_slice()).collect();
    let test = levene(&values, Centre::Median).ok();
    Some(SpreadFinding {
        smallest_name: smallest.0.to_owned(),
        smallest_sd: smallest.2,
        largest_name: largest.0.to_owned(),
        largest_sd: largest.2,
        f: test.map(|t| t.f).filter(|f| f.is_finite()),
        p: test.map(|t| t.p),
    })
}
