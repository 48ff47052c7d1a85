//! One consignment: its parcel, its lab links, how far the tests are. Values stand here only after
//! unblinding; until then the page knows no more than how many tests there are.

use super::consignment_list::state;
use crate::analysis::digits::fixed;
use crate::study::allocation::Place;
use crate::study::break_test::{Looks, TestSession};
use crate::study::cautions::{self, Step};
use crate::study::code::Code;
use crate::study::consignment::{Arrival, Label, ParcelState};
use crate::study::ids::ConsignmentId;
use crate::study::record::{
    ConsignmentRecord, LinkRecord, PieceRecord, Standing, StudyRecord, TestRecord,
};
use crate::study::typed::Typed;
use crate::study::units::in_digits;
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act;
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::form::Form;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/consignment_show.html")]
pub(super) struct ConsignmentPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    address: String,
    cautions: Vec<&'static str>,
    lab: String,
    contents: String,
    state: String,
    is_finished: bool,
    is_blind: bool,
    way: Vec<(&'static str, String)>,
    packed: Vec<(String, &'static str)>,
    has_visible: bool,
    links: Vec<Link>,
    reopened: Vec<String>,
    early_reason: Option<String>,
    values: Vec<Value>,
    drift: Option<String>,
    /// Differences between what was sent and what arrived that nobody has settled.
    unsettled: usize,
    parcel_states: Vec<(&'static str, &'static str)>,
    forms: Forms,
}

/// The forms of the page; one of them may be shown again with its faults.
pub(super) struct Forms {
    /// The parcel's next state.
    pub(super) parcel: Form,
    /// A new lab link.
    pub(super) link: Form,
    /// Another end for a lab link; its hidden field names which.
    pub(super) extend: Form,
    /// Opening a finished consignment again.
    pub(super) reopen: Form,
}

/// A lab link; its secret was shown once and is not here.
struct Link {
    id: String,
    entry: String,
    state: String,
    is_open: bool,
    is_asked: bool,
}

/// A piece with its test, after unblinding.
struct Value {
    code: String,
    blind: String,
    place: String,
    load: String,
    words: String,
    marks: Vec<&'static str>,
    notes: Vec<String>,
    looks: &'static str,
    is_tested: bool,
}

/// Shows it.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Path((_, id)): Path<(String, ConsignmentId)>,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let parcel = record.consignment(id).map(|one| one.parcel);
    let mut forms = Forms::fresh(&app, &record.time_zone);
    forms.parcel = parcel.map_or(forms.parcel.clone(), |now| next_state(&forms.parcel, now));
    Ok(Page::of(page(&app, chrome, record, id, forms)?))
}

/// The form with the state that usually comes next.
fn next_state(form: &Form, now: ParcelState) -> Form {
    let next = match now {
        ParcelState::Packed => ParcelState::HandedOver,
        ParcelState::HandedOver | ParcelState::Held => ParcelState::Received,
        ParcelState::Received => ParcelState::Returned,
        last => last,
    };
    let mut typed = form.typed().clone();
    typed.set("state", next.key());
    Form::filled(typed)
}

impl Forms {
    /// Nothing typed yet.
    pub(super) fn fresh(app: &App, zone: &str) -> Self {
        let now = app.clock.now();
        let with = |name: &str, value: String| {
            let mut typed = Typed::default();
            typed.set(act::ENTRY, act::fresh(app));
            typed.set(name, value);
            Form::filled(typed)
        };
        let year = (now + chrono::TimeDelta::days(180)).date_naive();
        Self {
            parcel: with("at", when::field(now, zone)),
            link: with("days", "60".to_owned()),
            extend: with("until", year.to_string()),
            reopen: with("reason", String::new()),
        }
    }
}

/// The page with its forms as they should look.
pub(super) fn page(
    app: &App,
    chrome: Chrome,
    record: Arc<StudyRecord>,
    id: ConsignmentId,
    forms: Forms,
) -> Result<ConsignmentPage, WebFault> {
    let one = record.consignment(id).ok_or(WebFault::NotFound)?;
    let zone = &record.time_zone;
    let mut packed: Vec<_> = one.pieces.iter().collect();
    packed.sort_by(|a, b| a.specimen.cmp(&b.specimen));
    let asked = forms.extend.value("link").to_owned();
    Ok(ConsignmentPage {
        chrome: chrome.titled(format!("Consignment for {}", one.lab)),
        address: format!("/desk/{}/consignments/{id}", record.slug),
        cautions: cautions::of(Step::Ship, []),
        lab: one.lab.clone(),
        contents: one.contents.label(),
        state: state(one),
        is_finished: one.finished_at.is_some(),
        is_blind: one.is_blind(),
        way: way(one, zone),
        packed: packed
            .iter()
            .map(|p| (p.specimen.to_string(), p.label.label()))
            .collect(),
        has_visible: one.pieces.iter().any(|piece| piece.label == Label::Visible),
        links: one
            .links
            .iter()
            .map(|link| lab_link(app, link, zone, &asked))
            .collect(),
        reopened: one.reopened.clone(),
        early_reason: one.early_reason.clone(),
        values: if one.is_blind() {
            Vec::new()
        } else {
            values(&record, one)
        },
        drift: Some(one).filter(|one| !one.is_blind()).and_then(drifts),
        unsettled: one
            .settled_differences()
            .iter()
            .filter(|(_, words)| words.is_empty())
            .count(),
        parcel_states: ParcelState::ALL
            .iter()
            .map(|s| (s.key(), s.label()))
            .collect(),
        forms,
        record,
    })
}

