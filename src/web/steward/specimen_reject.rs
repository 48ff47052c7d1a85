//! Rejecting a piece for a visible defect, before the allocation.

use super::specimen_show::{self, SpecimenPath};
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::Fields;
use crate::web::page::{Chrome, Moved, Page};
use axum::extract::State;
use axum::response::{IntoResponse, Response};

/// Rejects it, with the reason.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    Path(path): Path<SpecimenPath>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let specimen = path.find(&record)?.code.clone();
    let reason = fields.read(|typed| {
        let mut faults = Faults::none();
        let reason = faults.keep(typed.paragraph("reason", "The reason"));
        if reason.as_deref() == Some("") {
            faults.push("reason", "Say what is wrong with it.");
        }
        faults.and_some(reason)
    });
    let done = match reason {
        Ok(reason) => {
            let entry = Entry::SpecimenRejected {
                specimen: specimen.clone(),
            };
            let acting = Acting::steward(&steward, &study);
            act::submit(&app, &acting, &fields, entry, Some(reason)).await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(_) => Ok(
            Moved::to(format!("/desk/{}/specimens/{specimen}", study.slug))
                .saying(format!(
                    "{specimen} is rejected and stays out of the allocation."
                ))
                .into_response(),
        ),
        Err(Declined::Form(form)) => {
            let page = specimen_show::page(chrome, record, &specimen, form)?;
            Ok(Page::refused(page).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}
