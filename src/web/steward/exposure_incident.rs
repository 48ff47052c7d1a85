//! Something that happened to a holder and so to every piece in it: it froze, cracked, was flooded,
//! knocked over, moved.

use super::piece_words::plan_of;
use super::{exposure_handle, exposure_out, exposure_when};
use crate::study::allocation::Place;
use crate::study::cautions::{self, Step};
use crate::study::custody::{Decision, Incident};
use crate::study::entry::Entry;
use crate::study::fault::{Fault, Faults};
use crate::study::plan::Plan;
use crate::study::record::StudyRecord;
use crate::study::specimen::Whereabouts;
use crate::study::typed::Typed;
use crate::study::when;
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
use chrono::NaiveDate;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/exposure_incident.html")]
struct IncidentPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    holders: Vec<(String, String)>,
    into: Vec<(String, String)>,
    cautions: Vec<&'static str>,
    form: Form,
}

/// What the steward decides, as the form offers it.
const DECISIONS: [(&str, &str); 2] = [
    ("keep", "They stay in the study"),
    ("end_early", "Their exposure ends early"),
];

fn page(chrome: Chrome, record: Arc<StudyRecord>, form: Form) -> IncidentPage {
    let places = exposure_out::places(&record, |piece| piece.whereabouts == Whereabouts::Out);
    let holders = exposure_handle::holders(&record);
    let nowhere = (String::new(), "they stay where they are".to_owned());
    IncidentPage {
        chrome: chrome.titled(format!("Incident · {}", record.title)),
        into: std::iter::once(nowhere).chain(holders.clone()).collect(),
        holders: with_counts(&record, holders),
        cautions: cautions::of(Step::Incident, places),
        record,
        form,
    }
}

/// The holders, each with how many pieces are in it now.
fn with_counts(record: &StudyRecord, holders: Vec<(String, String)>) -> Vec<(String, String)> {
    let count = |key: &str| {
        let out = record
            .specimens
            .iter()
            .filter(|p| p.whereabouts == Whereabouts::Out);
        out.filter(
            |piece| matches!(&piece.place, Some(Place::Exposed { holder, .. }) if holder == key),
        )
        .count()
    };
    let counted = holders.into_iter().map(|(key, name)| {
        let words = format!("{name}, {} in it", count(&key));
        (key, words)
    });
    counted.collect()
}

/// The form.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let mut typed = exposure_when::fresh(&app, &record);
    typed.set("from", day_in_zone(&app, &record).to_string());
    typed.set("decision", "keep");
    Ok(Page::of(page(chrome, record, Form::filled(typed))))
}

fn day_in_zone(app: &App, record: &StudyRecord) -> NaiveDate {
    let zone = when::zone(&record.time_zone);
    app.clock.now().with_timezone(&zone).date_naive()
}

/// Writes it down.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let today = day_in_zone(&app, &record);
    let done = match fields.read(|typed| parse(typed, plan_of(&record), today)) {
        Ok((incident, note)) => {
            let acting = Acting::steward(&steward, &study);
            let entry = Entry::Incident(incident);
            act::submit(&app, &acting, &fields, entry, Some(note)).await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(_) => Ok(Moved::to(format!("/desk/{}/exposure", study.slug))
            .saying("The incident is on record for every piece in the holder.")
            .into_response()),
        Err(Declined::Form(form)) => Ok(Page::refused(page(chrome, record, form)).into_response()),
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

fn parse(
    typed: &Typed,
    plan: Option<&Plan>,
    today: NaiveDate,
) -> Result<(Incident, String), Faults> {
    let mut faults = Faults::none();
    let holder = plan.and_then(|plan| plan.holder(typed.text("holder")));
    if holder.is_none() {
        faults.push("holder", "Choose the holder that it happened to.");
    }
    let note = faults.keep(typed.paragraph("note", "What happened"));
    if note.as_deref() == Some("") {
        faults.push("note", "Say what happened.");
    }
    let from = faults.keep(when::day("from", "The first day", typed.text("from")));
    let until = faults.keep(until(typed, from));
    let into_holder = faults.keep(into(typed, plan));
    let decision = match typed.text("decision") {
        "keep" => Some(Decision::Keep),
        "end_early" => Some(Decision::EndEarly),
        _ => {
            faults.push("decision", "Choose what becomes of the pieces.");
            None
        }
    };
    let days = from.into_iter().chain(until.flatten());
    let is_ahead = days.into_iter().any(|day| day > today);
    let doubt = is_ahead.then(|| "A day lies in the future.".to_owned());
    exposure_when::ask(typed, doubt, &mut faults);
    let incident = || {
        Some(Incident {
            holder: holder?.1.key.clone(),
            from: from?,
            until: until?,
            into_holder: into_holder?,
            decision: decision?,
        })
    };
    let incident = incident().zip(note);
    faults.and_some(incident)
}

fn until(typed: &Typed, from: Option<NaiveDate>) -> Result<Option<NaiveDate>, Fault> {
    if !typed.has("until") {
        return Ok(None);
    }
    let until = when::day("until", "The last day", typed.text("until"))?;
    if from.is_some_and(|from| until < from) {
        return Err(Fault::new(
            "until",
            "The last day lies before the first one.",
        ));
    }
    Ok(Some(until))
}

/// The holder that the pieces went into: another one of the same condition.
fn into(typed: &Typed, plan: Option<&Plan>) -> Result<Option<String>, Fault> {
    let key = typed.text("into_holder");
    if key.is_empty() {
        return Ok(None);
    }
    let of = |key: &str| plan.and_then(|plan| plan.holder(key)).map(|(c, _)| &c.key);
    let is_same = of(key).is_some() && of(key) == of(typed.text("holder"));
    if is_same && key != typed.text("holder") {
        Ok(Some(key.to_owned()))
    } else {
        let sentence = "Choose another holder of the same condition: what goes elsewhere is no longer \
            exposed to what the plan says.";
        Err(Fault::new("into_holder", sentence))
    }
}
