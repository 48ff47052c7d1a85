//! Opening a finished consignment again, with a reason: the tester may write until it is declared
//! finished once more.

use super::consignment_show::{Forms, page};
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::ConsignmentId;
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::Fields;
use crate::web::page::{Chrome, Moved, Page};
use axum::extract::State;
use axum::response::{IntoResponse, Response};

/// Opens it.
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
    let why_not = match (one.is_blind(), one.finished_at) {
        (false, _) => Some("This consignment is unblinded and locked; it cannot be opened again."),
        (true, None) => Some("This consignment is not finished, so it is open already."),
        (true, Some(_)) => None,
    };
    if let Some(sentence) = why_not {
        return Err(WebFault::Conflict(sentence.to_owned()));
    }
    let opened = match fields.read(reason) {
        Ok(reason) => {
            let entry = Entry::Reopened { consignment: id };
            let acting = Acting::steward(&steward, &study);
            act::submit(&app, &acting, &fields, entry, Some(reason)).await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match opened {
        Ok(_) => {
            let to = format!("/desk/{}/consignments/{id}", study.slug);
            let said =
                "It is open again; the tester may write until it is declared finished once more.";
            Ok(Moved::to(to).saying(said).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            let form = act::afresh(&app, &form);
            let forms = Forms {
                reopen: form,
                ..Forms::fresh(&app, &record.time_zone)
            };
            Ok(Page::refused(page(&app, chrome, record, id, forms)?).into_response())
        }
    }
}

fn reason(typed: &Typed) -> Result<String, Faults> {
    let text = typed.paragraph("reason", "The reason");
    let text = text.map_err(|fault| Faults::one(fault.field, fault.sentence))?;
    if text.is_empty() {
        return Err(Faults::one("reason", "Say why it is opened again."));
    }
    Ok(text)
}
