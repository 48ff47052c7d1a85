//! No entry may name a day far outside of anybody's life: such days cannot be counted with, and a study with one of
//! them could not be read any more.

use std::ops::RangeInclusive;

use chrono::{DateTime, Datelike, NaiveDate, Utc};
use serde_json::Value;

use super::Refusal;
use crate::study::entry::Envelope;

/// The years that forms take and entries may name.
pub const YEARS: RangeInclusive<i32> = 1900..=2200;

/// Holds the envelope's moment and every day and moment of its body to [`YEARS`]. The body is looked at as the journal
/// keeps it, so that no member of a new kind can be forgotten.
///
/// # Errors
/// [`Refusal::NoSuchDay`] with the first one outside.
pub fn check(envelope: &Envelope) -> Result<(), Refusal> {
    if !YEARS.contains(&envelope.taken_at.year()) {
        return Err(Refusal::NoSuchDay(envelope.taken_at.to_rfc3339()));
    }
    // What cannot be written as JSON cannot be written to the journal either, and is refused there.
    let body = serde_json::to_value(&envelope.entry).unwrap_or_default();
    outside(&body).map_or(Ok(()), |day| Err(Refusal::NoSuchDay(day.to_owned())))
}

/// The first day or moment in `body` that lies outside.
fn outside(body: &Value) -> Option<&str> {
    match body {
        Value::String(text) => Some(text.as_str()).filter(|text| is_outside(text)),
        Value::Array(all) => all.iter().find_map(outside),
        Value::Object(members) => members.values().find_map(outside),
        Value::Null | Value::Bool(_) | Value::Number(_) => None,
    }
}

fn is_outside(text: &str) -> bool {
    // Longer or shorter than any day or moment that serde writes: most texts are passed over here.
    if !(8..=48).contains(&text.len()) {
        return false;
    }
    let day = text.parse::<NaiveDate>().ok();
    let moment = || Some(text.parse::<DateTime<Utc>>().ok()?.date_naive());
    day.or_else(moment)
        .is_some_and(|day| !YEARS.contains(&day.year()))
}

#[cfg(test)]
mod tests {
    use super::is_outside;

    #[test]
    fn only_days_and_moments_outside_are_found() {
        for text in [
            "+262142-12-31T23:59:59.999Z",
            "-262143-01-01T00:00:00Z",
            "9999-12-31",
            "0000-01-01T00:00:00+02:00",
            "1899-12-31",
            "+262142-12-31",
            "2201-01-01T00:00:00Z",
        ] {
            assert!(is_outside(text), "{text}");
        }
        for text in [
            "1900-01-01",
            "2200-12-31T23:59:59Z",
            "9999",
            "serial 9999-12-31",
            "9999-12-31, or later",
            "a piece of rope",
            "01a2050d-630a-7a66-a533-0415ee229f3b",
        ] {
            assert!(!is_outside(text), "{text}");
        }
    }
}
