//! Results over the stages: how fast each condition changes, and when a given retention is reached.
//!
//! With three stages or more a straight line is fitted to the values of each condition, the baseline
//! set at day zero. Stages are of different pieces, so the values are independent; several holders
//! enter as their means. Everything here is secondary and carries no verdict word.

use serde::{Deserialize, Serialize};

use crate::analysis::arm::{Arm, Counting, Exposure, Taken};
use crate::analysis::comparison::Unit;
use crate::analysis::family::responses;
use crate::analysis::gather::Dataset;
use crate::analysis::piece::{Group, Piece, by_group};
use crate::stats::dist::beta::f_sf;
use crate::stats::numeric::sum;
use crate::stats::ratio::RatioSet;
use crate::stats::sample::Sample;
use crate::stats::trend::{self, Trend};
use crate::study::plan::{Condition, Plan, Response};

/// Stages from which a rate is given.
pub const FEWEST_STAGES: usize = 3;

/// A time beyond so many times the time observed is called an extrapolation (trade.md §7.8).
pub const FARTHEST: f64 = 1.5;

/// Days of a year, for rates.
pub const YEAR_DAYS: f64 = 365.25;

/// One condition over the stages, for one response.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OverTime {
    /// The response.
    pub response: Response,
    /// Key of the condition.
    pub condition: String,
    /// Its name.
    pub name: String,
    /// Whether it is the storage control.
    pub is_storage_control: bool,
    /// The stages with values, in days.
    pub stages: Vec<u32>,
    /// Whether the baseline set stands at day zero.
    pub has_start: bool,
    /// What the line rests on: pieces, or means of holders.
    pub unit: Unit,
    /// Values that the line was fitted to.
    pub values: usize,
    /// Holders with a value; 0 when pieces have none.
    pub holders: usize,
    /// Confidence of each interval by itself, in %.
    pub confidence_percent: f64,
    /// The line; `None` when there is none.
    pub line: Option<Line>,
    /// Why there is no line.
    pub none: Option<String>,
}

/// A fitted line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// Change in a year, in N, MPa or percentage points, with its interval.
    pub per_year: Bounds,
    /// The same in % of the line's value at day zero, for loads and strengths; `None` when the start
    /// may be zero.
    pub percent_per_year: Option<Bounds>,
    /// Whether the interval of the rate excludes no change.
    pub is_seen: bool,
    /// A loss faster than so many % (for changes: percentage points) a year does not fit; `None` when
    /// a loss was seen, or when every rate that fits is a gain.
    pub loss_ruled_out_per_year: Option<f64>,
    /// The retention whose time is given, in % of the start; loads and strengths only.
    pub retention_percent: Option<f64>,
    /// When it is reached.
    pub time: Option<TimeFinding>,
    /// p of "the stages lie on a straight line"; `None` without several values at some stage.
    pub p_straight: Option<f64>,
}

/// An estimate with its ends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Bounds {
    /// Estimate.
    pub estimate: f64,
    /// Lower end.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
}

/// A time in days; where no loss is seen only how early it can be.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TimeFinding {
    /// Estimate; `None` when no loss is seen.
    pub estimate_days: Option<f64>,
    /// Not before this day.
    pub lower_days: f64,
    /// Not after this day; `None` when no loss is seen.
    pub upper_days: Option<f64>,
    /// Whether it lies beyond [`FARTHEST`] times the time observed.
    pub is_extrapolated: bool,
}

/// Every condition over the stages that are open, for every response with three stages of values.
#[must_use]
pub fn over_time(set: &Dataset<'_>) -> Vec<OverTime> {
    if set.open_stages.len() < FEWEST_STAGES {
        return Vec::new();
    }
    let groups = by_group(&set.pieces);
    let arm = |group: &Group, response: &Response| {
        let pieces: &[&Piece] = groups.get(group).map_or(&[], Vec::as_slice);
        Arm::of(
            pieces,
            Taken {
                response,
                counting: Counting::LostExcluded,
                exposure: Exposure::Kept,
                covariate: None,
            },
        )
    };
    let mut found = Vec::new();
    for response in responses(set.plan, &set.pieces) {
        let start = (set.is_baseline_open && response.needs_breaking())
            .then(|| arm(&Group::Baseline, &response).values())
            .filter(|values| !values.is_empty());
        for condition in &set.plan.conditions {
            let stages: Vec<(u32, Arm)> = set
                .open_stages
                .iter()
                .map(|days| (*days, arm(&Group::cell(&condition.key, *days), &response)))
                .filter(|(_, arm)| arm.pieces() > 0)
                .collect();
            if stages.len() >= FEWEST_STAGES {
                found.push(one(
                    set.plan,
                    &response,
                    condition,
                    &stages,
                    start.as_deref(),
                ));
            }
        }
    }
    found
}

