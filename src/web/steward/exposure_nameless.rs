//! A piece whose mark is gone: only its holder is known, and so its condition. It gets a code today.

use super::piece_words::{self, plan_of};
use super::{exposure_handle, exposure_when, specimen_new};
use crate::study::code::Code;
use crate::study::custody::NamelessFound;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::record::StudyRecord;
use crate::study::specimen::Recovery;
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
use std::collections::BTreeMap;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/exposure_nameless.html")]
struct NamelessPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    holders: Vec<(String, String)>,
    stages: Vec<(String, String)>,
    states: Vec<(&'static str, &'static str)>,
    /// The condition of each holder, as JSON.
    conditions: String,
    form: Form,
}

/// The states in which something can be found.
const FOUND: [Recovery; 4] = [
    Recovery::Whole,
    Recovery::Damaged,
    Recovery::Fragments,
    Recovery::InError,
];

fn page(chrome: Chrome, record: Arc<StudyRecord>, form: Form) -> NamelessPage {
    let stages = plan_of(&record).map(|plan| plan.stages.as_slice());
    let stages = stages.unwrap_or_default().iter();
    NamelessPage {
        chrome: chrome.titled(format!("Piece without its mark · {}", record.title)),
        holders: exposure_handle::holders(&record),
        stages: stages
            .map(|stage| (stage.days.to_string(), format!("{} days", stage.days)))
            .collect(),
        conditions: conditions(&record),
        states: FOUND.map(|state| (state.key(), state.label())).into(),
        record,
        form,
    }
}

/// For the page's script, which writes down both.
fn conditions(record: &StudyRecord) -> String {
    let plan = plan_of(record).map(|plan| plan.conditions.as_slice());
    let all = plan.unwrap_or_default().iter();
    let pairs = all.flat_map(|condition| {
        let holders = condition.holders.iter();
        holders.map(|holder| (holder.key.as_str(), condition.key.as_str()))
    });
    serde_json::json!(pairs.collect::<BTreeMap<_, _>>()).to_string()
}

/// The form.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let form = Form::filled(exposure_when::fresh(&app, &record));
    Ok(Page::of(page(chrome, record, form)))
}

/// Gives it a code and writes it down.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    fields: Fields,
) -> Result<Response, WebFault> {
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(format!("/desk/{}/exposure", study.slug)).into_response());
    }
    let acting = Acting::steward(&steward, &study);
    match found(&app, &acting, &study, &fields).await {
        Ok((code, group)) => Ok(Moved::to(format!("/desk/{}/specimens/{code}", study.slug))
            .saying(format!(
                "It is {code} from today: mark it. It counts in the break loads of {group}, not in \
                 changes of mass or dimensions."
            ))
            .into_response()),
        Err(Declined::Form(form)) => {
            Ok(Page::refused(page(chrome, study.record(&app).await?, form)).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

/// Writes it down under the next free code; draws another when that was taken in the meantime.
async fn found(
    app: &App,
    acting: &Acting,
    study: &StudyAccess,
    fields: &Fields,
) -> Result<(Code, String), Declined> {
    loop {
        let record = study.record(app).await?;
        let code = specimen_new::free_codes(&record, 1).pop();
        let code = code.ok_or_else(|| WebFault::ours("no free code"))?;
        let (found, note) = fields.read(|typed| parse(typed, app, &record, &code))?;
        let condition = piece_words::condition_name(plan_of(&record), &found.condition);
        let group = format!("{condition} at {} days", found.stage_days);
        let entry = Entry::NamelessFound(found);
        match act::submit(app, acting, fields, entry, Some(note)).await {
            Ok(_) => return Ok((code, group)),
            Err(declined) => {
                if study.record(app).await?.specimen(&code).is_none() {
                    return Err(declined);
                }
            }
        }
    }
}

fn parse(
    typed: &Typed,
    app: &App,
    record: &StudyRecord,
    code: &Code,
) -> Result<(NamelessFound, String), Faults> {
    let mut faults = Faults::none();
    let plan = plan_of(record);
    let holder = plan.and_then(|plan| plan.holder(typed.text("holder")));
    if holder.is_none() {
        faults.push("holder", "Choose the holder that it was found in.");
    }
    let days = typed.text("stage").parse().ok();
    let stage = days.and_then(|days| plan?.stage(days));
    if stage.is_none() {
        faults.push("stage", "Choose the stage at which it came in.");
    }
    let recovery = Recovery::parse(typed.text("state")).filter(|state| FOUND.contains(state));
    if recovery.is_none() {
        faults.push("state", "Choose the state in which it was found.");
    }
    let note = faults.keep(typed.paragraph("note", "The remark"));
    let at = exposure_when::moment(typed, record, &mut faults);
    if at.and_then(|at| exposure_when::ahead(app, at)).is_some() {
        faults.push("at", "This lies in the future; nothing is found there.");
    }
    let found = || {
        let (condition, holder) = holder?;
        Some(NamelessFound {
            code: code.clone(),
            condition: condition.key.clone(),
            holder: holder.key.clone(),
            stage_days: stage?.days,
            recovery: recovery?,
            at: at?,
        })
    };
    let found = found().zip(note);
    faults.and_some(found)
}
