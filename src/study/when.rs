//! Moments and days as people type and read them, in the study's own time zone.

use chrono::{DateTime, Datelike, NaiveDate, NaiveDateTime, Utc};
use chrono_tz::Tz;

use super::fault::Fault;
use super::guard::YEARS;

/// The study's time zone; UTC when its name is not known.
#[must_use]
pub fn zone(name: &str) -> Tz {
    name.parse().unwrap_or(Tz::UTC)
}

/// Reads a moment such as `2026-11-25T10:30` (as a browser's field gives it) or a day alone, which
/// counts from noon.
///
/// # Errors
/// A fault that says how a moment is typed.
pub fn moment(
    field: &str,
    called: &str,
    text: &str,
    zone_name: &str,
) -> Result<DateTime<Utc>, Fault> {
    let wrong = || {
        let sentence = format!(
            "{called} must be a day such as 2026-04-30, or with the time, \
            such as 2026-04-30T14:05."
        );
        Fault::new(field, sentence)
    };
    let text = text.trim().replace(' ', "T");
    let local = NaiveDateTime::parse_from_str(&text, "%Y-%m-%dT%H:%M")
        .or_else(|_| NaiveDateTime::parse_from_str(&text, "%Y-%m-%dT%H:%M:%S"))
        .ok()
        .or_else(|| day_only(&text)?.and_hms_opt(12, 0, 0))
        .filter(|local| YEARS.contains(&local.year()))
        .ok_or_else(wrong)?;
    // In the hour that a clock change leaves out, the moment just after the gap is meant.
    let found = local.and_local_timezone(zone(zone_name));
    let found = found.earliest().or_else(|| {
        (local + chrono::Duration::hours(1))
            .and_local_timezone(zone(zone_name))
            .earliest()
    });
    found.map(|moment| moment.to_utc()).ok_or_else(wrong)
}

fn day_only(text: &str) -> Option<NaiveDate> {
    NaiveDate::parse_from_str(text, "%Y-%m-%d").ok()
}

/// Reads a day such as `2026-04-30`.
///
/// # Errors
/// A fault that says how a day is typed.
pub fn day(field: &str, called: &str, text: &str) -> Result<NaiveDate, Fault> {
    let found = day_only(text.trim()).filter(|day| YEARS.contains(&day.year()));
    found.ok_or_else(|| Fault::new(field, format!("{called} must be a day such as 2026-04-30.")))
}

/// A moment as a form field of the browser holds it.
#[must_use]
pub fn field(moment: DateTime<Utc>, zone_name: &str) -> String {
    moment
        .with_timezone(&zone(zone_name))
        .format("%Y-%m-%dT%H:%M")
        .to_string()
}

/// A day in words: 25 November 2026.
#[must_use]
pub fn day_in_words(moment: DateTime<Utc>, zone_name: &str) -> String {
    moment
        .with_timezone(&zone(zone_name))
        .format("%-d %B %Y")
        .to_string()
}

/// The day that it is at a moment.
#[must_use]
pub fn local_day(moment: DateTime<Utc>, zone_name: &str) -> NaiveDate {
    moment.with_timezone(&zone(zone_name)).date_naive()
}

/// A day without its time in words: 25 November 2026.
#[must_use]
pub fn date_in_words(day: NaiveDate) -> String {
    day.format("%-d %B %Y").to_string()
}

/// A moment in words: 25 November 2026, 14:05.
#[must_use]
pub fn in_words(moment: DateTime<Utc>, zone_name: &str) -> String {
    moment
        .with_timezone(&zone(zone_name))
        .format("%-d %B %Y, %H:%M")
        .to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_read_in_the_studys_zone_also_across_a_clock_change() {
        let read = |text| moment("at", "The time", text, "Europe/Oslo").unwrap();
        assert_eq!(
            read("2026-07-01T12:00").to_rfc3339(),
            "2026-07-01T10:00:00+00:00"
        );
        assert_eq!(read("2026-12-01").to_rfc3339(), "2026-12-01T11:00:00+00:00");
        // 2026-03-29 02:30 does not exist there; the clocks jump from 02:00 to 03:00.
        assert_eq!(
            read("2026-03-29T02:30").to_rfc3339(),
            "2026-03-29T01:30:00+00:00"
        );
        assert_eq!(
            field(read("2026-07-01T12:00"), "Europe/Oslo"),
            "2026-07-01T12:00"
        );
    }

    #[test]
    fn what_is_no_day_is_refused() {
        for text in [
            "",
            "tomorrow",
            "2026-13-01",
            "99999-01-01",
            "2026-02-30T10:00",
            "1e400",
        ] {
            assert!(moment("at", "The time", text, "UTC").is_err(), "{text}");
            assert!(day("on", "The day", text).is_err(), "{text}");
        }
    }
}
