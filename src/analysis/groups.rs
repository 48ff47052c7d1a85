//! Each group by itself: number, mean, spread, interval, and every value.

use serde::{Deserialize, Serialize};

use crate::analysis::accounting::order;
use crate::analysis::arm::{Arm, Counting, Exposure, Taken};
use crate::analysis::family::responses;
use crate::analysis::gather::Dataset;
use crate::analysis::outlier;
use crate::analysis::piece::{Group, Piece, PieceName, ValueKind, by_group};
use crate::stats::describe::describe;
use crate::stats::refusal::Refusal;
use crate::study::plan::{Plan, Response};

/// A group described for one response, in N, MPa or %.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GroupFinding {
    /// The response.
    pub response: Response,
    /// Which group.
    #[serde(flatten)]
    pub group: Group,
    /// Its name.
    pub name: String,
    /// Whether it is the storage control.
    pub is_storage_control: bool,
    /// Pieces with a value (lower bounds at their value, total losses as zero).
    pub n: usize,
    /// Mean over pieces.
    pub mean: f64,
    /// Standard deviation; `None` for one piece.
    pub sd: Option<f64>,
    /// Coefficient of variation in %; `None` for one piece, a mean of zero, and for changes.
    pub cv_percent: Option<f64>,
    /// Median.
    pub median: f64,
    /// Smallest value.
    pub min: f64,
    /// Largest value.
    pub max: f64,
    /// t-interval of the mean at the plan's confidence, for changes no narrower than the instrument
    /// allows; it describes the group and compares nothing.
    pub interval: Option<(f64, f64)>,
    /// Why there is none.
    pub no_interval: Option<String>,
    /// Whether the instrument widened the interval.
    pub is_widened: bool,
    /// Expanded uncertainty of one change from the instruments, in %, for changes.
    pub resolution_percent: Option<f64>,
    /// Each holder with its own mean.
    pub holders: Vec<HolderFinding>,
    /// Every value, in the order of the codes' numbers.
    pub values: Vec<ValueFinding>,
}

/// A holder's share of a group.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HolderFinding {
    /// Its key.
    pub key: String,
    /// Its name.
    pub name: String,
    /// Pieces with a value.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
}

/// One value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ValueFinding {
    /// The piece.
    pub specimen: PieceName,
    /// Its holder.
    pub holder: Option<String>,
    /// The value.
    pub value: f64,
    /// What it says.
    pub kind: ValueKind,
    /// Flagged by the plan's outlier rule.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub is_flagged: bool,
}

/// Describes every group for every response of which it has values.
#[must_use]
pub fn groups(set: &Dataset<'_>) -> Vec<GroupFinding> {
    let by = by_group(&set.pieces);
    let mut keys: Vec<&Group> = by.keys().copied().collect();
    keys.sort_by_key(|group| order(set.plan, group));
    let mut found = Vec::new();
    for response in responses(set.plan, &set.pieces) {
        for group in &keys {
            let pieces = by.get(group).map_or(&[][..], Vec::as_slice);
            found.extend(one(set.plan, group, pieces, &response));
        }
    }
    found
}

fn one(plan: &Plan, group: &Group, pieces: &[&Piece], response: &Response) -> Option<GroupFinding> {
    let taken = Taken {
        response,
        counting: Counting::LostExcluded,
        exposure: Exposure::Kept,
        covariate: None,
    };
    let arm = Arm::of(pieces, taken);
    let described = describe(&arm.values(), plan.confidence_percent / 100.0).ok()?;
    let resolution = arm.resolution_percent;
    let plain = described.interval.map(|i| (i.lower, i.upper));
    let (interval, is_widened) = widened(plain, described.mean, resolution);
    Some(GroupFinding {
        response: response.clone(),
        name: group.name(plan),
        is_storage_control: group.is_storage_control(plan),
        n: described.n,
        mean: described.mean,
        sd: described.sd,
        cv_percent: described
            .cv
            .filter(|_| response.needs_breaking())
            .map(|cv| cv.abs() * 100.0),
        median: described.median,
        min: described.min,
        max: described.max,
        no_interval: described
            .interval
            .err()
            .filter(|_| interval.is_none())
            .map(|refusal| refusal.to_string()),
        interval,
        is_widened,
        resolution_percent: resolution,
        holders: holders(plan, &arm),
        values: values(plan, pieces, response),
        group: group.clone(),
    })
}

/// The interval, no narrower than what the instrument resolves (practice.md §3.6).
fn widened(
    plain: Result<(f64, f64), Refusal>,
    mean: f64,
    resolution: Option<f64>,
) -> (Option<(f64, f64)>, bool) {
    let floor = resolution.map(|u| (mean - u, mean + u));
    match (plain, floor) {
        (Ok(own), Some(floor)) if floor.1 - floor.0 > own.1 - own.0 => (Some(floor), true),
        (Ok(own), _) => (Some(own), false),
        (Err(Refusal::ZeroSpread), Some(floor)) => (Some(floor), true),
        (Err(_), _) => (None, false),
    }
}

fn holders(plan: &Plan, arm: &Arm) -> Vec<HolderFinding> {
    let one = |(key, values): (&str, Vec<f64>)| HolderFinding {
        key: key.to_owned(),
        name: plan
            .holder(key)
            .map_or_else(|| key.to_owned(), |(_, h)| h.name.clone()),
        n: values.len(),
        mean: values.iter().sum::<f64>() / values.len() as f64,
    };
    arm.by_holder().into_iter().map(one).collect()
}

fn values(plan: &Plan, pieces: &[&Piece], response: &Response) -> Vec<ValueFinding> {
    let mut found: Vec<ValueFinding> = pieces
        .iter()
        .filter_map(|piece| {
            let value = piece.value(response)?;
            Some(ValueFinding {
                specimen: piece.code.clone(),
                holder: piece.holder.clone(),
                value: value.value,
                kind: value.kind,
                is_flagged: false,
            })
        })
        .collect();
    let flagged = outlier::farthest(plan, pieces, response);
    for value in &mut found {
        value.is_flagged = Some(&value.specimen) == flagged.as_ref();
    }
    found
}
