//! A weather archive's answer: JSON with hourly and daily parts, each an array of times and an array
//! of values for each variable, the units beside them.
//!
//! Such as `{"utc_offset_seconds": 3600, "hourly_units": {"temperature": "°C"}, "hourly": {"time":
//! ["2026-01-01T00:00"], "temperature": [1.5]}}`. What an archive leaves out is `null`.

use std::fmt;

use chrono::{DateTime, FixedOffset, Utc};
use serde_json::{Map, Value};

use super::guess::read_as;
use super::stamp::{Clock, DateOrder, Stamp};
use super::{Channel, ReadAs, Row, Values, table};

/// Why an answer cannot be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum AnswerFault {
    /// It is no JSON object.
    NoJson,
    /// The archive says itself that something was wrong, in its words, cut short.
    Said(String),
    /// It has neither an hourly nor a daily part.
    NoPart,
    /// A part has no array of times.
    NoTimes(&'static str),
    /// A time cannot be read.
    BadTime(String),
    /// A variable has another number of values than there are times.
    Uneven(String),
    /// A value is no number.
    NoNumber(String),
    /// No variable is one that is kept.
    Nothing,
    /// More rows than a series may have.
    TooMany,
}

impl fmt::Display for AnswerFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoJson => f.write_str("The archive's answer is no JSON object."),
            Self::Said(words) => write!(f, "The archive refuses: “{words}”."),
            Self::NoPart => {
                f.write_str("The archive's answer has neither an hourly nor a daily part.")
            }
            Self::NoTimes(part) => write!(f, "The {part} part of the answer has no array of times."),
            Self::BadTime(text) => write!(f, "The answer holds a time that cannot be read: “{text}”."),
            Self::Uneven(name) => write!(
                f,
                "In the answer, “{name}” has another number of values than there are times."
            ),
            Self::NoNumber(name) => write!(f, "In the answer, “{name}” holds something else than numbers."),
            Self::Nothing => f.write_str(
                "The answer holds no temperature, humidity, rain or radiation in a unit that is known.",
            ),
            Self::TooMany => write!(f, "The answer has more than {} rows.", table::MOST_ROWS),
        }
    }
}

/// One part of an answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// `hourly` or `daily`.
    pub name: &'static str,
    /// Its values.
    pub values: Values,
    /// Its variables.
    pub channels: Vec<Channel>,
}

/// Reads an answer.
///
/// # Errors
/// [`AnswerFault`].
pub fn read(bytes: &[u8]) -> Result<Vec<Part>, AnswerFault> {
    let answer: Value = serde_json::from_slice(bytes).map_err(|_| AnswerFault::NoJson)?;
    let answer = answer.as_object().ok_or(AnswerFault::NoJson)?;
    if answer
        .get("error")
        .is_some_and(|error| *error != Value::Bool(false))
    {
        let words = ["reason", "message", "error"];
        let words = words.iter().find_map(|name| answer.get(*name)?.as_str());
        return Err(AnswerFault::Said(shortened(
            words.unwrap_or("without a word why"),
        )));
    }
    let offset = answer.get("utc_offset_seconds").and_then(Value::as_i64);
    let offset = i32::try_from(offset.unwrap_or(0)).ok();
    let offset = offset.and_then(FixedOffset::east_opt);
    let offset = offset.ok_or_else(|| AnswerFault::BadTime("utc_offset_seconds".to_owned()))?;
    let mut parts = Vec::new();
    let mut has_part = false;
    for name in ["hourly", "daily"] {
        if let Some(part) = answer.get(name).and_then(Value::as_object) {
            has_part = true;
            let units = answer.get(&format!("{name}_units"));
            let units = units.and_then(Value::as_object);
            parts.extend(one(name, part, units, offset)?);
        }
    }
    match (has_part, parts.is_empty()) {
        (false, _) => Err(AnswerFault::NoPart),
        (true, true) => Err(AnswerFault::Nothing),
        (true, false) => Ok(parts),
    }
}

