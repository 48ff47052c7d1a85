//! What is due in a study: stages that open and close, water to change, pieces to clean and measure,
//! parcels on their way, lab links about to end.
//!
//! Pure: a record in, a list out. Every day is a calendar day of the study's own time zone, so that a
//! clock change moves none. Nothing here names a piece: who reads the list, the calendar or a reminder
//! learns no code. What is due at the lab is in [`mod@lab`], weighings in [`weighing`].

mod lab;
mod weighing;
pub mod words;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};

use super::allocation::Place;
use super::custody::Handling;
use super::outing;
use super::plan::{Condition, Environment, Plan, Stage};
use super::record::{EventKind, SpecimenRecord, Standing, StudyRecord};
use super::specimen::Whereabouts;
use super::when;

/// Something that is due.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Due {
    /// Tells it from all else in the study, as long as what it rests on stays as it is.
    pub key: String,
    /// Which kind.
    pub what: What,
    /// In words: take in 6 pieces from the rain barrel.
    pub title: String,
    /// What else there is to say; may be empty.
    pub detail: String,
    /// From which day it can be done.
    pub opens: NaiveDate,
    /// The day that is meant.
    pub day: NaiveDate,
    /// The last day that counts.
    pub closes: NaiveDate,
    /// The page where it is done, below the study's desk.
    pub page: String,
    /// The places that somebody goes to for it, for the cautions.
    pub places: BTreeSet<Environment>,
}

/// The kinds of things that are due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    /// A stage is to be taken in.
    TakeIn,
    /// Water or another medium is to be renewed or topped up.
    Renew,
    /// Pieces are to be cleaned, or measured again.
    Weigh,
    /// A parcel waits, or is on its way.
    Parcel,
    /// A lab link is about to end.
    Link,
}

/// How near it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Nearness {
    /// Its last day is over.
    Overdue,
    /// It can be done today.
    Now,
    /// It opens within the next seven days.
    ThisWeek,
    /// It opens within the next four weeks.
    Soon,
    /// Later than that.
    Later,
}

impl Due {
    /// How near it is on a day.
    #[must_use]
    pub fn nearness(&self, today: NaiveDate) -> Nearness {
        if self.closes < today {
            return Nearness::Overdue;
        }
        match (self.opens - today).num_days() {
            ..=0 => Nearness::Now,
            1..=7 => Nearness::ThisWeek,
            8..=28 => Nearness::Soon,
            _ => Nearness::Later,
        }
    }
}

/// The day that it is in the study.
#[must_use]
pub fn today(record: &StudyRecord, now: DateTime<Utc>) -> NaiveDate {
    when::local_day(now, &record.time_zone)
}

/// The day for which reminders are written: a new day begins at seven in the morning of the study, so
/// that nobody is woken.
#[must_use]
pub fn reminder_day(record: &StudyRecord, now: DateTime<Utc>) -> NaiveDate {
    let local = now
        .with_timezone(&when::zone(&record.time_zone))
        .naive_local();
    (local - TimeDelta::hours(7)).date()
}

/// Everything that is due in a study, the nearest end first. `now` decides only whether what dries in a
/// room has had its time.
#[must_use]
pub fn of(record: &StudyRecord, now: DateTime<Utc>) -> Vec<Due> {
    let mut found = Vec::new();
    if let Some(held) = record.plan() {
        found.extend(stages(record, &held.plan));
        found.extend(renewals(record, &held.plan));
        found.extend(weighing::of(record, &held.plan, now));
    }
    found.extend(lab::of(record));
    found.sort_by(|a, b| (a.closes, a.opens, &a.key).cmp(&(b.closes, b.opens, &b.key)));
    found
}

fn after(day: NaiveDate, days: u32) -> NaiveDate {
    let later = day.checked_add_days(Days::new(u64::from(days)));
    later.unwrap_or(NaiveDate::MAX)
}

fn counted(count: usize) -> String {
    match count {
        1 => "1 piece".to_owned(),
        n => format!("{n} pieces"),
    }
}

