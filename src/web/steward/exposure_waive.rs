//! Waiving baseline readings, with a reason that the public page shows.

use super::exposure_show::{self, HeldLine};
use super::piece_words;
use crate::study::code::Code;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::record::StudyRecord;
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/exposure_waive.html")]
struct WaivePage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    held: Vec<HeldLine>,
    form: Form,
}

fn page(chrome: Chrome, record: Arc<StudyRecord>, form: Form) -> WaivePage {
    WaivePage {
        chrome: chrome.titled(format!("Waive readings · {}", record.title)),
        held: exposure_show::held(&record),
        record,
        form,
    }
}

/// The form.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let entry = act::fresh(&app);
    Ok(Page::of(page(
        chrome,
        record,
        Form::filled([("entry", entry.as_str())]),
    )))
}

/// Writes the waiver down.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    fields: Fields,
) -> Result<Response, WebFault> {
    let on = format!("/desk/{}/exposure/out", study.slug);
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(on).into_response());
    }
    let record = study.record(&app).await?;
    let done = match fields.read(|typed| parse(typed, &record)) {
        Ok((specimens, reason)) => {
            let count = specimens.len();
            let entry = Entry::Waived { specimens };
            let acting = Acting::steward(&steward, &study);
            let sent = act::submit(&app, &acting, &fields, entry, Some(reason)).await;
            sent.map(|_| count)
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(count) => Ok(Moved::to(on)
            .saying(format!(
                "Waived for {}; the reason will be public.",
                piece_words::pieces(count)
            ))
            .into_response()),
        Err(Declined::Form(form)) => Ok(Page::refused(page(chrome, record, form)).into_response()),
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

fn parse(typed: &Typed, record: &StudyRecord) -> Result<(Vec<Code>, String), Faults> {
    let mut faults = Faults::none();
    let held = exposure_show::held(record);
    let ticked = typed.all("piece");
    let is_stray = |code: &&&str| !held.iter().any(|line| line.code.as_str() == **code);
    if ticked.is_empty() {
        faults.push("piece", "Tick at least one piece.");
    } else if ticked.iter().find(is_stray).is_some() {
        faults.push(
            "piece",
            "A ticked piece needs no waiver any more; look again.",
        );
    }
    let reason = faults.keep(typed.paragraph("reason", "The reason"));
    if reason.as_deref() == Some("") {
        faults.push("reason", "Say why they were not measured.");
    }
    let chosen = held.into_iter().map(|line| line.code);
    let chosen = chosen
        .filter(|code| ticked.contains(&code.as_str()))
        .collect();
    faults.and_some(reason.map(|reason| (chosen, reason)))
}