fn way(one: &ConsignmentRecord, zone: &str) -> Vec<(&'static str, String)> {
    let packed = (ParcelState::Packed, one.packed_at);
    let way = std::iter::once(packed).chain(one.way.iter().copied());
    way.map(|(state, at)| (state.label(), when::in_words(at, zone)))
        .collect()
}

fn lab_link(app: &App, link: &LinkRecord, zone: &str, asked: &str) -> Link {
    let now = app.clock.now();
    let end = when::day_in_words(link.ends_at, zone);
    let is_open = !link.is_revoked && link.ends_at > now;
    let state = match (link.is_revoked, is_open) {
        (true, _) => "revoked".to_owned(),
        (false, true) => format!("open until {end}"),
        (false, false) => format!("ended on {end}"),
    };
    Link {
        id: link.id.to_string(),
        entry: act::fresh(app),
        state,
        is_open,
        is_asked: link.id.to_string() == asked,
    }
}

fn values(record: &StudyRecord, one: &ConsignmentRecord) -> Vec<Value> {
    let pieces = one.pieces.iter();
    let mut values: Vec<Value> = pieces.map(|piece| value(record, one, piece)).collect();
    values.sort_by(|a, b| (&a.place, &a.code).cmp(&(&b.place, &b.code)));
    values
}

fn value(record: &StudyRecord, one: &ConsignmentRecord, piece: &PieceRecord) -> Value {
    let test = one.test_of(&piece.blind);
    let own = one
        .tests
        .iter()
        .filter(|test| test.test.blind == piece.blind);
    let notes = own.filter_map(|test| test.note.clone());
    let flags = test.map_or_else(Vec::new, |test| record.equipment_flags(one, test));
    let flags = flags
        .into_iter()
        .map(|flag| format!("Flagged: {}", flag.words()));
    let words = match test {
        Some(test) => {
            let (outcome, mode) = (test.test.outcome.label(), test.test.mode.label());
            let failure = test.test.failure.as_ref();
            let failure = failure.map_or_else(String::new, |f| format!(": {}", f.in_words()));
            format!("{outcome}, {mode}{failure}")
        }
        None => piece.arrival.map_or("no test", Arrival::label).to_owned(),
    };
    Value {
        code: piece.specimen.to_string(),
        blind: piece.blind.to_string(),
        place: place(record, &piece.specimen),
        load: test.map(load).unwrap_or_default(),
        words,
        marks: test.map(marks).unwrap_or_default(),
        notes: piece
            .arrival_note
            .clone()
            .into_iter()
            .chain(notes)
            .chain(flags)
            .collect(),
        looks: piece.looks.map_or("", Looks::label),
        is_tested: test.is_some(),
    }
}

/// Condition and holder of a piece, or that it is of the baseline set.
pub(super) fn place(record: &StudyRecord, code: &Code) -> String {
    let place = record.specimen(code).and_then(|piece| piece.counts_at());
    let plan = record.plan().map(|version| &version.plan);
    match place {
        Some(Place::Exposed {
            condition, holder, ..
        }) => plan.and_then(|plan| plan.holder(holder)).map_or_else(
            || condition.clone(),
            |(condition, holder)| format!("{}, {}", condition.name, holder.name),
        ),
        Some(Place::LateReference) => "late reference".to_owned(),
        _ => "baseline".to_owned(),
    }
}

fn load(test: &TestRecord) -> String {
    test.test
        .max_load_n
        .map_or_else(String::new, |newtons| in_digits(newtons, 6))
}

/// What stands beside a value.
pub(super) fn marks(test: &TestRecord) -> Vec<&'static str> {
    let marks = [
        (test.is_knowing_group, "made knowing the group"),
        (test.supersedes.is_some(), "corrected"),
        (test.test.is_out_of_order, "out of order"),
        (test.test.is_confirmed_doubt, "confirmed"),
        (test.standing != Standing::Current, "replaced"),
    ];
    marks
        .into_iter()
        .filter_map(|(is_so, mark)| is_so.then_some(mark))
        .collect()
}

/// How the check load drifted, session by session.
fn drifts(one: &ConsignmentRecord) -> Option<String> {
    let sessions = one.used_sessions();
    let said = sessions.iter().map(|session| match sessions.len() {
        1 => drift(session),
        _ => format!(
            "{}: {}",
            session.tested_on.format("%-d %B %Y"),
            drift(session)
        ),
    });
    let said: Vec<String> = said.collect();
    (!said.is_empty()).then(|| said.join(" "))
}

fn drift(session: &TestSession) -> String {
    match (session.drift_percent(), session.is_drifted()) {
        (None, _) => {
            "No check load was logged at both ends of the session, so a drift of the machine \
            cannot be ruled out."
                .to_owned()
        }
        (Some(drift), Some(true)) => format!(
            "The check load drifted by {} %, beyond its limit. This is shown on every comparison \
             across sessions.",
            fixed(drift, 2)
        ),
        (Some(drift), _) => format!("The check load drifted by {} %.", fixed(drift, 2)),
    }
}
