//! The figures of a time out: extremes, means, degree-days, freeze–thaw cycles, hours above, mean kinetic
//! temperature, rain, radiant exposure; each with how much of the time is on record.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;

use super::timeline::Sample;
use crate::mechanics::exposure::{
    DayExtremes, FreezeThaw, Stretch, degree_days, mean_kinetic_temperature, radiant_exposure,
};
use crate::study::environment::Measurand;

/// ΔH/R for the mean kinetic temperature, K: 83.144 kJ/mol, the value commonly used.
const KINETIC_K: f64 = 10_000.0;
/// Base of the degree-days, °C.
const BASE_CELSIUS: f64 = 0.0;
const DAY_S: f64 = 86_400.0;
/// A join of samples that is this close is none, in seconds.
const TOUCH_S: f64 = 1.0;

/// What was lived through.
#[derive(Debug, Clone, PartialEq)]
pub struct Dose {
    /// Days out.
    pub days: f64,
    /// Temperature.
    pub temperature: Option<Temperatures>,
    /// Relative humidity, %.
    pub humidity: Option<Spread>,
    /// Rain, mm.
    pub rain: Option<Total>,
    /// Radiant exposure, MJ/m².
    pub radiant: Option<Total>,
    /// Times without a temperature, or without the first thing measured where there is none.
    pub gaps: Vec<(DateTime<Utc>, DateTime<Utc>)>,
}

/// Lowest, mean (over time) and highest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Part of the time that is on record, in %.
    pub completeness_percent: f64,
    /// Lowest.
    pub min: f64,
    /// Mean over the time on record.
    pub mean: f64,
    /// Highest.
    pub max: f64,
}

/// A sum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Total {
    /// Part of the time that is on record, in %.
    pub completeness_percent: f64,
    /// The sum over the time on record.
    pub sum: f64,
}

/// Temperature, °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Temperatures {
    /// Extremes and mean.
    pub spread: Spread,
    /// Degree-days above 0 °C, of daily means.
    pub thawing: f64,
    /// Degree-days below 0 °C, of daily means, positive.
    pub freezing: f64,
    /// Complete freeze–thaw cycles, each within a stretch without a gap; `None` where only the extremes
    /// of days are known.
    pub cycles: Option<usize>,
    /// Days that both froze and thawed.
    pub freeze_thaw_days: usize,
    /// Hours above the temperature asked for; `None` where only the extremes of days are known.
    pub hours_above: Option<f64>,
    /// Mean kinetic temperature, ΔH/R = 10 000 K; of daily means where only the extremes are known.
    pub kinetic: Option<f64>,
}

/// The dose of the windows; `None` when nothing is on record in them.
pub(super) fn of(
    samples: impl Fn(Measurand) -> Vec<Sample>,
    windows: &[(DateTime<Utc>, DateTime<Utc>)],
    zone: Tz,
    above: f64,
) -> Option<Dose> {
    let whole: f64 = windows.iter().map(|(a, b)| seconds(*a, *b)).sum();
    if whole <= 0.0 {
        return None;
    }
    let read = samples(Measurand::Temperature);
    let (low, high) = (
        samples(Measurand::LowTemperature),
        samples(Measurand::HighTemperature),
    );
    let temperature = if read.is_empty() {
        of_extremes(&low, &high, whole)
    } else {
        of_readings(&read, whole, zone, above)
    };
    let humidity = samples(Measurand::Humidity);
    let rain = samples(Measurand::Rain);
    let irradiance = samples(Measurand::Irradiance);
    let radiant = if irradiance.is_empty() {
        total(&samples(Measurand::RadiantExposure), whole)
    } else {
        let readings: Vec<(f64, f64)> = irradiance.iter().map(|s| (s.value, s.seconds())).collect();
        Some(Total {
            completeness_percent: completeness(&irradiance, whole),
            sum: radiant_exposure(&readings) / 1e6,
        })
    };
    let rain_total = total(&rain, whole);
    let humidity_spread = spread(&humidity, whole);
    let first = [&read, &low, &humidity, &rain, &irradiance];
    let first = first.into_iter().find(|samples| !samples.is_empty());
    let is_anything = temperature.is_some()
        || humidity_spread.is_some()
        || rain_total.is_some()
        || radiant.is_some();
    is_anything.then(|| Dose {
        days: whole / DAY_S,
        temperature,
        humidity: humidity_spread,
        rain: rain_total,
        radiant,
        gaps: first
            .map(|samples| gaps(samples, windows))
            .unwrap_or_default(),
    })
}

fn seconds(from: DateTime<Utc>, until: DateTime<Utc>) -> f64 {
    (until - from).num_milliseconds() as f64 / 1000.0
}

fn completeness(samples: &[Sample], whole: f64) -> f64 {
    let held: f64 = samples.iter().map(Sample::seconds).sum();
    (100.0 * held / whole).min(100.0)
}

fn spread(samples: &[Sample], whole: f64) -> Option<Spread> {
    let held: f64 = samples.iter().map(Sample::seconds).sum();
    if held <= 0.0 {
        return None;
    }
    let sum: f64 = samples.iter().map(|s| s.value * s.seconds()).sum();
    let values = samples.iter().map(|s| s.value);
    Some(Spread {
        completeness_percent: completeness(samples, whole),
        min: values.clone().fold(f64::INFINITY, f64::min),
        mean: sum / held,
        max: values.fold(f64::NEG_INFINITY, f64::max),
    })
}

fn total(samples: &[Sample], whole: f64) -> Option<Total> {
    (!samples.is_empty()).then(|| Total {
        completeness_percent: completeness(samples, whole),
        sum: samples.iter().map(|s| s.value).sum(),
    })
}

