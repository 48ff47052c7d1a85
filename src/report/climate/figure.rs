//! A place's figure along the time axis.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;

use super::{PlaceFigure, STROKES};
use crate::analysis::climate::Timeline;
use crate::analysis::digits::fixed;
use crate::analysis::names;
use crate::report::chart::course::Course;
use crate::report::chart::ticks::Tick;
use crate::report::format::day;
use crate::study::environment::Measurand;
use crate::study::record::StudyRecord;
use crate::study::when;

/// What a figure shows.
pub(super) struct Shown<'l> {
    measurand: Measurand,
    low: &'l Timeline,
    high: &'l Timeline,
}

impl<'l> Shown<'l> {
    pub(super) fn of(lines: &'l BTreeMap<Measurand, Timeline>) -> Option<Self> {
        if let Some(line) = lines.get(&Measurand::Temperature) {
            return Some(Self {
                measurand: Measurand::Temperature,
                low: line,
                high: line,
            });
        }
        let low = lines.get(&Measurand::LowTemperature);
        if let Some((low, high)) = low.zip(lines.get(&Measurand::HighTemperature)) {
            return Some(Self {
                measurand: Measurand::Temperature,
                low,
                high,
            });
        }
        let (measurand, line) = lines.iter().next()?;
        Some(Self {
            measurand: *measurand,
            low: line,
            high: line,
        })
    }

    /// From the first outing (or the first value) to the last value.
    pub(super) fn figure(
        &self,
        record: &StudyRecord,
        (name, number): (&str, usize),
        (from, now): (Option<DateTime<Utc>>, DateTime<Utc>),
    ) -> Option<PlaceFigure> {
        let first = self.low.samples.first()?.from;
        let last = self.low.samples.last()?.until;
        let from = from.unwrap_or(first).min(last);
        let until = last.min(now).max(from + TimeDelta::days(1));
        let whole = (until - from).num_days() + 1;
        let width = (whole + STROKES - 1) / STROKES;
        let zone = when::zone(&record.time_zone);
        let begin = from.with_timezone(&zone).date_naive();
        let bins = self.bins((from, until), begin, width, zone);
        let middle = |at: i64| (at * width) as f64 + width as f64 / 2.0;
        let strokes: Vec<(f64, f64, f64)> = bins
            .iter()
            .map(|(at, (low, high))| (middle(*at), *low, *high))
            .collect();
        // As far as the plan's last stage, like the course of the results, so that both stand below each other.
        let stages = stages(record);
        let end = stages.iter().copied().fold(whole as f64, f64::max);
        let gaps = gaps(
            &bins,
            (0, (whole - 1).div_euclid(width)),
            width,
            whole as f64,
        );
        let (lowest, highest) = ends(&strokes);
        let zone_name = &record.time_zone;
        let (what, unit) = (self.measurand.label(), self.measurand.unit());
        let period = format!("{} to {}", day(from, zone_name), day(until, zone_name));
        let missing = missing(&gaps);
        let chart = Course {
            id: format!("climate-{number}"),
            title: format!("{}: {what}", names::capital(name)),
            description: format!(
                "{period}: {what} from {} to {} {unit}. {missing}.",
                fixed(lowest, 1),
                fixed(highest, 1)
            ),
            y_name: format!("{what}, {unit}"),
            x_ends: (0.0, end),
            x_ticks: months(begin, end as i64),
            uprights: stages,
            strokes,
            gaps,
            level: (lowest < 0.0 && highest > 0.0 && unit == "°C").then_some(0.0),
            ..Course::default()
        };
        Some(PlaceFigure {
            title: names::capital(name),
            caption: caption(&period, width, &missing),
            chart: chart.chart()?,
        })
    }

    /// The lowest and the highest value of each bin of so many days.
    fn bins(
        &self,
        (from, until): (DateTime<Utc>, DateTime<Utc>),
        begin: NaiveDate,
        width: i64,
        zone: Tz,
    ) -> BTreeMap<i64, (f64, f64)> {
        let mut bins: BTreeMap<i64, (f64, f64)> = BTreeMap::new();
        for line in [self.low, self.high] {
            for sample in line.within(from, until) {
                let day = sample.from.with_timezone(&zone).date_naive();
                let held = bins.entry((day - begin).num_days().div_euclid(width));
                let held = held.or_insert((f64::INFINITY, f64::NEG_INFINITY));
                *held = (held.0.min(sample.value), held.1.max(sample.value));
            }
        }
        bins
    }
}

fn missing(gaps: &[(f64, f64)]) -> String {
    match gaps.len() {
        0 => "Nothing is missing".to_owned(),
        n => format!("Grey: {} without a value", names::counted(n, "stretch")),
    }
}

fn caption(period: &str, width: i64, missing: &str) -> String {
    let each = match width {
        1 => "a day".to_owned(),
        days => format!("{days} days"),
    };
    format!(
        "{period}. Each stroke goes from the lowest to the highest value of {each}. Dashed upright: the stages \
         of the plan. {missing}."
    )
}

/// The plan's stages, in days since the first outing.
fn stages(record: &StudyRecord) -> Vec<f64> {
    let plan = record.plan().map(|version| &version.plan);
    let stages = plan.map(|plan| plan.stages.iter().map(|stage| f64::from(stage.days)));
    stages.map(Iterator::collect).unwrap_or_default()
}

/// The lowest and the highest value.
fn ends(strokes: &[(f64, f64, f64)]) -> (f64, f64) {
    let start = (f64::INFINITY, f64::NEG_INFINITY);
    let widen = |(low, high): (f64, f64), s: &(f64, f64, f64)| (low.min(s.1), high.max(s.2));
    strokes.iter().fold(start, widen)
}

/// Bins without a value, put together where they touch.
fn gaps(
    bins: &BTreeMap<i64, (f64, f64)>,
    (first, last): (i64, i64),
    width: i64,
    end: f64,
) -> Vec<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = Vec::new();
    for at in (first..=last).filter(|at| !bins.contains_key(at)) {
        let (from, to) = ((at * width) as f64, (((at + 1) * width) as f64).min(end));
        match found.last_mut() {
            Some(last) if last.1 >= from => last.1 = to,
            _ => found.push((from, to)),
        }
    }
    found
}

/// Firsts of months along the axis, at most six; the first day alone where there is none.
fn months(begin: NaiveDate, days: i64) -> Vec<Tick> {
    use chrono::Datelike;
    let all = (0..days).filter_map(|n| {
        let day = begin.checked_add_signed(TimeDelta::days(n))?;
        (day.day() == 1).then_some((n, day))
    });
    let all: Vec<(i64, NaiveDate)> = all.collect();
    let every = all.len().div_ceil(6).max(1);
    let mut ticks: Vec<Tick> = all
        .into_iter()
        .step_by(every)
        .map(|(n, day)| Tick {
            value: n as f64,
            text: day
                .format(if day.month() == 1 { "%b %Y" } else { "%b" })
                .to_string(),
        })
        .collect();
    if ticks.is_empty() {
        ticks.push(Tick {
            value: days as f64 / 2.0,
            text: begin.format("%B %Y").to_string(),
        });
    }
    ticks
}
