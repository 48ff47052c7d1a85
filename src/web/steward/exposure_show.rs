//! What is ready to go out, what is out and when it is due, what came back, and what happened.

use super::piece_words::{self, plan_of};
use super::{drying_words, exposure_handle, specimen_history};
use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::ids::EntryId;
use crate::study::measured::{Measured, missing_words};
use crate::study::outing;
use crate::study::plan::{Condition, Plan, Stage};
use crate::study::reading::{Occasion, Quantity};
use crate::study::record::{EventKind, SpecimenRecord, Standing, StudyRecord};
use crate::study::specimen::Whereabouts;
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use chrono::{DateTime, Utc};
use std::collections::BTreeSet;
use std::sync::Arc;

/// How many of the last happenings the page lists.
const HAPPENINGS: usize = 30;

#[derive(Template)]
#[template(path = "steward/exposure_show.html")]
struct ExposurePage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    /// Why nothing can go out yet.
    hindrance: Option<&'static str>,
    ready: Vec<ReadyLine>,
    held: Vec<HeldLine>,
    out: Vec<OutLine>,
    back: Vec<BackLine>,
    happenings: Vec<Happening>,
    /// Every holder: key and name.
    holders: Vec<(String, String)>,
    /// Whether the plan has a drying rule.
    has_drying: bool,
}

/// Pieces on the bench for one holder.
struct ReadyLine {
    condition: String,
    holder: String,
    ready: usize,
    held: usize,
}

/// A piece that cannot go out yet.
pub(super) struct HeldLine {
    pub(super) code: Code,
    pub(super) place: String,
    pub(super) missing: String,
    /// The same as quantities with their counts.
    pub(super) lacks: Vec<(Quantity, u8)>,
}

impl HeldLine {
    /// For the script of the page: a list of pairs of quantity and count.
    pub(super) fn missing_json(&self) -> String {
        serde_json::json!(self.lacks).to_string()
    }
}

/// Pieces out in one condition for one stage.
struct OutLine {
    condition: String,
    stage_days: u32,
    count: usize,
    since: String,
    due: String,
    window_days: u32,
    /// Inside the window, or past it.
    state: Option<&'static str>,
    href: String,
}

/// Pieces taken in, by stage.
struct BackLine {
    stage: String,
    count: usize,
    unmeasured: usize,
}

/// One entry about pieces or a holder.
struct Happening {
    at: DateTime<Utc>,
    when: String,
    recorded: Option<String>,
    what: String,
    note: String,
    is_void: bool,
    void: Option<EntryId>,
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let now = app.clock.now();
    let plan = plan_of(&record);
    Ok(Page::of(ExposurePage {
        chrome: chrome.titled(format!("Exposure · {}", record.title)),
        hindrance: hindrance(&record),
        ready: plan.map(|plan| ready(&record, plan)).unwrap_or_default(),
        held: held(&record),
        out: plan.map(|plan| out(&record, plan, now)).unwrap_or_default(),
        back: back(&record),
        happenings: happenings(&record),
        holders: exposure_handle::holders(&record),
        has_drying: drying_words::planned(&record).is_some(),
        record,
    }))
}

/// Why nothing can go out, when that is so for the whole study.
pub(super) fn hindrance(record: &StudyRecord) -> Option<&'static str> {
    if record.plan().is_none() {
        Some("Write the plan first.")
    } else if record.draws.is_empty() {
        Some("Draw the allocation first: it says which piece goes where.")
    } else if record.seal.is_none() && !record.is_after_the_fact {
        Some("Seal the plan first: it comes before the first outing.")
    } else {
        None
    }
}

/// Whether a piece waits on the bench for its condition.
pub(super) fn waits(piece: &SpecimenRecord) -> bool {
    piece.whereabouts == Whereabouts::Bench && matches!(piece.place, Some(Place::Exposed { .. }))
}

/// The waiting pieces that lack baseline readings and have no waiver.
pub(super) fn held(record: &StudyRecord) -> Vec<HeldLine> {
    let Some(plan) = plan_of(record) else {
        return Vec::new();
    };
    let measured = Measured::of(record);
    let waived: BTreeSet<&Code> = record
        .waivers
        .iter()
        .map(|waiver| &waiver.specimen)
        .collect();
    let waiting = record.specimens.iter().filter(|piece| waits(piece));
    let unwaived = waiting.filter(|piece| !waived.contains(&piece.code));
    let held = unwaived.filter_map(|piece| {
        let missing = measured.missing(&piece.code, Occasion::Before, plan);
        (!missing.is_empty()).then(|| HeldLine {
            code: piece.code.clone(),
            place: piece_words::place(Some(plan), piece.place.as_ref()),
            missing: missing_words(&missing),
            lacks: missing,
        })
    });
    held.collect()
}

fn is_in_holder(piece: &SpecimenRecord, key: &str) -> bool {
    matches!(&piece.place, Some(Place::Exposed { holder, .. }) if holder == key)
}

