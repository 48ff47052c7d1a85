//! Moments as loggers write them: several orders of day, month and year, with a clock of 24 or 12 hours,
//! with or without an offset from UTC.

use chrono::{
    DateTime, Datelike, FixedOffset, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, TimeZone, Utc,
};
use chrono_tz::Tz;

use crate::study::choice::choice;
use crate::study::guard::YEARS;

choice! {
    /// How day, month and year stand in a file.
    pub enum DateOrder {
        /// Year first, as ISO 8601 has it.
        YearMonthDay = "ymd", "year, month, day (2026-04-30)";
        /// Day first.
        DayMonthYear = "dmy", "day, month, year (30.04.2026)";
        /// Month first.
        MonthDayYear = "mdy", "month, day, year (04/30/2026)";
        /// Seconds since the beginning of 1970, UTC.
        Unix = "unix", "seconds since 1970 (1777557900)";
    }
}

/// A moment as it stands in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamp {
    /// Day and clock, as written.
    pub local: NaiveDateTime,
    /// The offset from UTC, where the file says it.
    pub offset: Option<FixedOffset>,
}

impl DateOrder {
    /// Reads a moment; a day alone is its midnight.
    #[must_use]
    pub fn read(self, text: &str) -> Option<Stamp> {
        let is_countable = |stamp: &Stamp| YEARS.contains(&stamp.local.year());
        self.stamp(text).filter(is_countable)
    }

    fn stamp(self, text: &str) -> Option<Stamp> {
        let text = text.trim();
        if self == Self::Unix {
            let is_digits =
                (9..=11).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
            let seconds = text.parse().ok().filter(|_| is_digits)?;
            return Some(Stamp {
                local: DateTime::from_timestamp(seconds, 0)?.naive_utc(),
                offset: FixedOffset::east_opt(0),
            });
        }
        let (date, clock) = match text.find(['T', ' ', ',']) {
            Some(at) => (text.get(..at)?, text.get(at + 1..)?.trim()),
            None => (text, ""),
        };
        let date = self.date(date)?;
        let (clock, offset) = offset(clock)?;
        let time = if clock.is_empty() {
            NaiveTime::MIN
        } else {
            time(clock)?
        };
        Some(Stamp {
            local: date.and_time(time),
            offset,
        })
    }

    fn date(self, text: &str) -> Option<NaiveDate> {
        let parts: Vec<&str> = text.split(['-', '/', '.']).collect();
        let [a, b, c] = parts[..] else { return None };
        let (year, month, day) = match self {
            Self::YearMonthDay => (a, b, c),
            Self::DayMonthYear => (c, b, a),
            Self::MonthDayYear => (c, a, b),
            Self::Unix => return None,
        };
        let number = |text: &str| {
            let is_number =
                (1..=4).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
            text.parse::<u32>().ok().filter(|_| is_number)
        };
        let years = match year.len() {
            2 => 2000 + number(year)?,
            4 => number(year)?,
            _ => return None,
        };
        NaiveDate::from_ymd_opt(i32::try_from(years).ok()?, number(month)?, number(day)?)
    }
}

/// Cuts an offset such as `Z`, `+02:00` or `+0200` from the end.
fn offset(clock: &str) -> Option<(&str, Option<FixedOffset>)> {
    if let Some(rest) = clock.strip_suffix(['Z', 'z']) {
        return Some((rest, FixedOffset::east_opt(0)));
    }
    let Some(at) = clock.rfind(['+', '-']).filter(|at| *at > 0) else {
        return Some((clock, None));
    };
    let (rest, sign) = clock.split_at(at);
    Some((rest.trim(), Some(fixed(sign)?)))
}

/// Reads `+02:00`, `-0330` or `+2`.
fn fixed(text: &str) -> Option<FixedOffset> {
    let digits = text.get(1..)?.replace(':', "");
    if !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let (hours, minutes) = match digits.len() {
        1 | 2 => (digits.as_str(), "0"),
        4 => digits.split_at(2),
        _ => return None,
    };
    let seconds = hours.parse::<i32>().ok()? * 3600 + minutes.parse::<i32>().ok()? * 60;
    let signed = if text.starts_with('-') {
        -seconds
    } else {
        seconds
    };
    FixedOffset::east_opt(signed).filter(|_| seconds <= 14 * 3600)
}

/// Reads `14:05`, `14:05:09.5` or `02:05 PM`.
fn time(clock: &str) -> Option<NaiveTime> {
    let capitals = clock.to_ascii_uppercase();
    let capitals = capitals.trim();
    let half = ["AM", "PM"]
        .into_iter()
        .find(|half| capitals.ends_with(half));
    let bare = half.map_or(capitals, |half| capitals.trim_end_matches(half).trim());
    let whole_seconds = bare.split(['.', ',']).next()?;
    let mut parts = whole_seconds
        .split(':')
        .map(|part| part.parse::<u32>().ok());
    let (hour, minute) = (parts.next()??, parts.next()??);
    let second = parts.next().unwrap_or(Some(0))?;
    if parts.next().is_some() {
        return None;
    }
    let hour = match half {
        Some(_) if !(1..=12).contains(&hour) => return None,
        Some("PM") => hour % 12 + 12,
        Some(_) => hour % 12,
        None => hour,
    };
    NaiveTime::from_hms_opt(hour, minute, second)
}

