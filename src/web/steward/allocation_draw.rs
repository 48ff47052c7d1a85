//! Drawing the allocation, or reporting the grouping of a study entered after the fact.

use super::allocation_show;
use crate::clock::hex;
use crate::study::allocation::{self, Allocated, grouping};
use crate::study::entry::Entry;
use crate::study::fault::{Fault, Faults};
use crate::study::record::{PlanVersion, StudyRecord};
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
use std::sync::Arc;

/// Draws.
pub(in crate::web) async fn draw(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    // The seed is drawn here: drawing again would give another allocation for a second sending.
    if act::is_done(&app, &fields).await? {
        return Ok(back(&study).into_response());
    }
    let record = study.record(&app).await?;
    let number = 1 + last_draw(&record);
    let note = match fields.read(|typed| reason(typed, number)) {
        Ok(note) => note,
        Err(form) => return Ok(again(chrome, &record, form)),
    };
    let Some(held) = record.plan().filter(|_| can_draw(&record)) else {
        let form = fields.again_with("", refusal(&record));
        return Ok(again(chrome, &record, form));
    };
    let drawn = match drawn(&app, &record, held, number).await? {
        Ok(drawn) => drawn,
        Err(few) => return Ok(again(chrome, &record, fields.again_with("", few))),
    };
    let entry = Entry::AllocationDrawn(drawn);
    match act::submit(
        &app,
        &Acting::steward(&steward, &study),
        &fields,
        entry,
        note,
    )
    .await
    {
        Ok(_) => Ok(back(&study)
            .saying(format!(
                "Draw {number} is on record. Look at the balance it reached."
            ))
            .into_response()),
        Err(Declined::Form(form)) => Ok(again(chrome, &record, form)),
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

/// Takes the report of who was where.
pub(in crate::web) async fn report(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let Some(held) = record.plan().filter(|_| record.is_after_the_fact) else {
        let form = fields.again_with(
            "",
            "Only a study entered after the fact, with a plan, takes a report.",
        );
        return Ok(again(chrome, &record, form));
    };
    let rows = match fields.read(|typed| grouping::parse(typed, &held.plan, &record)) {
        Ok(rows) => rows,
        Err(form) => return Ok(again(chrome, &record, form)),
    };
    let said = format!(
        "The places of {} pieces are on record, as reported.",
        rows.len()
    );
    let entry = Entry::GroupingReported { rows };
    match act::submit(
        &app,
        &Acting::steward(&steward, &study),
        &fields,
        entry,
        None,
    )
    .await
    {
        Ok(_) => Ok(back(&study).saying(said).into_response()),
        Err(Declined::Form(form)) => Ok(again(chrome, &record, form)),
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

fn back(study: &StudyAccess) -> Moved {
    Moved::to(format!("/desk/{}/allocation", study.slug))
}

fn again(chrome: Chrome, record: &StudyRecord, form: Form) -> Response {
    Page::refused(allocation_show::page(chrome, record, form)).into_response()
}

fn last_draw(record: &StudyRecord) -> u32 {
    let numbers = record.draws.iter().map(|draw| draw.drawn.draw);
    numbers.max().unwrap_or(0)
}

fn can_draw(record: &StudyRecord) -> bool {
    !record.is_after_the_fact && allocation_show::hindrance(record).is_empty()
}

fn refusal(record: &StudyRecord) -> &'static str {
    if record.is_after_the_fact {
        "This study was entered after the fact: its grouping is reported, not drawn."
    } else {
        allocation_show::hindrance(record)
    }
}

/// The reason of a second draw.
fn reason(typed: &Typed, number: u32) -> Result<Option<String>, Faults> {
    let mut faults = Faults::none();
    let text = faults.keep(typed.paragraph("reason", "The reason"));
    let text = text.unwrap_or_default();
    if number > 1 && text.is_empty() && faults.is_empty() {
        let sentence = "A second draw needs its reason; both draws stay visible.";
        faults.0.push(Fault::new("reason", sentence));
    }
    faults.or(Some(text).filter(|text| !text.is_empty()))
}

async fn drawn(
    app: &App,
    record: &Arc<StudyRecord>,
    held: &PlanVersion,
    number: u32,
) -> Result<Result<Allocated, String>, WebFault> {
    let seed: [u8; 32] = app.clock.random();
    let (plan, candidates) = (held.plan.clone(), allocation::candidates(record));
    let candidates_sha256 = allocation::candidates_sha256(&candidates);
    // Thousands of pieces take a moment that other requests should not wait for.
    let drawing = tokio::task::spawn_blocking(move || allocation::draw(&plan, &candidates, &seed));
    let rows = drawing.await.map_err(WebFault::ours)?;
    Ok(rows.map_err(|few| few.to_string()).map(|rows| Allocated {
        draw: number,
        plan_version: held.version,
        seed: hex(&seed),
        method: allocation::METHOD.to_owned(),
        candidates_sha256,
        rows,
    }))
}
