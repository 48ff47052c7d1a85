//! Unblinding a consignment: what it does, and doing it. Finished, or early with a reason.

use super::consignment_list::state;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::ConsignmentId;
use crate::study::record::StudyRecord;
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/consignment_unblind.html")]
struct UnblindPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    address: String,
    lab: String,
    state: String,
    is_finished: bool,
    form: Form,
}

/// Says what it does.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Path((_, id)): Path<(String, ConsignmentId)>,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let one = record.consignment(id).ok_or(WebFault::NotFound)?;
    if !one.is_blind() {
        let to = format!("/desk/{}/consignments/{id}", study.slug);
        return Ok(Moved::to(to).into_response());
    }
    let entry = act::fresh(&app);
    let form = Form::filled([(act::ENTRY, entry.as_str())]);
    Ok(Page::of(page(chrome, record, id, form)?).into_response())
}

fn page(
    chrome: Chrome,
    record: Arc<StudyRecord>,
    id: ConsignmentId,
    form: Form,
) -> Result<UnblindPage, WebFault> {
    let one = record.consignment(id).ok_or(WebFault::NotFound)?;
    Ok(UnblindPage {
        chrome: chrome.titled("Unblind"),
        address: format!("/desk/{}/consignments/{id}", record.slug),
        lab: one.lab.clone(),
        state: state(one),
        is_finished: one.finished_at.is_some(),
        form,
        record,
    })
}

/// Does it.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    Path((_, id)): Path<(String, ConsignmentId)>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let one = record.consignment(id).ok_or(WebFault::NotFound)?;
    let is_finished = one.finished_at.is_some();
    let unblinded = match fields.read(|typed| reason(typed, is_finished)) {
        Ok(reason) => {
            let entry = Entry::Unblinded { consignment: id };
            let acting = Acting::steward(&steward, &study);
            act::submit(&app, &acting, &fields, entry, reason).await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match unblinded {
        Ok(_) => {
            let to = format!("/desk/{}/consignments/{id}", study.slug);
            let said = "Unblinded and locked. What is changed from now on says that it was made knowing the group.";
            Ok(Moved::to(to).saying(said).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            let form = act::afresh(&app, &form);
            Ok(Page::refused(page(chrome, record, id, form)?).into_response())
        }
    }
}

fn reason(typed: &Typed, is_finished: bool) -> Result<Option<String>, Faults> {
    let text = typed.paragraph("reason", "The reason");
    let text = text.map_err(|fault| Faults::one(fault.field, fault.sentence))?;
    if text.is_empty() && !is_finished {
        let sentence = "The consignment is not finished. Say why it is unblinded early; the public page \
                        will show it.";
        return Err(Faults::one("reason", sentence));
    }
    Ok(Some(text).filter(|text| !text.is_empty()))
}