/// One day of a place, as far as it is on record.
#[derive(Debug, Clone, Copy)]
struct Day {
    seconds: f64,
    sum: f64,
    extremes: DayExtremes,
}

/// The samples by the days of the place's own time; one that reaches over midnight counts for the day
/// in which it begins.
fn by_day(samples: &[Sample], zone: Tz) -> BTreeMap<NaiveDate, Day> {
    let mut days: BTreeMap<NaiveDate, Day> = BTreeMap::new();
    for sample in samples {
        let day = sample.from.with_timezone(&zone).date_naive();
        let day = days.entry(day).or_insert(Day {
            seconds: 0.0,
            sum: 0.0,
            extremes: DayExtremes {
                max: f64::NEG_INFINITY,
                min: f64::INFINITY,
            },
        });
        day.seconds += sample.seconds();
        day.sum += sample.value * sample.seconds();
        day.extremes.max = day.extremes.max.max(sample.value);
        day.extremes.min = day.extremes.min.min(sample.value);
    }
    days
}

fn of_readings(samples: &[Sample], whole: f64, zone: Tz, above: f64) -> Option<Temperatures> {
    let spread = spread(samples, whole)?;
    let days = by_day(samples, zone);
    let (mut thawing, mut freezing) = (0.0, 0.0);
    for day in days.values().filter(|day| day.seconds > 0.0) {
        // A day that is only partly out, or partly on record, counts for that part.
        let part = day.seconds / DAY_S;
        let sum = degree_days(&[day.sum / day.seconds], BASE_CELSIUS);
        thawing += part * sum.thawing;
        freezing += part * sum.freezing;
    }
    let rule = FreezeThaw::default();
    let extremes: Vec<DayExtremes> = days.values().map(|day| day.extremes).collect();
    let hours = samples.iter().filter(|s| s.value > above);
    let stretches: Vec<Stretch> = samples.iter().map(stretch).collect();
    Some(Temperatures {
        spread,
        thawing,
        freezing,
        cycles: Some(stretched(samples).map(|part| rule.cycles(&part)).sum()),
        freeze_thaw_days: rule.days(&extremes),
        hours_above: Some(hours.map(Sample::seconds).sum::<f64>() / 3600.0),
        kinetic: mean_kinetic_temperature(&stretches, KINETIC_K),
    })
}

fn stretch(sample: &Sample) -> Stretch {
    Stretch {
        celsius: sample.value,
        time: sample.seconds(),
    }
}

/// The values of each stretch without a gap: a cycle is never counted across one.
fn stretched(samples: &[Sample]) -> impl Iterator<Item = Vec<f64>> {
    let mut parts: Vec<Vec<f64>> = Vec::new();
    let mut before: Option<DateTime<Utc>> = None;
    for sample in samples {
        let touches = before.is_some_and(|until| seconds(until, sample.from).abs() < TOUCH_S);
        match parts.last_mut().filter(|_| touches) {
            Some(part) => part.push(sample.value),
            None => parts.push(vec![sample.value]),
        }
        before = Some(sample.until);
    }
    parts.into_iter()
}

/// Where only the lowest and the highest temperature of each day are known.
fn of_extremes(low: &[Sample], high: &[Sample], whole: f64) -> Option<Temperatures> {
    let high: BTreeMap<DateTime<Utc>, f64> = high.iter().map(|s| (s.from, s.value)).collect();
    let pairs = low.iter().filter_map(|s| {
        let max = high.get(&s.from)?;
        let extremes = DayExtremes {
            max: *max,
            min: s.value,
        };
        Some((*s, extremes))
    });
    let days: Vec<(Sample, DayExtremes)> = pairs.collect();
    let means: Vec<Sample> = days
        .iter()
        .map(|(sample, extremes)| Sample {
            value: extremes.mean(),
            ..*sample
        })
        .collect();
    let of_means = spread(&means, whole)?;
    let (mut thawing, mut freezing) = (0.0, 0.0);
    for mean in &means {
        let sum = degree_days(&[mean.value], BASE_CELSIUS);
        thawing += sum.thawing * mean.seconds() / DAY_S;
        freezing += sum.freezing * mean.seconds() / DAY_S;
    }
    let extremes: Vec<DayExtremes> = days.iter().map(|(_, extremes)| *extremes).collect();
    let stretches: Vec<Stretch> = means.iter().map(stretch).collect();
    Some(Temperatures {
        spread: Spread {
            min: extremes.iter().map(|e| e.min).fold(f64::INFINITY, f64::min),
            max: extremes
                .iter()
                .map(|e| e.max)
                .fold(f64::NEG_INFINITY, f64::max),
            ..of_means
        },
        thawing,
        freezing,
        cycles: None,
        freeze_thaw_days: FreezeThaw::default().days(&extremes),
        hours_above: None,
        kinetic: mean_kinetic_temperature(&stretches, KINETIC_K),
    })
}

/// What of the windows no sample covers.
fn gaps(
    samples: &[Sample],
    windows: &[(DateTime<Utc>, DateTime<Utc>)],
) -> Vec<(DateTime<Utc>, DateTime<Utc>)> {
    let mut found = Vec::new();
    for (from, until) in windows {
        let mut reached = *from;
        let inside = samples
            .iter()
            .filter(|s| s.until > *from && s.from < *until);
        for sample in inside {
            if seconds(reached, sample.from) >= TOUCH_S {
                found.push((reached, sample.from));
            }
            reached = reached.max(sample.until);
        }
        if seconds(reached, *until) >= TOUCH_S {
            found.push((reached, *until));
        }
    }
    found
}