fn one(
    plan: &Plan,
    response: &Response,
    condition: &Condition,
    stages: &[(u32, Arm)],
    start: Option<&[f64]>,
) -> OverTime {
    let rests_on_holders = stages.iter().all(|(_, arm)| arm.rests_on_holders());
    let (mut times, mut values) = (Vec::new(), Vec::new());
    for value in at_start(start, rests_on_holders) {
        times.push(0.0);
        values.push(value);
    }
    for (days, arm) in stages {
        let own = if rests_on_holders {
            arm.holder_means()
        } else {
            arm.values()
        };
        times.extend(std::iter::repeat_n(f64::from(*days), own.len()));
        values.extend(own);
    }
    let fitted = trend::fit(&times, &values, plan.confidence_percent / 100.0);
    let holders = stages.iter().map(|(_, arm)| arm.by_holder().len()).max();
    let line = fitted.as_ref().ok().map(|fitted| {
        let last = stages.last().map_or(0, |(days, _)| *days);
        line(plan, response, fitted, (&times, &values), last)
    });
    OverTime {
        response: response.clone(),
        condition: condition.key.clone(),
        name: condition.name.clone(),
        is_storage_control: condition.is_storage_control,
        stages: stages.iter().map(|(days, _)| *days).collect(),
        has_start: start.is_some(),
        unit: if rests_on_holders {
            Unit::Holders
        } else {
            Unit::Pieces
        },
        values: values.len(),
        holders: holders.unwrap_or(0),
        confidence_percent: plan.confidence_percent,
        line,
        none: fitted.err().map(|refusal| refusal.to_string()),
    }
}

/// The baseline's values; beside holder means, their one mean: single pieces would outweigh holders.
fn at_start(start: Option<&[f64]>, rests_on_holders: bool) -> Vec<f64> {
    match start {
        None => Vec::new(),
        Some(values) if rests_on_holders => {
            vec![values.iter().sum::<f64>() / values.len() as f64]
        }
        Some(values) => values.to_vec(),
    }
}

fn line(
    plan: &Plan,
    response: &Response,
    fitted: &Trend,
    data: (&[f64], &[f64]),
    last_days: u32,
) -> Line {
    let per_year = Bounds {
        estimate: fitted.slope.estimate * YEAR_DAYS,
        lower: fitted.slope.interval.lower * YEAR_DAYS,
        upper: fitted.slope.interval.upper * YEAR_DAYS,
    };
    let is_load = response.needs_breaking();
    let percent_per_year = is_load.then(|| relative(fitted)).flatten();
    let told = percent_per_year.unwrap_or(per_year);
    let is_relative_or_change = percent_per_year.is_some() || !is_load;
    let is_seen = told.lower > 0.0 || told.upper < 0.0;
    let ruled_out = is_relative_or_change && !is_seen && told.lower < 0.0;
    let retention = percent_per_year.map(|_| {
        let left = 100.0 - plan.margin_percent;
        plan.retention_percent.unwrap_or(left)
    });
    Line {
        per_year,
        percent_per_year,
        is_seen,
        loss_ruled_out_per_year: ruled_out.then_some(-told.lower),
        retention_percent: retention,
        time: retention.and_then(|percent| time(fitted, percent, last_days)),
        p_straight: straight(data.0, data.1, fitted),
    }
}

fn relative(fitted: &Trend) -> Option<Bounds> {
    let rate = fitted.relative_rate().ok()?;
    let ends = rate.set.bounded()?;
    let percent = |rate: f64| rate * YEAR_DAYS * 100.0;
    Some(Bounds {
        estimate: percent(rate.estimate),
        lower: percent(ends.lower),
        upper: percent(ends.upper),
    })
}

/// When the line comes to a share of its start; `None` when every rate that fits is a gain.
fn time(fitted: &Trend, retention_percent: f64, last_days: u32) -> Option<TimeFinding> {
    let found = fitted.time_to_share(retention_percent / 100.0).ok()?;
    let far = f64::from(last_days) * FARTHEST;
    match found.set {
        RatioSet::Bounded(ends) if ends.lower > 0.0 => Some(TimeFinding {
            estimate_days: Some(found.estimate),
            lower_days: ends.lower,
            upper_days: Some(ends.upper),
            is_extrapolated: found.estimate > far,
        }),
        RatioSet::Outside { at_least, .. } if at_least > 0.0 => Some(TimeFinding {
            estimate_days: None,
            lower_days: at_least,
            upper_days: None,
            is_extrapolated: at_least > far,
        }),
        _ => None,
    }
}

/// p of the lack of fit of a straight line against a mean for each time.
///
/// # Formula
/// ```text
/// F = [(RSS_line − SS_within)/(k − 2)] / [SS_within/(N − k)],  k times
/// ```
/// # Source
/// Draper & Smith, Applied Regression Analysis (1998), 2.1.
fn straight(times: &[f64], values: &[f64], fitted: &Trend) -> Option<f64> {
    let mut distinct: Vec<f64> = times.to_vec();
    distinct.sort_by(f64::total_cmp);
    distinct.dedup();
    let (n, k) = (times.len() as f64, distinct.len() as f64);
    let within: Option<Vec<f64>> = distinct
        .iter()
        .map(|time| {
            let here = times.iter().zip(values).filter(|(t, _)| *t == time);
            let here: Vec<f64> = here.map(|(_, value)| *value).collect();
            Sample::new(&here).ok().map(|own| own.sum_of_squares())
        })
        .collect();
    let within = sum::sum(within?).value();
    if k < 3.0 || n <= k || within <= 0.0 {
        return None;
    }
    let lack = (fitted.fit.residual_ss - within).max(0.0);
    Some(f_sf(lack / (k - 2.0) / (within / (n - k)), k - 2.0, n - k))
}
