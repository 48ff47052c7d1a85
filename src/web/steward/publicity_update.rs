//! Opening a study's page to the public, and closing it again.

use super::study_show;
use crate::study::entry::Entry;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::Fields;
use crate::web::page::{Chrome, Moved, Page};
use axum::extract::State;
use axum::response::{IntoResponse, Response};

/// Opens it.
pub(in crate::web) async fn open(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let said = "The study's page is open to everybody.";
    let entry = Entry::MadePublic {};
    switch(&app, chrome, (&steward, &study), &fields, (entry, said)).await
}

/// Closes it.
pub(in crate::web) async fn close(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let said = "Only the study's stewards see it now.";
    let entry = Entry::MadePrivate {};
    switch(&app, chrome, (&steward, &study), &fields, (entry, said)).await
}

async fn switch(
    app: &App,
    chrome: Chrome,
    (steward, study): (&Steward, &StudyAccess),
    fields: &Fields,
    (entry, said): (Entry, &str),
) -> Result<Response, WebFault> {
    match act::submit(app, &Acting::steward(steward, study), fields, entry, None).await {
        Ok(_) => Ok(Moved::to(format!("/desk/{}", study.slug))
            .saying(said)
            .into_response()),
        Err(Declined::Form(form)) => {
            let page = study_show::page(app, chrome, study, form).await?;
            Ok(Page::refused(page).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}
