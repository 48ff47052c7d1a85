//! Brittle strength on request: Weibull shape and characteristic load of each set, pieces that only
//! carried at least their load counted as censored.

use serde::{Deserialize, Serialize};

use crate::analysis::accounting::order;
use crate::analysis::gather::Dataset;
use crate::analysis::over_time::Bounds;
use crate::analysis::piece::{Group, Piece, ValueKind, by_group};
use crate::stats::weibull::{self, Quantity, Weibull};
use crate::study::plan::{Plan, Response};

/// Share of pieces below the low quantile that is given.
pub const LOW_SHARE: f64 = 0.1;

/// One set's Weibull distribution.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Brittle {
    /// The response.
    pub response: Response,
    /// Which set.
    #[serde(flatten)]
    pub group: Group,
    /// Its name.
    pub name: String,
    /// Whether it is the storage control.
    pub is_storage_control: bool,
    /// Pieces that failed at their value.
    pub failed: usize,
    /// Pieces that carried at least their value.
    pub censored: usize,
    /// Pieces that could carry no load: a Weibull distribution knows no zero.
    pub left_out: usize,
    /// Confidence of the profile intervals, each by itself, in %.
    pub confidence_percent: f64,
    /// Shape (Weibull modulus).
    pub shape: Option<Bounds>,
    /// Scale: the load at which 63.2 % have failed, in N or MPa.
    pub scale: Option<Bounds>,
    /// The load below which [`LOW_SHARE`] of the pieces fail.
    pub low: Option<Bounds>,
    /// Why there is none, or not all.
    pub none: Option<String>,
}

/// Every set of the primary response, when the plan asks for it.
#[must_use]
pub fn brittle(set: &Dataset<'_>) -> Vec<Brittle> {
    let plan = set.plan;
    if !plan.asks_weibull || !plan.primary.needs_breaking() {
        return Vec::new();
    }
    let groups = by_group(&set.pieces);
    let mut keys: Vec<&Group> = groups.keys().copied().collect();
    keys.sort_by_key(|group| order(plan, group));
    let of = |group: &&Group| groups.get(*group).map_or(&[][..], Vec::as_slice);
    keys.iter()
        .map(|group| one(plan, group, of(group)))
        .collect()
}

fn one(plan: &Plan, group: &Group, pieces: &[&Piece]) -> Brittle {
    let values = || pieces.iter().filter_map(|p| p.value(&plan.primary));
    let count = |kind: ValueKind| values().filter(|v| v.kind == kind).count();
    let (loads, failed): (Vec<f64>, Vec<bool>) = values()
        .filter(|v| v.kind != ValueKind::TotalLoss)
        .map(|v| (v.value, v.kind == ValueKind::Valid))
        .unzip();
    let confidence = plan.confidence_percent / 100.0;
    let fitted = weibull::fit(&loads, &failed);
    let mut none = fitted.as_ref().err().map(ToString::to_string);
    let mut bounds = |of: Quantity| match bounds(fitted.as_ref().ok()?, of, confidence) {
        Ok(found) => Some(found),
        Err(why) => {
            none = Some(why);
            None
        }
    };
    let shape = bounds(Quantity::Shape);
    let scale = bounds(Quantity::Scale);
    let low = bounds(Quantity::Quantile(LOW_SHARE));
    Brittle {
        response: plan.primary.clone(),
        group: group.clone(),
        name: group.name(plan),
        is_storage_control: group.is_storage_control(plan),
        failed: count(ValueKind::Valid),
        censored: count(ValueKind::LowerBound),
        left_out: count(ValueKind::TotalLoss),
        confidence_percent: plan.confidence_percent,
        shape,
        scale,
        low,
        none,
    }
}

fn bounds(fitted: &Weibull, of: Quantity, confidence: f64) -> Result<Bounds, String> {
    let estimate = fitted.estimate(of).map_err(|refusal| refusal.to_string())?;
    let ends = fitted.profile(of, confidence);
    let ends = ends.map_err(|refusal| refusal.to_string())?;
    Ok(Bounds {
        estimate: estimate.0,
        lower: ends.lower,
        upper: ends.upper,
    })
}
