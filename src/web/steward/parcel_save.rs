//! The parcel's next state: handed over, held, received, returned, lost.

use super::consignment_show::{Forms, page};
use crate::study::consignment::ParcelState;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::ConsignmentId;
use crate::study::typed::Typed;
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::Fields;
use crate::web::page::{Chrome, Moved, Page};
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use chrono::{DateTime, TimeDelta, Utc};

/// What the form needs to know besides itself.
struct Asked<'a> {
    consignment: ConsignmentId,
    zone: &'a str,
    packed_at: DateTime<Utc>,
    now: DateTime<Utc>,
}

/// A day typed without an hour counts from noon, which may still lie ahead.
const AHEAD: TimeDelta = TimeDelta::hours(14);

/// Writes it down.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    Path((_, id)): Path<(String, ConsignmentId)>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let consignment = record.consignment(id).ok_or(WebFault::NotFound)?;
    let asked = Asked {
        consignment: id,
        zone: &record.time_zone,
        packed_at: consignment.packed_at,
        now: app.clock.now(),
    };
    let moved = match fields.read(|typed| parse(typed, &asked)) {
        Ok((entry, note)) => {
            act::submit(
                &app,
                &Acting::steward(&steward, &study),
                &fields,
                entry,
                note,
            )
            .await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match moved {
        Ok(_) => {
            let to = format!("/desk/{}/consignments/{id}", study.slug);
            Ok(Moved::to(to)
                .saying("The parcel's state is on record.")
                .into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            let form = act::afresh(&app, &form);
            let forms = Forms {
                parcel: form,
                ..Forms::fresh(&app, &record.time_zone)
            };
            Ok(Page::refused(page(&app, chrome, record, id, forms)?).into_response())
        }
    }
}

fn parse(typed: &Typed, asked: &Asked<'_>) -> Result<(Entry, Option<String>), Faults> {
    let mut faults = Faults::none();
    let state = faults.keep(ParcelState::typed(
        "state",
        "The state",
        typed.text("state"),
    ));
    let at = faults.keep(when::moment("at", "The time", typed.text("at"), asked.zone));
    let note = faults.keep(typed.paragraph("note", "The remark"));
    if at.is_some_and(|at| at > asked.now + AHEAD) {
        faults.push("at", "The time lies in the future; check the date.");
    }
    // The day of packing counts whole: people type a day without an hour.
    let is_before = at.is_some_and(|at| at < asked.packed_at - TimeDelta::days(1));
    if is_before && !typed.has("confirmed") {
        faults.push(
            "confirmed",
            "The time lies before the packing was written down here.",
        );
    }
    let moved = || {
        let entry = Entry::ParcelMoved {
            consignment: asked.consignment,
            state: state?,
            at: at?,
        };
        Some((entry, note.filter(|note| !note.is_empty())))
    };
    faults.and_some(moved())
}
