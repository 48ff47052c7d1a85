//! A token of the machine interface as its maker asks for it: what a form must say.

use chrono::{DateTime, TimeDelta, Utc};

use super::fault::{Fault, Faults};
use super::typed::Typed;
use super::when;

/// The longest that a token holds, in days.
pub const LONGEST: i64 = 730;

/// A token that is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// What its maker calls it.
    pub name: String,
    /// Whether it may send as well as read.
    pub can_send: bool,
    /// When it ends: the end of a day, UTC.
    pub ends_at: DateTime<Utc>,
}

impl Wanted {
    /// Reads `name`, `can_send` and `until`.
    ///
    /// # Errors
    /// Everything that is wrong with them.
    pub fn parse(typed: &Typed, now: DateTime<Utc>) -> Result<Self, Faults> {
        let mut faults = Faults::none();
        let name = faults.keep(typed.required("name", "The name").and_then(short));
        let day = faults.keep(when::day("until", "The last day", typed.text("until")));
        let end = day
            .and_then(|day| day.and_hms_opt(23, 59, 59))
            .map(|end| end.and_utc());
        let is_within = |end: &DateTime<Utc>| *end > now && *end <= now + TimeDelta::days(LONGEST);
        let ends_at = end.filter(is_within);
        if day.is_some() && ends_at.is_none() {
            faults.push("until", "The last day must lie within two years from now.");
        }
        faults.or(Self {
            name: name.unwrap_or_default(),
            can_send: typed.has("can_send"),
            ends_at: ends_at.unwrap_or(now),
        })
    }
}

fn short(name: String) -> Result<String, Fault> {
    match name.chars().nth(100) {
        None => Ok(name),
        Some(_) => Err(Fault::new(
            "name",
            "The name is longer than 100 characters.",
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_has_a_name_and_an_end_that_is_not_past_and_not_far() {
        let now: DateTime<Utc> = "2026-03-01T09:00:00Z".parse().unwrap();
        let read = |name: &str, until: &str| {
            Wanted::parse(&Typed::from([("name", name), ("until", until)]), now)
        };
        let wanted = read("bench balance", "2026-03-01").unwrap();
        assert_eq!(wanted.ends_at.to_rfc3339(), "2026-03-01T23:59:59+00:00");
        assert!(!wanted.can_send);
        for (name, until, field) in [
            ("", "2026-04-01", "name"),
            ("a", "2026-02-28", "until"),
            ("a", "2028-03-01", "until"),
            ("a", "soon", "until"),
        ] {
            let faults = read(name, until).unwrap_err();
            assert!(faults.for_field(field).is_some(), "{name:?} {until}");
        }
        assert!(read(&"x".repeat(101), "2026-04-01").is_err());
    }
}
