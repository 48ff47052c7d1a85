//! Taking in, from the plan's pick-list: every expected piece, in which state, known by what.

use super::exposure_in_list::{self, PickLine, StageLine};
use super::{exposure_out, exposure_when, piece_words};
use crate::study::cautions::{self, Step};
use crate::study::custody::{Recovered, TakenIn};
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::outing;
use crate::study::plan::Stage;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::{Identity, Recovery};
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Query, Steward};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/exposure_in.html")]
struct InPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    /// What can be chosen, while no stage is.
    stages: Vec<StageLine>,
    /// The pick-list, once one is.
    list: Option<List>,
    cautions: Vec<&'static str>,
    states: Vec<(&'static str, &'static str)>,
    identities: Vec<(&'static str, &'static str)>,
    form: Form,
}

/// A stage's pick-list.
struct List {
    heading: String,
    window: String,
    days: u32,
    window_days: u32,
    lines: Vec<PickLine>,
}

/// The choices for a piece's state; the last one leaves it out.
fn states() -> Vec<(&'static str, &'static str)> {
    let left = ("", "still out: not now");
    let states = Recovery::ALL.map(|state| (state.key(), state.label()));
    states.into_iter().chain([left]).collect()
}

fn identities() -> Vec<(&'static str, &'static str)> {
    Identity::ALL
        .map(|identity| (identity.key(), identity.label()))
        .into()
}

fn page(chrome: Chrome, app: &App, record: Arc<StudyRecord>, form: Form) -> InPage {
    let expected = exposure_in_list::expected(&record, form.typed());
    let list = expected.map(|(stage, pieces)| List {
        heading: exposure_in_list::heading(&record, stage, form.typed()),
        window: exposure_in_list::window_words(&record, stage, &pieces),
        days: stage.days,
        window_days: stage.window_days,
        lines: exposure_in_list::lines(&record, &pieces, &form),
    });
    let is_meant = |piece: &SpecimenRecord| {
        let lines = list.as_ref().map(|list| list.lines.as_slice());
        lines
            .unwrap_or_default()
            .iter()
            .any(|line| line.code == piece.code.as_str())
    };
    let places = exposure_out::places(&record, is_meant);
    InPage {
        chrome: chrome.titled(format!("Take in · {}", record.title)),
        stages: exposure_in_list::stages(&record, app.clock.now()),
        cautions: cautions::of(Step::TakeIn, places),
        states: states(),
        identities: identities(),
        list,
        record,
        form,
    }
}

/// First the stage, then its pick-list.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    query: Query,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let mut typed = exposure_when::fresh(&app, &record);
    typed.set("stage", query.0.text("stage"));
    typed.set("condition", query.0.text("condition"));
    Ok(Page::of(page(chrome, &app, record, Form::filled(typed))))
}

/// Writes the withdrawal down.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    fields: Fields,
) -> Result<Response, WebFault> {
    let exposure = format!("/desk/{}/exposure", study.slug);
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(exposure).into_response());
    }
    let record = study.record(&app).await?;
    let done = match fields.read(|typed| parse(typed, &app, &record)) {
        Ok((taken, note)) => {
            let count = taken.pieces.len();
            let acting = Acting::steward(&steward, &study);
            let entry = Entry::TakenIn(taken);
            let sent = act::submit(&app, &acting, &fields, entry, Some(note)).await;
            sent.map(|_| count)
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(count) => Ok(Moved::to(exposure)
            .saying(format!("{} accounted for.", piece_words::pieces(count)))
            .into_response()),
        Err(Declined::Form(form)) => {
            Ok(Page::refused(page(chrome, &app, record, form)).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

fn parse(typed: &Typed, app: &App, record: &StudyRecord) -> Result<(TakenIn, String), Faults> {
    let mut faults = Faults::none();
    let Some((stage, expected)) = exposure_in_list::expected(record, typed) else {
        return Err(Faults::one("stage", "Choose the stage first."));
    };
    let pieces = recovered(typed, &expected, &mut faults);
    let note = faults.keep(typed.paragraph("note", "The remark"));
    let at = exposure_when::moment(typed, record, &mut faults);
    if let Some(at) = at {
        let outside = outside(&expected, &pieces, at, (stage, &record.time_zone));
        let doubts = [exposure_when::ahead(app, at), outside];
        exposure_when::ask(typed, doubts.into_iter().flatten(), &mut faults);
    }
    let taken = || {
        Some(TakenIn {
            pieces,
            at: at?,
            is_confirmed_doubt: typed.has("confirmed"),
        })
    };
    let taken = taken().zip(note);
    faults.and_some(taken)
}

/// What is doubtful about the moment for the pieces that come in as planned; one withdrawn in error
/// is out of its time anyway.
fn outside(
    expected: &[&SpecimenRecord],
    pieces: &[Recovered],
    at: chrono::DateTime<chrono::Utc>,
    (stage, zone_name): (&Stage, &str),
) -> Option<String> {
    let planned = expected.iter().copied().filter(|piece| {
        let found = pieces
            .iter()
            .find(|recovered| recovered.specimen == piece.code);
        found.is_some_and(|recovered| recovered.recovery != Recovery::InError)
    });
    outing::outside_window(planned, at, (stage, zone_name))
}

/// The pieces whose state is given, and what is wrong with the rest.
fn recovered(typed: &Typed, expected: &[&SpecimenRecord], faults: &mut Faults) -> Vec<Recovered> {
    let mut pieces = Vec::new();
    for piece in expected {
        let (state, known_by) = exposure_in_list::fields(&piece.code);
        if !typed.has(&state) {
            continue;
        }
        let recovery = Recovery::typed(&state, "The state", typed.text(&state));
        let recovery = faults.keep(recovery);
        let identity = match recovery {
            // Nothing was found that could be identified.
            Some(Recovery::NotFound) => Some(Identity::Unknown),
            _ => {
                let typed =
                    Identity::typed(&known_by, "How it was identified", typed.text(&known_by));
                faults.keep(typed)
            }
        };
        if let (Some(recovery), Some(identity)) = (recovery, identity) {
            pieces.push(Recovered {
                specimen: piece.code.clone(),
                recovery,
                identity,
            });
        }
    }
    if pieces.is_empty() && faults.is_empty() {
        faults.push("", "Say for at least one piece in which state it came in.");
    }
    pieces
}
