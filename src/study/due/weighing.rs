//! Weighings that are promised: pieces that came back are cleaned at once, weighed while they dry until
//! the plan's rule is met, and measured again in the state that the plan compares.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, Utc};

use super::{Due, What, after, counted};
use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::custody::Handling;
use crate::study::drying::DryingState;
use crate::study::measured::Measured;
use crate::study::plan::{Environment, Plan};
use crate::study::reading::{MoistureState, Occasion};
use crate::study::record::{EventKind, SpecimenRecord, Standing, StudyRecord};
use crate::study::specimen::Whereabouts;
use crate::study::when;

/// Days from coming in to cleaning: within 24 hours (common practice, no source).
const CLEAN_DAYS: u32 = 1;
/// Days from cleaning to the last mass for pieces that are conditioned first: two weeks at the least,
/// and one to find the time (common practice, no source).
const CONDITIONED_DAYS: u32 = 21;
/// The same for pieces that are compared wet, which must not dry (common practice, no source).
const WET_DAYS: u32 = 1;
/// Days from cleaning to the first weighing of a drying round (common practice, no source).
const BEGIN_DAYS: u32 = 1;
/// Days from when a weighing can tell something to when it is late (common practice, no source).
const AGAIN_DAYS: u32 = 3;
/// The same for the final dry mass (common practice, no source).
const FINAL_DAYS: u32 = 7;

/// What a piece that came back waits for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Wait {
    /// To be cleaned.
    Clean,
    /// For the first weighing while it dries.
    Begin,
    /// For the next one.
    Again,
    /// For its final dry mass.
    Final,
    /// To be measured; the plan has no drying round, or what is dry lacks no mass.
    Measure,
}

impl Wait {
    fn key(self) -> &'static str {
        match self {
            Self::Clean => "clean",
            Self::Begin => "dry",
            Self::Again => "weigh",
            Self::Final => "final",
            Self::Measure => "measure",
        }
    }

    fn title(self, pieces: &str) -> String {
        match self {
            Self::Clean => format!("Clean {pieces}"),
            Self::Begin => format!("Begin to weigh {pieces} while drying"),
            Self::Again => format!("Weigh {pieces} again while drying"),
            Self::Final => format!("Take the final dry mass of {pieces}"),
            Self::Measure => format!("Measure {pieces} again"),
        }
    }

    /// What happened on the day that it counts from.
    fn since(self) -> &'static str {
        match self {
            Self::Clean => "taken in",
            Self::Begin | Self::Measure => "cleaned",
            Self::Again => "worth a weighing from",
            Self::Final => "dry since",
        }
    }

    /// How many days there are for it.
    fn days(self, plan: &Plan) -> u32 {
        match self {
            Self::Clean => CLEAN_DAYS,
            Self::Begin => BEGIN_DAYS,
            Self::Again => AGAIN_DAYS,
            Self::Final => FINAL_DAYS,
            Self::Measure if plan.reference_state == MoistureState::Wet => WET_DAYS,
            Self::Measure => CONDITIONED_DAYS,
        }
    }

    fn page(self) -> String {
        match self {
            Self::Clean => format!("exposure/handle?what={}", Handling::Cleaned.key()),
            Self::Begin | Self::Again | Self::Final => "drying".to_owned(),
            Self::Measure => "round".to_owned(),
        }
    }
}

/// What pieces that came back wait for, one line for each stage, kind and day.
pub(super) fn of(record: &StudyRecord, plan: &Plan, now: DateTime<Utc>) -> Vec<Due> {
    let measured = Measured::of(record);
    let cleaned = cleaned(record);
    let mut groups: BTreeMap<(u32, Wait, NaiveDate), Vec<&SpecimenRecord>> = BTreeMap::new();
    for piece in &record.specimens {
        let (Some(in_at), Some(Place::Exposed { stage_days, .. })) = (piece.in_at, &piece.place)
        else {
            continue;
        };
        let missing = measured.missing(&piece.code, Occasion::After, plan);
        if piece.whereabouts != Whereabouts::In || missing.is_empty() {
            continue;
        }
        let came_in = when::local_day(in_at, &record.time_zone);
        let clean = cleaned.get(&piece.code).filter(|day| **day >= came_in);
        let (wait, since) = match clean {
            Some(day) => drying(record, piece, *day, now),
            None => (Wait::Clean, came_in),
        };
        let key = (*stage_days, wait, since);
        groups.entry(key).or_default().push(piece);
    }
    let line = |((days, wait, since), pieces): ((u32, Wait, NaiveDate), Vec<_>)| {
        line(plan, (wait, since), days, &pieces)
    };
    groups.into_iter().map(line).collect()
}

/// What a cleaned piece waits for, and from which day that counts.
fn drying(
    record: &StudyRecord,
    piece: &SpecimenRecord,
    cleaned: NaiveDate,
    now: DateTime<Utc>,
) -> (Wait, NaiveDate) {
    let day = |at| when::local_day(at, &record.time_zone);
    let state = record.drying_state(&piece.code, Occasion::After, now);
    // What was let through with a reason is not weighed on.
    let is_let_through = record
        .drying_override(&piece.code, Occasion::After)
        .is_some();
    match state.filter(|_| !is_let_through) {
        None => (Wait::Measure, cleaned),
        Some(DryingState::NotBegun) => (Wait::Begin, cleaned),
        Some(DryingState::Going { weigh_after, .. }) => (Wait::Again, day(weigh_after)),
        Some(DryingState::Constant { since }) => (Wait::Final, day(since)),
    }
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

fn line(
    plan: &Plan,
    (wait, since): (Wait, NaiveDate),
    stage_days: u32,
    pieces: &[&SpecimenRecord],
) -> Due {
    let closes = after(since, wait.days(plan));
    let places = pieces.iter().filter_map(|piece| came_from(plan, piece));
    Due {
        key: format!("{}-{stage_days}-{since}", wait.key()),
        what: What::Weigh,
        title: format!(
            "{}: stage of {stage_days} days",
            wait.title(&counted(pieces.len()))
        ),
        detail: format!("{} {}", wait.since(), when::date_in_words(since)),
        opens: since,
        day: closes,
        closes,
        page: wait.page(),
        // Once it is clean, a piece is no more dangerous than its bench.
        places: match wait {
            Wait::Clean => places.collect(),
            _ => BTreeSet::new(),
        },
    }
}

/// The kind of place that a piece came from.
fn came_from(plan: &Plan, piece: &SpecimenRecord) -> Option<Environment> {
    match &piece.place {
        Some(Place::Exposed { condition, .. }) => plan.condition(condition).map(|c| c.environment),
        _ => None,
    }
}
