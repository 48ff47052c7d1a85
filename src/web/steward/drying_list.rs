//! The drying round: every piece that dries, when to weigh it next, and the form for a weighing.

use super::piece_words::{self, plan_of};
use super::{drying_data, drying_parse, drying_words, exposure_out, exposure_when};
use crate::study::cautions::{self, Step};
use crate::study::drying_advice::{self, Advice};
use crate::study::entry::Entry;
use crate::study::reading::Occasion;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::typed::Typed;
use crate::study::units::{Dimension, Unit};
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Query, Steward};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use chrono::{DateTime, Utc};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/drying_list.html")]
struct DryingPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    /// The plan's rule in words; empty when it has none.
    rule: String,
    protocol: String,
    advice: Advice,
    cautions: Vec<&'static str>,
    lines: Vec<DryingLine>,
    can_override: bool,
    wet_round: String,
    balances: Vec<(String, String)>,
    units: Vec<(&'static str, &'static str)>,
    codes: Vec<String>,
    /// Whether pieces are out that will dry once they are taken in.
    has_out: bool,
    /// What the page's script checks a weighing with, as JSON.
    data: String,
    form: Form,
}

/// A piece that dries.
struct DryingLine {
    code: String,
    place: String,
    occasion: Occasion,
    state: String,
    is_constant: bool,
    is_due: bool,
    is_overridden: bool,
    /// The mass as taken out, where salt or soil are in play: as typed, or what is wanting.
    taken_out: Option<Result<String, &'static str>>,
}

fn line(
    record: &StudyRecord,
    (occasion, piece): (Occasion, &SpecimenRecord),
    now: DateTime<Utc>,
) -> Option<DryingLine> {
    let plan = plan_of(record)?;
    let state = record.drying_state(&piece.code, occasion, now)?;
    let is_wet = occasion == Occasion::After && drying_words::is_rinsed(plan, piece);
    let as_taken_out = || drying_words::as_taken_out(record, piece).ok_or("not weighed");
    Some(DryingLine {
        code: piece.code.to_string(),
        place: piece_words::place(Some(plan), piece.place.as_ref()),
        occasion,
        state: drying_words::state(&state, &record.time_zone),
        is_constant: state.is_constant(),
        is_due: drying_words::is_due(&state, now),
        is_overridden: record.drying_override(&piece.code, occasion).is_some(),
        taken_out: is_wet.then(as_taken_out),
    })
}

fn page(chrome: Chrome, app: &App, record: Arc<StudyRecord>, form: Form) -> DryingPage {
    let now = app.clock.now();
    let plan = plan_of(&record);
    let pieces = drying_words::drying(&record);
    let lines = pieces.into_iter();
    let mut lines: Vec<DryingLine> = lines
        .filter_map(|found| line(&record, found, now))
        .collect();
    lines.sort_by_key(|line| (!line.is_due, line.is_constant));
    let dries = |piece: &SpecimenRecord| drying_words::occasion(&record, piece).is_some();
    let places = exposure_out::places(&record, dries);
    let balances = record.instruments.iter();
    let balances = balances.filter(|i| i.dimension == Dimension::Mass);
    DryingPage {
        chrome: chrome.titled(format!("Drying · {}", record.title)),
        rule: plan
            .map(crate::study::plan::words::drying)
            .unwrap_or_default(),
        protocol: plan
            .map(|plan| plan.state_protocol.clone())
            .unwrap_or_default(),
        advice: drying_advice::of(plan.map_or("", |plan| plan.material.name.as_str())),
        cautions: cautions::of(Step::Dry, places),
        can_override: lines
            .iter()
            .any(|line| !line.is_constant && !line.is_overridden),
        wet_round: drying_words::wet_round(&record),
        balances: balances
            .map(|i| (i.id.to_string(), i.name.clone()))
            .collect(),
        units: Unit::of(Dimension::Mass)
            .map(|unit| (unit.key(), unit.symbol()))
            .collect(),
        codes: lines.iter().map(|line| line.code.clone()).collect(),
        has_out: !drying_words::out(&record).is_empty(),
        data: serde_json::json!(drying_data::of(&record)).to_string(),
        lines,
        record,
        form,
    }
}

/// A fresh form; balance and unit stay as they were.
fn fresh(app: &App, record: &StudyRecord, before: &Typed) -> Typed {
    let mut typed = exposure_when::fresh(app, record);
    typed.set("code", before.text("code"));
    typed.set("instrument", before.text("instrument"));
    let unit = before.text("unit");
    typed.set("unit", if unit.is_empty() { "g" } else { unit });
    typed
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    query: Query,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let form = Form::filled(fresh(&app, &record, &query.0));
    Ok(Page::of(page(chrome, &app, record, form)))
}

/// Writes a weighing down.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    fields: Fields,
) -> Result<Response, WebFault> {
    let kept = form_urlencoded::Serializer::new(String::new())
        .append_pair("instrument", fields.0.text("instrument"))
        .append_pair("unit", fields.0.text("unit"))
        .finish();
    let on = format!("/desk/{}/drying?{kept}", study.slug);
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(on).into_response());
    }
    let record = study.record(&app).await?;
    let done = match fields.read(|typed| drying_parse::weighing(typed, &app, &record)) {
        Ok(weighing) => {
            let acting = Acting::steward(&steward, &study);
            let entry = Entry::DryingWeighed(weighing.clone());
            let sent = act::submit(&app, &acting, &fields, entry, None).await;
            sent.map(|_| weighing)
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(weighing) => {
            let record = study.record(&app).await?;
            let now = app.clock.now();
            let state = record.drying_state(&weighing.specimen, weighing.occasion, now);
            let state = state.map(|state| drying_words::state(&state, &record.time_zone));
            let (text, unit) = (&weighing.typed.text, weighing.typed.unit.symbol());
            let said = format!(
                "{}: {text} {unit}; {}.",
                weighing.specimen,
                state.unwrap_or_default()
            );
            Ok(Moved::to(on).saying(said).into_response())
        }
        Err(Declined::Form(form)) => {
            Ok(Page::refused(page(chrome, &app, record, form)).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}