/// Pieces that are out, by stage, condition and the day they went out.
fn stages(record: &StudyRecord, plan: &Plan) -> Vec<Due> {
    let mut groups: BTreeMap<(u32, &str, NaiveDate), Vec<DateTime<Utc>>> = BTreeMap::new();
    for piece in &record.specimens {
        let (Some(out_at), Some((condition, days, _))) = (piece.out_at, out_in(piece)) else {
            continue;
        };
        let day = when::local_day(out_at, &record.time_zone);
        groups
            .entry((days, condition, day))
            .or_default()
            .push(out_at);
    }
    let due = |((days, key, out_on), outings): ((u32, &str, NaiveDate), Vec<DateTime<Utc>>)| {
        let (stage, condition) = (plan.stage(days)?, plan.condition(key)?);
        Some(stage_due((stage, condition), out_on, outings.len()))
    };
    groups.into_iter().filter_map(due).collect()
}

/// The condition, the stage and the holder of a piece that is out.
fn out_in(piece: &SpecimenRecord) -> Option<(&str, u32, &str)> {
    match &piece.place {
        Some(Place::Exposed {
            condition,
            stage_days,
            holder,
        }) if piece.whereabouts == Whereabouts::Out => Some((condition, *stage_days, holder)),
        _ => None,
    }
}

fn stage_due((stage, condition): (&Stage, &Condition), out_on: NaiveDate, count: usize) -> Due {
    let day = outing::due_day(out_on, stage.days);
    let (opens, closes) = outing::window_days(out_on, stage);
    let place = &condition.name;
    Due {
        key: format!("take-in-{}-{}-{out_on}", stage.days, condition.key),
        what: What::TakeIn,
        title: format!("Take in {}: {place}, {} days", counted(count), stage.days),
        detail: if stage.window_days == 0 {
            String::new()
        } else {
            let day_words = |day| when::date_in_words(day);
            format!(
                "due {}, window from {} to {}",
                day_words(day),
                day_words(opens),
                day_words(closes)
            )
        },
        opens,
        day,
        closes,
        page: taking_in(stage.days, &condition.key),
        places: BTreeSet::from([condition.environment]),
    }
}

fn taking_in(days: u32, condition: &str) -> String {
    // Keys of conditions are a letter and digits; the address needs no escaping.
    format!("exposure/in?stage={days}&condition={condition}")
}

/// Holders whose water or medium the plan wants renewed, counted from the last time it was done, or
/// from the first piece that went into them.
fn renewals(record: &StudyRecord, plan: &Plan) -> Vec<Due> {
    let mut found = Vec::new();
    for condition in &plan.conditions {
        let Some(every) = condition.renew_days else {
            continue;
        };
        for holder in &condition.holders {
            let inside = record.specimens.iter();
            let inside: Vec<&SpecimenRecord> = inside
                .filter(|piece| out_in(piece).is_some_and(|(_, _, key)| key == holder.key))
                .collect();
            let Some((last, is_done)) = last_renewed(record, &inside) else {
                continue;
            };
            let last = when::local_day(last, &record.time_zone);
            let day = after(last, every);
            let medium = medium(condition.environment);
            let since = if is_done { "last done" } else { "out since" };
            found.push(Due {
                key: format!("renew-{}-{day}", holder.key),
                what: What::Renew,
                title: format!("Renew or top up the {medium}: {}", holder.name),
                detail: format!(
                    "{}, every {}; {since} {}",
                    condition.name,
                    words::days(every),
                    when::date_in_words(last)
                ),
                opens: day,
                day,
                closes: day,
                page: format!("exposure/handle?what={}", Handling::ToppedUp.key()),
                places: BTreeSet::from([condition.environment]),
            });
        }
    }
    found
}

fn medium(place: Environment) -> &'static str {
    match place {
        Environment::FreshWater | Environment::SaltWater => "water",
        _ => "medium",
    }
}

/// When the medium around these pieces was last renewed, and whether it was done at all since the
/// first of them went out; `None` when there are none.
fn last_renewed(record: &StudyRecord, inside: &[&SpecimenRecord]) -> Option<(DateTime<Utc>, bool)> {
    let first_out = inside.iter().filter_map(|piece| piece.out_at).min()?;
    let codes: BTreeSet<_> = inside.iter().map(|piece| &piece.code).collect();
    let is_renewal = |what: &EventKind| {
        matches!(
            what,
            EventKind::Handled {
                what: Handling::ToppedUp,
                ..
            }
        )
    };
    let renewed = record.events.iter().filter(|event| {
        event.standing == Standing::Current
            && is_renewal(&event.what)
            && codes.contains(&event.specimen)
    });
    let last = renewed.map(|event| event.at).max();
    match last {
        Some(last) if last > first_out => Some((last, true)),
        _ => Some((first_out, false)),
    }
}
