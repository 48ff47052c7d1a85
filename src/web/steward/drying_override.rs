//! Overriding the plan's drying rule for some pieces, with a reason that the public page shows.

use super::pick::{self, Section};
use super::{drying_words, piece_words};
use crate::study::code::Code;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::reading::Occasion;
use crate::study::record::{SpecimenRecord, StudyRecord};
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
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/drying_override.html")]
struct OverridePage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    sections: Vec<Section>,
    /// On which occasion each piece dries, as JSON for the page's script.
    occasions: String,
    form: Form,
}

/// Whether a piece dries, is not constant and not overridden yet.
fn is_open(record: &StudyRecord, piece: &SpecimenRecord, now: DateTime<Utc>) -> bool {
    let Some(occasion) = drying_words::occasion(record, piece) else {
        return false;
    };
    let state = record.drying_state(&piece.code, occasion, now);
    state.is_some_and(|state| !state.is_constant())
        && record.drying_override(&piece.code, occasion).is_none()
}

fn page(chrome: Chrome, app: &App, record: Arc<StudyRecord>, form: Form) -> OverridePage {
    let now = app.clock.now();
    let dries = drying_words::drying(&record).into_iter();
    let dries = dries.map(|(occasion, piece)| (piece.code.as_str(), occasion));
    OverridePage {
        occasions: serde_json::json!(dries.collect::<BTreeMap<_, _>>()).to_string(),
        chrome: chrome.titled(format!("Override the drying rule · {}", record.title)),
        sections: pick::sections(&record, |piece| is_open(&record, piece, now)),
        record,
        form,
    }
}

/// The form; a piece in the address is ticked already.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    query: Query,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let fresh = act::fresh(&app);
    let mut typed = Typed::from([("entry", fresh.as_str())]);
    for piece in query.0.all("piece") {
        typed.add("piece", piece);
    }
    Ok(Page::of(page(chrome, &app, record, Form::filled(typed))))
}

/// Writes it down.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    fields: Fields,
) -> Result<Response, WebFault> {
    let on = format!("/desk/{}/drying", study.slug);
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(on).into_response());
    }
    let record = study.record(&app).await?;
    let done = match fields.read(|typed| parse(typed, &app, &record)) {
        Ok((specimens, reason)) => {
            let count = specimens.len();
            let entries = by_occasion(&record, specimens, &reason);
            let acting = Acting::steward(&steward, &study);
            let sent = act::submit_all(&app, &acting, &fields, entries).await;
            sent.map(|_| count)
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(count) => {
            let said = format!(
                "Overridden for {}; the reason will be public with their results.",
                piece_words::pieces(count)
            );
            Ok(Moved::to(on).saying(said).into_response())
        }
        Err(Declined::Form(form)) => {
            Ok(Page::refused(page(chrome, &app, record, form)).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

/// One entry for the pieces before exposure, one for those after it.
fn by_occasion(
    record: &StudyRecord,
    specimens: Vec<Code>,
    reason: &str,
) -> Vec<(Entry, Option<String>)> {
    let on = |occasion: Occasion| {
        let dries = |code: &&Code| {
            let piece = record.specimen(code);
            piece.and_then(|piece| drying_words::occasion(record, piece)) == Some(occasion)
        };
        let specimens: Vec<Code> = specimens.iter().filter(dries).cloned().collect();
        let entry = Entry::DryingOverridden {
            specimens,
            occasion,
        };
        (entry, Some(reason.to_owned()))
    };
    let entries = Occasion::ALL.map(on).into_iter();
    entries
        .filter(|(entry, _)| !entry.specimens().is_empty())
        .collect()
}

fn parse(typed: &Typed, app: &App, record: &StudyRecord) -> Result<(Vec<Code>, String), Faults> {
    let mut faults = Faults::none();
    let now = app.clock.now();
    let sections = pick::sections(record, |piece| is_open(record, piece, now));
    let specimens = faults.keep(pick::chosen(typed, &sections));
    let reason = faults.keep(typed.paragraph("reason", "The reason"));
    if reason.as_deref() == Some("") {
        faults.push("reason", "Say why the mass is taken before it is constant.");
    }
    faults.and_some(specimens.zip(reason))
}
