//! Sealing the plan, and noting where the seal's line was posted.

use super::seal_show;
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
use axum::extract::State;
use axum::response::{IntoResponse, Response};

/// Seals the plan whose version and hash the form carries.
pub(in crate::web) async fn seal(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let entry = match fields.read(sealed) {
        Ok(entry) => entry,
        Err(form) => return Ok(again(chrome, &record, form)),
    };
    let said = "The plan is sealed. Note its line somewhere outside this server now.";
    match act::submit(
        &app,
        &Acting::steward(&steward, &study),
        &fields,
        entry,
        None,
    )
    .await
    {
        Ok(_) => Ok(back(&study, said)),
        Err(Declined::Form(form)) => Ok(again(chrome, &record, form)),
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

/// Notes where the line was posted.
pub(in crate::web) async fn witness(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let noted = "Noted: the public page names this place.";
    if act::is_done(&app, &fields).await? {
        return Ok(back(&study, noted));
    }
    let record = study.record(&app).await?;
    let place = match fields.read(|typed| witness_place(typed, &record)) {
        Ok(place) => place,
        Err(form) => return Ok(again(chrome, &record, form)),
    };
    let entry = Entry::WitnessNoted { place };
    match act::submit(
        &app,
        &Acting::steward(&steward, &study),
        &fields,
        entry,
        None,
    )
    .await
    {
        Ok(_) => Ok(back(&study, noted)),
        Err(Declined::Form(form)) => Ok(again(chrome, &record, form)),
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

fn back(study: &StudyAccess, said: &str) -> Response {
    let there = Moved::to(format!("/desk/{}/seal", study.slug));
    there.saying(said).into_response()
}

fn again(chrome: Chrome, record: &StudyRecord, form: Form) -> Response {
    let page = seal_show::page(chrome, record, form);
    Page::refused(page).into_response()
}

fn sealed(typed: &Typed) -> Result<Entry, Faults> {
    let mut faults = Faults::none();
    if !typed.has("confirmed") {
        faults.push("confirmed", "Read the plan as it stands here, and say so.");
    }
    // What does not fit the plan that holds is refused by the journal's own rule.
    let plan_version = typed.text("version").parse().unwrap_or(0);
    faults.or(Entry::Sealed {
        plan_version,
        plan_sha256: typed.text("plan_sha256").to_owned(),
    })
}

fn witness_place(typed: &Typed, record: &StudyRecord) -> Result<String, Faults> {
    let mut faults = Faults::none();
    if record.seal.is_none() {
        faults.push("", "There is no seal yet whose line could be posted.");
    }
    let place = faults.keep(typed.required("place", "The place"));
    if let Some(place) = &place
        && record.witnesses.contains(place)
    {
        faults.push("place", "This place is noted already.");
    }
    faults.and_some(place)
}