/// The zone in which a file's clock ran.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Clock {
    /// A fixed offset from UTC: most loggers know no summer time.
    Fixed(FixedOffset),
    /// A place's own time, with its clock changes.
    Place(Tz),
}

impl Clock {
    /// Reads `UTC`, `+01:00` or `Europe/Oslo`.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        if text.eq_ignore_ascii_case("utc") || text.eq_ignore_ascii_case("gmt") || text == "Z" {
            return FixedOffset::east_opt(0).map(Self::Fixed);
        }
        if text.starts_with(['+', '-']) {
            return fixed(text).map(Self::Fixed);
        }
        text.parse().ok().map(Self::Place)
    }

    /// The moment; `before` is the one of the row before, which tells apart the two hours of the same
    /// name when clocks are set back. `None` in the hour that a clock change leaves out.
    #[must_use]
    pub fn moment(self, stamp: Stamp, before: Option<DateTime<Utc>>) -> Option<DateTime<Utc>> {
        if let Some(offset) = stamp.offset {
            return offset
                .from_local_datetime(&stamp.local)
                .single()
                .map(|at| at.to_utc());
        }
        match self {
            Self::Fixed(offset) => {
                let shift = TimeDelta::seconds(i64::from(offset.local_minus_utc()));
                stamp
                    .local
                    .checked_sub_signed(shift)
                    .map(|utc| utc.and_utc())
            }
            Self::Place(zone) => {
                let found = zone.from_local_datetime(&stamp.local);
                let (early, late) = (found.earliest()?.to_utc(), found.latest()?.to_utc());
                let is_passed = before.is_some_and(|before| early <= before);
                Some(if is_passed { late } else { early })
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utc(order: DateOrder, text: &str, clock: &str) -> Option<String> {
        let stamp = order.read(text)?;
        let at = Clock::parse(clock)?.moment(stamp, None)?;
        Some(at.to_rfc3339())
    }

    #[test]
    fn the_same_moment_in_the_ways_of_many_files() {
        use DateOrder::{DayMonthYear, MonthDayYear, Unix, YearMonthDay};
        let want = Some("2026-04-30T14:05:00+00:00".to_owned());
        for (order, text, clock) in [
            (YearMonthDay, "2026-04-30T14:05:00Z", "Europe/Oslo"),
            (YearMonthDay, "2026-04-30 16:05", "Europe/Oslo"),
            (YearMonthDay, "2026-04-30T16:05+02:00", "UTC"),
            (YearMonthDay, "2026/04/30 14:05:00.000", "UTC"),
            (DayMonthYear, "30.04.2026 15:05", "+01:00"),
            (DayMonthYear, "30/04/26 14:05", "UTC"),
            (MonthDayYear, "04/30/2026 02:05:00 PM", "UTC"),
            (MonthDayYear, "4/30/26 10:05 AM", "America/New_York"),
            (Unix, "1777557900", "Europe/Oslo"),
        ] {
            assert_eq!(utc(order, text, clock), want, "{text}");
        }
        for (order, text) in [
            (YearMonthDay, "2026-13-01 10:00"),
            (DayMonthYear, "30.02.2026"),
            (MonthDayYear, "04/30/2026 13:05 PM"),
            (YearMonthDay, "2026-04-30 24:61"),
            (YearMonthDay, "12.5"),
            // Found by the fuzzer: three bytes of one sign stand where a digit ends.
            (YearMonthDay, "2026-04-30T10:00:00+\u{2018}1"),
            (Unix, "12.5"),
            (YearMonthDay, "0000-01-01 10:00"),
            (Unix, "99999999999"),
        ] {
            assert_eq!(order.read(text), None, "{text}");
        }
    }

    /// In Oslo clocks go from 03:00 back to 02:00 on 25 October 2026 and from 02:00 to 03:00 on
    /// 29 March 2026 (IANA time zone database).
    #[test]
    fn the_hour_that_comes_twice_is_told_apart_by_the_row_before() {
        let clock = Clock::parse("Europe/Oslo").unwrap();
        let stamp = DateOrder::YearMonthDay.read("2026-10-25 02:30").unwrap();
        let first = clock.moment(stamp, None).unwrap();
        let second = clock.moment(stamp, Some(first)).unwrap();
        assert_eq!((second - first).num_hours(), 1);
        let left_out = DateOrder::YearMonthDay.read("2026-03-29 02:30").unwrap();
        assert_eq!(clock.moment(left_out, None), None);
        assert!(
            Clock::parse("+01:00")
                .unwrap()
                .moment(left_out, None)
                .is_some()
        );
        assert_eq!(Clock::parse("the shed"), None);
        assert_eq!(Clock::parse("+99:00"), None);
    }
}
