//! One measurand at one place: which value held from when until when.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use crate::study::environment::{Measurand, Values};
use crate::study::record::SeriesRecord;

const DAY_S: u32 = 86_400;

/// A value and the time it stands for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// From.
    pub from: DateTime<Utc>,
    /// Until.
    pub until: DateTime<Utc>,
    /// The value; of a sum, the part that falls into this time.
    pub value: f64,
}

impl Sample {
    /// How long it holds, in seconds.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        (self.until - self.from).num_milliseconds() as f64 / 1000.0
    }
}

/// Samples in the order of time; none reaches into the next.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Timeline {
    /// The samples.
    pub samples: Vec<Sample>,
    /// Whether the values are sums over their time.
    pub is_sum: bool,
}

impl Timeline {
    /// What falls between two moments; of a sum that reaches over the edge, its share.
    #[must_use]
    pub fn within(&self, from: DateTime<Utc>, until: DateTime<Utc>) -> Vec<Sample> {
        let inside = self
            .samples
            .iter()
            .filter(|sample| sample.until > from && sample.from < until);
        let cut = inside.map(|sample| {
            let (a, b) = (sample.from.max(from), sample.until.min(until));
            let part = Sample {
                from: a,
                until: b,
                ..*sample
            };
            let value = if self.is_sum {
                sample.value * part.seconds() / sample.seconds()
            } else {
                sample.value
            };
            Sample { value, ..part }
        });
        cut.filter(|sample| sample.from < sample.until).collect()
    }
}

/// The line of a measurand from all series of a place. Series taken more often than daily go before
/// daily ones, which would count the same rain twice; where two overlap, the one added later holds.
pub(super) fn merged(measurand: Measurand, series: &[(&SeriesRecord, &Values)]) -> Timeline {
    let fine = series.iter().filter(|(one, _)| one.series.step_s < DAY_S);
    let holds = |(_, values): &&(&SeriesRecord, &Values)| values.measurands.contains(&measurand);
    let fine: Vec<_> = fine.filter(holds).collect();
    let chosen = if fine.is_empty() {
        series.iter().filter(holds).collect()
    } else {
        fine
    };
    let mut by_moment: BTreeMap<DateTime<Utc>, (f64, u32)> = BTreeMap::new();
    for (one, values) in chosen {
        let column = values.measurands.iter().position(|m| *m == measurand);
        let column = column.unwrap_or(usize::MAX);
        for row in &values.rows {
            if let Some(value) = row.values.get(column).copied().flatten() {
                by_moment.insert(row.at, (value, one.series.step_s));
            }
        }
    }
    Timeline {
        samples: laid_out(measurand, by_moment),
        is_sum: matches!(measurand, Measurand::Rain | Measurand::RadiantExposure),
    }
}

/// Gives each value its time: one step after its moment, or before it, never into a neighbour's.
fn laid_out(measurand: Measurand, values: BTreeMap<DateTime<Utc>, (f64, u32)>) -> Vec<Sample> {
    let mut samples: Vec<Sample> = Vec::with_capacity(values.len());
    for (at, (value, step_s)) in values {
        let step = TimeDelta::seconds(i64::from(step_s));
        let is_before = measurand.is_of_the_time_before() && step_s < DAY_S;
        let (mut from, until) = if is_before {
            (at - step, at)
        } else {
            (at, at + step)
        };
        if let Some(last) = samples.last_mut() {
            if is_before {
                from = from.max(last.until);
            } else {
                last.until = last.until.min(from);
            }
        }
        samples.push(Sample { from, until, value });
    }
    samples.retain(|sample| sample.from < sample.until);
    samples
}