fn one(
    name: &'static str,
    part: &Map<String, Value>,
    units: Option<&Map<String, Value>>,
    offset: FixedOffset,
) -> Result<Option<Part>, AnswerFault> {
    let times = part.get("time").and_then(Value::as_array);
    let times = times.ok_or(AnswerFault::NoTimes(name))?;
    if times.len() > table::MOST_ROWS {
        return Err(AnswerFault::TooMany);
    }
    let moments: Result<Vec<DateTime<Utc>>, AnswerFault> =
        times.iter().map(|time| moment(time, offset)).collect();
    let moments = moments?;
    let unit = |variable: &str| {
        let unit = units.and_then(|units| units.get(variable));
        unit.and_then(Value::as_str).unwrap_or_default()
    };
    let mut channels: Vec<Channel> = Vec::new();
    let mut columns: Vec<Vec<Option<f64>>> = Vec::new();
    for (variable, values) in part.iter().filter(|(variable, _)| *variable != "time") {
        let read_as = held(variable, unit(variable));
        let is_taken = channels
            .iter()
            .any(|channel| channel.read_as.measurand() == read_as.measurand());
        if read_as == ReadAs::Unused || is_taken {
            continue;
        }
        columns.push(column(variable, values, read_as, moments.len())?);
        channels.push(Channel {
            column: shortened(variable),
            read_as,
        });
    }
    if channels.is_empty() || moments.is_empty() {
        return Ok(None);
    }
    let mut rows: Vec<Row> = moments
        .into_iter()
        .enumerate()
        .map(|(at, moment)| Row {
            at: moment,
            values: columns
                .iter()
                .map(|column| column.get(at).copied().flatten())
                .collect(),
        })
        .collect();
    rows.sort_by_key(|row| row.at);
    rows.dedup_by_key(|row| row.at);
    let measurands = channels.iter().filter_map(|c| c.read_as.measurand());
    Ok(Some(Part {
        name,
        values: Values {
            measurands: measurands.collect(),
            rows,
        },
        channels,
    }))
}

/// What a variable holds, by its name and its unit; a unit that does not fit is not kept.
fn held(variable: &str, unit: &str) -> ReadAs {
    if variable.contains("apparent") {
        return ReadAs::Unused;
    }
    let read_as = read_as(&format!("{variable} ({unit})"));
    let fits = match read_as {
        ReadAs::Celsius | ReadAs::LowCelsius | ReadAs::HighCelsius => unit == "°C",
        ReadAs::Fahrenheit | ReadAs::LowFahrenheit | ReadAs::HighFahrenheit => unit == "°F",
        ReadAs::Percent => unit == "%",
        ReadAs::RainMillimetre => unit == "mm",
        ReadAs::RainInch => unit == "inch" || unit == "in",
        ReadAs::WattPerSquareMetre => matches!(unit, "W/m²" | "W/m2" | "W m-2"),
        ReadAs::MegajoulePerSquareMetre => matches!(unit, "MJ/m²" | "MJ/m2" | "MJ m-2"),
        ReadAs::KilowattHourPerSquareMetre => matches!(unit, "kWh/m²" | "kWh/m2"),
        ReadAs::Kelvin | ReadAs::Unused => false,
    };
    if fits { read_as } else { ReadAs::Unused }
}

fn moment(time: &Value, offset: FixedOffset) -> Result<DateTime<Utc>, AnswerFault> {
    let bad = || AnswerFault::BadTime(shortened(&time.to_string()));
    if let Some(seconds) = time.as_i64() {
        return DateTime::from_timestamp(seconds, 0).ok_or_else(bad);
    }
    let stamp: Stamp = time
        .as_str()
        .and_then(|text| DateOrder::YearMonthDay.read(text))
        .ok_or_else(bad)?;
    Clock::Fixed(offset).moment(stamp, None).ok_or_else(bad)
}

