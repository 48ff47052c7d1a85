//! Writing the plan, and amending it after the seal. What the page shows besides the form is in
//! [`plan_page`](super::plan_page).

use super::plan_outlook::outlook;
use super::plan_page::{self, Look};
use crate::study::entry::Entry;
use crate::study::fault::{Fault, Faults};
use crate::study::plan::form::{self, ROW_FIELDS, row_field};
use crate::study::plan::{Plan, check};
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

/// The form, filled with the plan that holds or with the usual small design.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let held = record.plan().map(|held| &held.plan);
    let mut typed = held.map_or_else(form::blank, form::filled);
    typed.set(act::ENTRY, act::fresh(&app));
    let look = Look::shown(match held {
        Some(plan) => Some(outlook(&app, plan).await?),
        None => None,
    });
    Ok(Page::of(plan_page::page(
        chrome,
        &record,
        Form::filled(typed),
        look,
    )))
}

/// Saves the plan; or only checks it, or shows more rows, when that button was pressed.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let pressed = fields.0.text("act");
    if matches!(pressed, "dimension" | "stage" | "condition") {
        let form = Form::filled(fields.0.clone());
        let look = Look::more(pressed);
        return Ok(Page::of(plan_page::page(chrome, &record, form, look)).into_response());
    }
    let held = record.plan().map(|held| &held.plan);
    let plan = match fields.read(|typed| form::parse(typed, held)) {
        Ok(plan) => plan,
        Err(form) => return Ok(again(chrome, &record, at_rows(&fields, &form))),
    };
    if pressed == "check" {
        let form = Form::filled(fields.0.clone());
        let look = Look::checked(outlook(&app, &plan).await?);
        return Ok(Page::of(plan_page::page(chrome, &record, form, look)).into_response());
    }
    let there = format!("/desk/{}/plan", study.slug);
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(there).into_response());
    }
    let entry = match entry(&fields.0, &record, &plan) {
        Ok(entry) => entry,
        Err(faults) => return Ok(again(chrome, &record, fields.again(faults))),
    };
    let note = Some(fields.0.text("reason").to_owned());
    let note = note.filter(|_| record.seal.is_some());
    match act::submit(
        &app,
        &Acting::steward(&steward, &study),
        &fields,
        entry,
        note,
    )
    .await
    {
        Ok(_) => Ok(Moved::to(there)
            .saying(saved(&plan, &record))
            .into_response()),
        Err(Declined::Form(form)) => Ok(again(chrome, &record, form)),
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

fn again(chrome: Chrome, record: &StudyRecord, form: Form) -> Response {
    Page::refused(plan_page::page(chrome, record, form, Look::refused())).into_response()
}

/// The entry that saving makes; or why it makes none.
fn entry(typed: &Typed, record: &StudyRecord, plan: &Plan) -> Result<Entry, Faults> {
    let mut faults = Faults::none();
    let version = record.plan().map_or(0, |held| held.version);
    if typed.text("version") != version.to_string() {
        let sentence = format!(
            "The plan was written again while this page was open: version {version} holds. What you \
             typed stands below; saving it once more puts it in that version's place."
        );
        faults.push("", sentence);
    }
    if record.plan().is_some_and(|held| held.plan == *plan) {
        faults.push("", format!("Nothing differs from version {version}."));
    }
    if record.seal.is_some() {
        faults.keep(reason(typed));
    }
    let plan = Box::new(plan.clone());
    faults.or(match record.seal {
        Some(_) => Entry::Amended { plan },
        None => Entry::PlanWritten { plan },
    })
}

fn reason(typed: &Typed) -> Result<(), Fault> {
    match typed.paragraph("reason", "The reason")?.as_str() {
        "" => Err(Fault::new("reason", "An amendment needs its reason.")),
        _ => Ok(()),
    }
}

fn saved(plan: &Plan, record: &StudyRecord) -> String {
    let version = 1 + record.plan().map_or(0, |held| held.version);
    let what = if record.seal.is_some() {
        "Amended"
    } else {
        "Saved"
    };
    let pieces = check::count(plan).total();
    format!("{what}: the plan's version {version} calls for {pieces} pieces.")
}

/// What no field may hold is found by the field's name alone; on this page a repeated field is
/// known by its row as well.
fn at_rows(fields: &Fields, form: &Form) -> Form {
    let mut faults = Faults::none();
    for fault in form.faults().iter() {
        if !ROW_FIELDS.contains(&fault.field.as_str()) {
            faults.0.push(fault.clone());
            continue;
        }
        let values = fields.0.all(&fault.field);
        let is_odd = |text: &&str| text.contains('\0') || text.chars().nth(1_000).is_some();
        let row = values.iter().position(is_odd).unwrap_or(0);
        let name = row_field(&fault.field, row);
        if faults.for_field(&name).is_none() {
            faults.push(name, fault.sentence.clone());
        }
    }
    fields.again(faults)
}
