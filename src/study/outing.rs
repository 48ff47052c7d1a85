//! When pieces are due, and which dates look like a slip of the pen. A doubtful date is asked about
//! once, like a value.

use chrono::{DateTime, Days, Duration, NaiveDate, Utc};

use super::plan::Stage;
use super::record::{SpecimenRecord, StudyRecord};
use super::when;

/// The first and the last day on which a piece that went out on a day may be taken in.
#[must_use]
pub fn window_days(out_on: NaiveDate, stage: &Stage) -> (NaiveDate, NaiveDate) {
    let due = due_day(out_on, stage.days);
    let reach = Days::new(u64::from(stage.window_days));
    let first = due.checked_sub_days(reach).unwrap_or(due);
    (first, due.checked_add_days(reach).unwrap_or(due))
}

/// The day on which a piece that went out on a day is due. Both are days of the study's own time zone:
/// counted in days, a clock change in between moves nothing.
#[must_use]
pub fn due_day(out_on: NaiveDate, stage_days: u32) -> NaiveDate {
    let due = out_on.checked_add_days(Days::new(u64::from(stage_days)));
    due.unwrap_or(NaiveDate::MAX)
}

/// What is doubtful about a moment that has not come yet.
#[must_use]
pub fn ahead(at: DateTime<Utc>, now: DateTime<Utc>) -> Option<String> {
    // A form knows the minute only, and clocks differ a little.
    let is_ahead = at > now + Duration::minutes(2);
    is_ahead.then(|| "This lies in the future.".to_owned())
}

/// When the study was opened here, or its plan sealed.
#[must_use]
pub fn begun(record: &StudyRecord) -> DateTime<Utc> {
    let seal = record.seal.as_ref();
    seal.map_or(record.started_at, |seal| seal.at)
}

/// What is doubtful about the moment of putting out: before the study was opened here, when it is not
/// entered after the fact.
#[must_use]
pub fn before_the_study(at: DateTime<Utc>, record: &StudyRecord) -> Option<String> {
    let begun = begun(record);
    // A day alone counts from noon, so the day of the seal itself is never doubtful.
    let is_before = at < begun - Duration::days(1);
    (is_before && !record.is_after_the_fact).then(|| {
        format!(
            "This lies before the plan was sealed on {}.",
            when::day_in_words(begun, &record.time_zone)
        )
    })
}

/// What is doubtful about taking pieces in at a moment: outside the stage's window, the worst case in
/// words.
#[must_use]
pub fn outside_window<'p>(
    pieces: impl IntoIterator<Item = &'p SpecimenRecord>,
    at: DateTime<Utc>,
    (stage, zone_name): (&Stage, &str),
) -> Option<String> {
    let day = when::local_day(at, zone_name);
    let days_out = pieces.into_iter().filter_map(|piece| {
        let out_on = when::local_day(piece.out_at?, zone_name);
        // The window is one of days: its last day counts to its end.
        let (first, last) = window_days(out_on, stage);
        let is_outside = day < first || day > last;
        is_outside.then(|| (day - out_on).num_days())
    });
    let mut days_out: Vec<i64> = days_out.collect();
    days_out.sort_unstable();
    let (least, most, n) = (*days_out.first()?, *days_out.last()?, days_out.len());
    let days = if least == most {
        format!("{least} days")
    } else {
        format!("{least} to {most} days")
    };
    let pieces = if n == 1 { "piece comes" } else { "pieces come" };
    Some(format!(
        "{n} {pieces} in after {days}; the plan says {} ± {} days.",
        stage.days, stage.window_days
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn piece(out_at: &str) -> SpecimenRecord {
        let (_, code) = super::super::code::Code::run("KT", 0).next().unwrap();
        SpecimenRecord {
            code,
            number: 1,
            lot: String::new(),
            build: String::new(),
            order: 1,
            place: None,
            whereabouts: super::super::specimen::Whereabouts::Out,
            is_nameless: false,
            out_at: Some(out_at.parse().unwrap()),
            in_at: None,
            recovery: None,
            identity: None,
            made_at: None,
            retest: None,
        }
    }

    #[test]
    fn a_year_mistyped_and_a_day_too_late_are_asked_about() {
        let stage = Stage {
            days: 180,
            window_days: 5,
        };
        let piece = piece("2026-01-01T12:00:00Z");
        let on = |text: &str| outside_window([&piece], text.parse().unwrap(), (&stage, "UTC"));
        // 180 days after 1 January 2026 is 30 June 2026.
        assert_eq!(on("2026-06-30T12:00:00Z"), None);
        assert_eq!(on("2026-07-05T18:00:00Z"), None);
        assert!(on("2026-07-06T18:00:00Z").unwrap().contains("186 days"));
        assert!(on("2027-06-30T12:00:00Z").unwrap().contains("545 days"));
        assert!(on("2026-06-24T12:00:00Z").is_some());
    }

    #[test]
    fn tomorrow_is_asked_about_and_a_minute_is_not() {
        let now: DateTime<Utc> = "2026-06-30T12:00:00Z".parse().unwrap();
        assert_eq!(ahead(now + Duration::minutes(1), now), None);
        assert!(ahead(now + Duration::days(1), now).is_some());
    }
}