fn column(
    variable: &str,
    values: &Value,
    read_as: ReadAs,
    count: usize,
) -> Result<Vec<Option<f64>>, AnswerFault> {
    let name = || shortened(variable);
    let values = values
        .as_array()
        .ok_or_else(|| AnswerFault::NoNumber(name()))?;
    if values.len() != count {
        return Err(AnswerFault::Uneven(name()));
    }
    let measurand = read_as.measurand();
    let value = |value: &Value| match value {
        Value::Null => Ok(None),
        value => {
            let number = value
                .as_f64()
                .ok_or_else(|| AnswerFault::NoNumber(name()))?;
            let kept = read_as.to_kept(number);
            let is_possible = measurand.is_some_and(|m| m.possible().contains(&kept));
            Ok(is_possible.then_some(kept))
        }
    };
    values.iter().map(value).collect()
}

fn shortened(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(120).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::environment::Measurand;

    /// An invented answer in the form that open archives document.
    const ANSWER: &str = r#"{"latitude": 59.9, "longitude": 10.7, "utc_offset_seconds": 3600,
        "timezone": "Europe/Oslo", "hourly_units": {"time": "iso8601", "temperature_2m": "°C",
        "precipitation": "mm", "shortwave_radiation": "W/m²", "apparent_temperature": "°C"},
        "hourly": {"time": ["2026-01-01T00:00", "2026-01-01T01:00"], "apparent_temperature": [-9, -9],
        "temperature_2m": [-1.5, null], "precipitation": [0.2, 0], "shortwave_radiation": [0, 0]},
        "daily_units": {"time": "iso8601", "temperature_2m_max": "°F", "temperature_2m_min": "°F"},
        "daily": {"time": ["2026-01-01"], "temperature_2m_max": [50], "temperature_2m_min": [14]}}"#;

    #[test]
    fn an_answer_becomes_its_hourly_and_its_daily_series() {
        let parts = read(ANSWER.as_bytes()).unwrap();
        let [hourly, daily] = &parts[..] else {
            panic!("two parts");
        };
        let held = |part: &Part, measurand| {
            let at = part
                .values
                .measurands
                .iter()
                .position(|m| *m == measurand)
                .unwrap();
            part.values
                .rows
                .iter()
                .map(|row| row.values[at])
                .collect::<Vec<_>>()
        };
        assert_eq!(held(hourly, Measurand::Temperature), [Some(-1.5), None]);
        assert_eq!(
            hourly.values.rows[0].at.to_rfc3339(),
            "2025-12-31T23:00:00+00:00"
        );
        assert_eq!(held(daily, Measurand::HighTemperature), [Some(10.0)]);
        assert_eq!(held(daily, Measurand::LowTemperature), [Some(-10.0)]);
    }

    #[test]
    fn nonsense_is_named() {
        let fault = |text: &str| read(text.as_bytes()).unwrap_err();
        assert_eq!(fault("<html>"), AnswerFault::NoJson);
        assert_eq!(fault("[]"), AnswerFault::NoJson);
        assert_eq!(fault("{}"), AnswerFault::NoPart);
        let said = fault(r#"{"error": true, "reason": "Daily limit exceeded"}"#);
        assert_eq!(said, AnswerFault::Said("Daily limit exceeded".to_owned()));
        assert_eq!(fault(r#"{"hourly": {}}"#), AnswerFault::NoTimes("hourly"));
        let hourly = |body: &str| {
            fault(&format!(
                r#"{{"hourly_units": {{"temperature_2m": "°C"}}, "hourly": {{{body}}}}}"#
            ))
        };
        let bad = hourly(r#""time": ["soon"], "temperature_2m": [1]"#);
        assert!(matches!(bad, AnswerFault::BadTime(_)));
        let uneven = hourly(r#""time": ["2026-01-01T00:00"], "temperature_2m": [1, 2]"#);
        assert_eq!(uneven, AnswerFault::Uneven("temperature_2m".to_owned()));
        let words = hourly(r#""time": ["2026-01-01T00:00"], "temperature_2m": ["cold"]"#);
        assert_eq!(words, AnswerFault::NoNumber("temperature_2m".to_owned()));
        let none = hourly(r#""time": ["2026-01-01T00:00"], "wind_speed": [3]"#);
        assert_eq!(none, AnswerFault::Nothing);
    }
}
