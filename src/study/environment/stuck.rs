//! A sensor that has stuck repeats one value for longer than weather does. That is a warning for whoever
//! looks at the series; no value is left out for it, since a cellar can be that steady.

use chrono::{DateTime, TimeDelta, Utc};

use super::{Measurand, Values};

/// Fewest equal readings in a row (common practice, no source).
const FEWEST: usize = 12;

/// The same value again and again, for longer than is believable.
#[derive(Debug, Clone, PartialEq)]
pub struct Stuck {
    /// Of what.
    pub measurand: Measurand,
    /// The value, in the measurand's unit.
    pub value: f64,
    /// How many readings in a row show it.
    pub readings: usize,
    /// The first of them.
    pub from: DateTime<Utc>,
    /// The last of them.
    pub until: DateTime<Utc>,
}

/// How long a value may repeat itself exactly, in hours, until the sensor is doubted; `None` for a value
/// that may stay for ever: no rain, no sun, air that is saturated (common practice, no source).
fn longest_h(measurand: Measurand, value: f64) -> Option<i64> {
    match measurand {
        Measurand::Temperature => Some(24),
        Measurand::Humidity => (value < 99.0).then_some(24),
        Measurand::Rain | Measurand::Irradiance | Measurand::RadiantExposure => {
            (value > 0.0).then_some(6)
        }
        // One value a day: twelve equal days in a row.
        Measurand::LowTemperature | Measurand::HighTemperature => Some(24),
    }
}

/// Every run of equal readings that is doubtful, by measurand and time.
///
/// # Rule
/// Twelve readings or more in a row that are equal to the last digit, over 24 hours or more
/// (temperature, and humidity below saturation) or six (rain, irradiance and radiant exposure above
/// zero). A gap, or a reading without a value, ends a run. Common practice, no source.
#[must_use]
pub fn stuck(values: &Values) -> Vec<Stuck> {
    let most = TimeDelta::seconds(i64::from(values.step_s()) * 3 / 2);
    let columns = values.measurands.iter().enumerate();
    columns
        .flat_map(|(n, measurand)| runs(values, (n, *measurand), most))
        .filter(is_doubtful)
        .collect()
}

fn is_doubtful(run: &Stuck) -> bool {
    let longest = longest_h(run.measurand, run.value);
    run.readings >= FEWEST
        && longest.is_some_and(|hours| run.until - run.from >= TimeDelta::hours(hours))
}

/// The runs of equal readings of one column.
fn runs(values: &Values, (n, measurand): (usize, Measurand), most: TimeDelta) -> Vec<Stuck> {
    let mut found: Vec<Stuck> = Vec::new();
    let mut is_open = false;
    for row in &values.rows {
        let Some(value) = row.values.get(n).copied().flatten() else {
            is_open = false;
            continue;
        };
        let last = found.last_mut().filter(|_| is_open);
        match last {
            Some(run) if run.value.to_bits() == value.to_bits() && row.at - run.until <= most => {
                run.readings += 1;
                run.until = row.at;
            }
            _ => found.push(Stuck {
                measurand,
                value,
                readings: 1,
                from: row.at,
                until: row.at,
            }),
        }
        is_open = true;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::environment::Row;

    /// Hourly values of one measurand from the first of March on.
    fn hourly(measurand: Measurand, cells: impl IntoIterator<Item = Option<f64>>) -> Values {
        let start: DateTime<Utc> = "2026-03-01T00:00:00Z".parse().unwrap();
        let rows = cells.into_iter().zip(0..).map(|(value, hour)| Row {
            at: start + TimeDelta::hours(hour),
            values: vec![value],
        });
        Values {
            measurands: vec![measurand],
            rows: rows.collect(),
        }
    }

    fn repeated(measurand: Measurand, value: f64, times: usize) -> usize {
        let around = [Some(value + 1.0), Some(value + 2.0)];
        let same = std::iter::repeat_n(Some(value), times);
        let cells = around.into_iter().chain(same).chain(around);
        stuck(&hourly(measurand, cells)).len()
    }

    #[test]
    fn a_day_of_one_temperature_is_doubted_and_an_hour_less_is_not() {
        // 25 readings an hour apart span 24 hours.
        assert_eq!(repeated(Measurand::Temperature, 21.5, 25), 1);
        assert_eq!(repeated(Measurand::Temperature, 21.5, 24), 0);
        assert_eq!(repeated(Measurand::Humidity, 61.0, 25), 1);
        assert_eq!(repeated(Measurand::Irradiance, 412.0, 12), 1);
        assert_eq!(
            repeated(Measurand::Irradiance, 412.0, 11),
            0,
            "too few readings"
        );
    }

    #[test]
    fn nights_dry_weeks_and_fog_are_no_fault() {
        assert_eq!(repeated(Measurand::Irradiance, 0.0, 200), 0);
        assert_eq!(repeated(Measurand::Rain, 0.0, 200), 0);
        assert_eq!(repeated(Measurand::Humidity, 100.0, 200), 0);
    }

    #[test]
    fn a_gap_and_a_missing_value_end_a_run() {
        let mut cells = vec![Some(20.0); 40];
        cells[20] = None;
        assert!(stuck(&hourly(Measurand::Temperature, cells.clone())).is_empty());
        cells[20] = Some(20.0);
        let mut values = hourly(Measurand::Temperature, cells);
        assert_eq!(stuck(&values).len(), 1);
        let found = stuck(&values).remove(0);
        assert_eq!((found.readings, found.value), (40, 20.0));
        assert_eq!(found.until - found.from, TimeDelta::hours(39));
        values.rows.remove(20);
        assert!(
            stuck(&values).is_empty(),
            "an hour is missing in the middle"
        );
        values.measurands = vec![Measurand::Humidity];
        assert!(stuck(&values).is_empty());
    }
}
