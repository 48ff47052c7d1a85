//! When something is due, in words, as seen from a day.

use chrono::NaiveDate;

use super::{Due, Nearness};
use crate::study::when;

/// A number of days: 1 day, 28 days.
#[must_use]
pub fn days(count: u32) -> String {
    match count {
        1 => "1 day".to_owned(),
        n => format!("{n} days"),
    }
}

/// When it is due: today, tomorrow, in 5 days, 3 days late.
#[must_use]
pub fn when(due: &Due, today: NaiveDate) -> String {
    match due.nearness(today) {
        Nearness::Overdue => {
            let late = (today - due.closes).num_days();
            let late = days(u32::try_from(late).unwrap_or(u32::MAX));
            format!("{late} late, was due {}", when::date_in_words(due.closes))
        }
        Nearness::Now => left(due, today),
        _ => ahead(due.opens, today),
    }
}

/// How long something that can be done today still counts.
fn left(due: &Due, today: NaiveDate) -> String {
    let is_one_day = due.opens == due.closes;
    match (due.closes - today).num_days() {
        0 if is_one_day => "today".to_owned(),
        0 => "today, the last day".to_owned(),
        1 => "now, until tomorrow".to_owned(),
        _ => format!("now, until {}", when::date_in_words(due.closes)),
    }
}

fn ahead(day: NaiveDate, today: NaiveDate) -> String {
    let on = when::date_in_words(day);
    match (day - today).num_days() {
        1 => format!("tomorrow, {on}"),
        n => format!("in {n} days, {on}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::due::What;
    use std::collections::BTreeSet;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn due(opens: &str, closes: &str) -> Due {
        Due {
            key: String::new(),
            what: What::TakeIn,
            title: String::new(),
            detail: String::new(),
            opens: day(opens),
            day: day(opens),
            closes: day(closes),
            page: String::new(),
            places: BTreeSet::new(),
        }
    }

    #[test]
    fn each_day_of_a_window_has_its_words() {
        let window = due("2026-03-28", "2026-03-30");
        let on = |today: &str| when(&window, day(today));
        assert_eq!(on("2026-03-20"), "in 8 days, 28 March 2026");
        assert_eq!(on("2026-03-27"), "tomorrow, 28 March 2026");
        assert_eq!(on("2026-03-28"), "now, until 30 March 2026");
        assert_eq!(on("2026-03-29"), "now, until tomorrow");
        assert_eq!(on("2026-03-30"), "today, the last day");
        assert_eq!(on("2026-03-31"), "1 day late, was due 30 March 2026");
        let water = due("2026-03-28", "2026-03-28");
        assert_eq!(when(&water, day("2026-03-28")), "today");
    }

    #[test]
    fn nearness_changes_on_the_days_that_the_page_names() {
        let window = due("2026-03-28", "2026-03-30");
        let on = |today: &str| window.nearness(day(today));
        assert_eq!(on("2026-02-27"), Nearness::Later);
        assert_eq!(on("2026-02-28"), Nearness::Soon);
        assert_eq!(on("2026-03-20"), Nearness::Soon);
        assert_eq!(on("2026-03-21"), Nearness::ThisWeek);
        assert_eq!(on("2026-03-28"), Nearness::Now);
        assert_eq!(on("2026-03-31"), Nearness::Overdue);
    }
}
