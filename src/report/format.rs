//! Numbers, units and dates as people read them.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use crate::analysis::digits::{decimals, fixed};

pub use crate::analysis::words::unit;

/// Decimals with which a group's values are shown: its standard deviation gets two figures (ASTM
/// D638 asks for that), a single value three.
#[must_use]
pub fn group_decimals(sd: Option<f64>, mean: f64) -> usize {
    let (size, figures) = match sd.filter(|sd| *sd > 0.0) {
        Some(sd) => (sd, 2.0),
        None => (mean.abs(), 3.0),
    };
    if size <= 0.0 || !size.is_finite() {
        return 0;
    }
    (figures - 1.0 - size.log10().floor()).clamp(0.0, 6.0) as usize
}

/// A column of estimates with their intervals, `0.65 (−1.26 to 2.56)`, all with the same digits:
/// enough that every bound reads on its side of the thresholds, and that a twenty-fifth of the widest
/// half-width stays visible.
#[must_use]
pub fn with_intervals(column: &[Option<[f64; 3]>], thresholds: &[f64]) -> Vec<String> {
    let all: Vec<f64> = column.iter().flatten().flatten().copied().collect();
    let half = |of: &[f64; 3]| (of[2] - of[1]) / 2.0;
    let widest = column.iter().flatten().map(half).fold(0.0, f64::max);
    let digits = decimals(&all, thresholds, widest / 12.5, 0);
    let one = |of: &[f64; 3]| {
        let [a, b, c] = of.map(|value| fixed(value, digits));
        format!("{a} ({b} to {c})")
    };
    let dash = || "–".to_owned();
    column
        .iter()
        .map(|cell| cell.as_ref().map_or_else(dash, one))
        .collect()
}

/// The day in the study's time zone: `4 March 2025`.
#[must_use]
pub fn day(at: DateTime<Utc>, time_zone: &str) -> String {
    local(at, time_zone, "%-d %B %Y")
}

/// Day and minute in the study's time zone, with the zone: `4 March 2025, 09:30 CET`.
#[must_use]
pub fn minute(at: DateTime<Utc>, time_zone: &str) -> String {
    local(at, time_zone, "%-d %B %Y, %H:%M %Z")
}

/// For machines: `2025-03-04`.
#[must_use]
pub fn iso_day(at: DateTime<Utc>, time_zone: &str) -> String {
    local(at, time_zone, "%Y-%m-%d")
}

/// A zone that is not known falls back to UTC; day and time then say so where the zone is printed.
fn local(at: DateTime<Utc>, time_zone: &str, pattern: &str) -> String {
    match time_zone.parse::<Tz>() {
        Ok(zone) => at.with_timezone(&zone).format(pattern).to_string(),
        Err(_) => at.format(pattern).to_string(),
    }
}

/// A size in bytes: `812 B`, `14 kB`.
#[must_use]
pub fn bytes(n: usize) -> String {
    if n < 1000 {
        format!("{n} B")
    } else {
        format!("{} kB", n.div_ceil(1000))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeZone;

    #[test]
    fn a_spread_gets_two_figures() {
        assert_eq!(group_decimals(Some(6.83), 300.0), 1);
        assert_eq!(group_decimals(Some(0.0123), 0.3), 3);
        assert_eq!(group_decimals(Some(123.0), 3000.0), 0);
        assert_eq!(group_decimals(None, 312.0), 0);
    }

    #[test]
    fn an_interval_is_printed_with_true_minus_signs() {
        let column = [Some([0.65, -1.256_304, 2.556_304]), None];
        assert_eq!(
            with_intervals(&column, &[0.0]),
            ["0.65 (−1.26 to 2.56)", "–"]
        );
    }

    #[test]
    fn days_are_those_of_the_study() {
        let at = Utc.with_ymd_and_hms(2025, 3, 4, 23, 30, 0).unwrap();
        assert_eq!(day(at, "Europe/Berlin"), "5 March 2025");
        assert_eq!(minute(at, "Europe/Berlin"), "5 March 2025, 00:30 CET");
        assert_eq!(iso_day(at, "America/Lima"), "2025-03-04");
    }
}