fn ready(record: &StudyRecord, plan: &Plan) -> Vec<ReadyLine> {
    let held = held(record);
    let mut lines = Vec::new();
    for condition in &plan.conditions {
        for holder in &condition.holders {
            let waiting = record
                .specimens
                .iter()
                .filter(|p| waits(p) && is_in_holder(p, &holder.key));
            let (held, ready): (Vec<_>, Vec<_>) =
                waiting.partition(|piece| held.iter().any(|line| line.code == piece.code));
            lines.push(ReadyLine {
                condition: condition.name.clone(),
                holder: holder.name.clone(),
                ready: ready.len(),
                held: held.len(),
            });
        }
    }
    lines.retain(|line| line.ready + line.held > 0);
    lines
}

fn is_for(piece: &SpecimenRecord, key: &str, days: u32) -> bool {
    matches!(&piece.place, Some(Place::Exposed { condition, stage_days, .. })
        if condition == key && *stage_days == days)
}

fn out(record: &StudyRecord, plan: &Plan, now: DateTime<Utc>) -> Vec<OutLine> {
    let mut lines = Vec::new();
    for stage in &plan.stages {
        for condition in &plan.conditions {
            lines.extend(out_line(record, (stage, condition), now));
        }
    }
    lines
}

fn out_line(
    record: &StudyRecord,
    (stage, condition): (&Stage, &Condition),
    now: DateTime<Utc>,
) -> Option<OutLine> {
    let pieces = record.specimens.iter().filter(|piece| {
        piece.whereabouts == Whereabouts::Out && is_for(piece, &condition.key, stage.days)
    });
    let outings: Vec<DateTime<Utc>> = pieces.filter_map(|piece| piece.out_at).collect();
    let earliest = *outings.iter().min()?;
    let day = |moment| when::local_day(moment, &record.time_zone);
    let (out_on, today) = (day(earliest), day(now));
    let (first, last) = outing::window_days(out_on, stage);
    let query = form_urlencoded::Serializer::new(String::new())
        .append_pair("stage", &stage.days.to_string())
        .append_pair("condition", &condition.key)
        .finish();
    Some(OutLine {
        condition: condition.name.clone(),
        stage_days: stage.days,
        count: outings.len(),
        since: when::date_in_words(out_on),
        due: when::date_in_words(outing::due_day(out_on, stage.days)),
        window_days: stage.window_days,
        state: match today {
            today if today > last => Some("overdue"),
            today if today >= first => Some("due now"),
            _ => None,
        },
        href: format!("/desk/{}/exposure/in?{query}", record.slug),
    })
}

fn back(record: &StudyRecord) -> Vec<BackLine> {
    let Some(plan) = plan_of(record) else {
        return Vec::new();
    };
    let measured = Measured::of(record);
    let mut lines = Vec::new();
    for stage in &plan.stages {
        let pieces = record.specimens.iter().filter(|piece| {
            piece.whereabouts == Whereabouts::In
                && matches!(piece.place, Some(Place::Exposed { stage_days, .. }) if stage_days == stage.days)
        });
        let pieces: Vec<&SpecimenRecord> = pieces.collect();
        let lacks = |piece: &&&SpecimenRecord| {
            !measured
                .missing(&piece.code, Occasion::After, plan)
                .is_empty()
        };
        lines.push(BackLine {
            stage: format!("{} days", stage.days),
            count: pieces.len(),
            unmeasured: pieces.iter().filter(lacks).count(),
        });
    }
    lines.retain(|line| line.count > 0);
    lines
}

/// The last entries about pieces and holders, newest first.
fn happenings(record: &StudyRecord) -> Vec<Happening> {
    let mut found: Vec<Happening> = Vec::new();
    let mut seen: BTreeSet<EntryId> = record.incidents.iter().map(|i| i.entry).collect();
    for event in &record.events {
        if event.what == EventKind::Rejected || !seen.insert(event.entry) {
            continue;
        }
        found.push(of_event(record, event));
    }
    let incidents = record.incidents.iter().map(|incident| {
        let is_void = incident.standing != Standing::Current;
        Happening {
            at: incident.received_at,
            when: when::in_words(incident.received_at, &record.time_zone),
            recorded: None,
            what: specimen_history::incident_words(record, incident),
            note: incident.note.clone(),
            is_void,
            void: (!is_void).then_some(incident.entry),
        }
    });
    found.extend(incidents);
    // What happened at one moment stands in the journal's order, so that the last comes first.
    found.sort_by_key(|happening| happening.at);
    found.reverse();
    found.truncate(HAPPENINGS);
    found
}

fn of_event(record: &StudyRecord, event: &crate::study::record::EventRecord) -> Happening {
    let all = record
        .events
        .iter()
        .filter(|other| other.entry == event.entry);
    let of_kind: BTreeSet<String> = all
        .clone()
        .map(|other| specimen_history::event_words(record, &other.what))
        .collect();
    let count = all.count();
    let is_void = event.standing != Standing::Current;
    let what = match of_kind.len() {
        1 => of_kind.into_iter().collect::<String>(),
        _ => "taken in, in several states".to_owned(),
    };
    Happening {
        at: event.at,
        when: when::in_words(event.at, &record.time_zone),
        recorded: specimen_history::recorded(event.at, event.received_at, &record.time_zone),
        what: format!("{what}: {}", piece_words::pieces(count)),
        note: event.note.clone().unwrap_or_default(),
        is_void,
        void: (!is_void).then_some(event.entry),
    }
}
