//! Weighings that are promised: pieces that came back are cleaned at once, and measured again when
//! they are in the state that the plan compares.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::{Due, What, after, counted};
use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::custody::Handling;
use crate::study::measured::Measured;
use crate::study::plan::Plan;
use crate::study::reading::{MoistureState, Occasion};
use crate::study::record::{EventKind, SpecimenRecord, Standing, StudyRecord};
use crate::study::specimen::Whereabouts;
use crate::study::when;

/// Days from coming in to cleaning: within 24 hours (common practice, no source).
const CLEAN_DAYS: u32 = 1;
/// Days from cleaning to the last mass for pieces that are dried or conditioned first: two weeks at
/// the least, and one to find the time (common practice, no source).
const DRIED_DAYS: u32 = 21;
/// The same for pieces that are compared wet, which must not dry (common practice, no source).
const WET_DAYS: u32 = 1;

/// What pieces that came back wait for, one line for each stage and day.
pub(super) fn of(record: &StudyRecord, plan: &Plan) -> Vec<Due> {
    let measured = Measured::of(record);
    let lacks = |piece: &SpecimenRecord| {
        let missing = measured.missing(&piece.code, Occasion::After, plan);
        !missing.is_empty()
    };
    let cleaned = cleaned(record);
    let mut groups: BTreeMap<(u32, NaiveDate, bool), Vec<&SpecimenRecord>> = BTreeMap::new();
    for piece in &record.specimens {
        let (Some(in_at), Some(Place::Exposed { stage_days, .. })) = (piece.in_at, &piece.place)
        else {
            continue;
        };
        if piece.whereabouts != Whereabouts::In || !lacks(piece) {
            continue;
        }
        let came_in = when::local_day(in_at, &record.time_zone);
        let clean = cleaned.get(&piece.code).filter(|day| **day >= came_in);
        let since = clean.copied().unwrap_or(came_in);
        let key = (*stage_days, since, clean.is_some());
        groups.entry(key).or_default().push(piece);
    }
    let line = |((days, since, is_clean), pieces): ((u32, NaiveDate, bool), Vec<_>)| {
        if is_clean {
            measuring(plan, (days, since), &pieces)
        } else {
            cleaning(plan, (days, since), &pieces)
        }
    };
    groups.into_iter().map(line).collect()
}

/// The last day on which each piece was cleaned.
fn cleaned(record: &StudyRecord) -> BTreeMap<&Code, NaiveDate> {
    let mut found = BTreeMap::new();
    for event in &record.events {
        if let EventKind::Handled { what, .. } = &event.what
            && *what == Handling::Cleaned
            && event.standing == Standing::Current
        {
            let day = when::local_day(event.at, &record.time_zone);
            found.insert(&event.specimen, day);
        }
    }
    found
}

fn cleaning(plan: &Plan, (days, since): (u32, NaiveDate), pieces: &[&SpecimenRecord]) -> Due {
    let day = after(since, CLEAN_DAYS);
    Due {
        key: format!("clean-{days}-{since}"),
        what: What::Weigh,
        title: format!("Clean {}: stage of {days} days", counted(pieces.len())),
        detail: format!("taken in {}", when::date_in_words(since)),
        opens: since,
        day,
        closes: day,
        page: format!("exposure/handle?what={}", Handling::Cleaned.key()),
        places: pieces
            .iter()
            .filter_map(|piece| came_from(plan, piece))
            .collect(),
    }
}

/// The kind of place that a piece came from.
fn came_from(plan: &Plan, piece: &SpecimenRecord) -> Option<crate::study::plan::Environment> {
    match &piece.place {
        Some(Place::Exposed { condition, .. }) => plan.condition(condition).map(|c| c.environment),
        _ => None,
    }
}

fn measuring(plan: &Plan, (days, since): (u32, NaiveDate), pieces: &[&SpecimenRecord]) -> Due {
    let wait = match plan.reference_state {
        MoistureState::Wet => WET_DAYS,
        _ => DRIED_DAYS,
    };
    let closes = after(since, wait);
    let count = counted(pieces.len());
    Due {
        key: format!("measure-{days}-{since}"),
        what: What::Weigh,
        title: format!("Measure {count} again: stage of {days} days"),
        detail: format!(
            "{}; cleaned {}",
            plan.reference_state.label(),
            when::date_in_words(since)
        ),
        opens: since,
        day: closes,
        closes,
        page: "round".to_owned(),
        places: BTreeSet::new(),
    }
}
