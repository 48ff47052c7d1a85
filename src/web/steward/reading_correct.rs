//! Correcting a reading: the right value and why. Both stay on record.

use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::EntryId;
use crate::study::measured::Measured;
use crate::study::plausibility;
use crate::study::reading::Reading;
use crate::study::record::{ReadingRecord, Standing, StudyRecord};
use crate::study::typed::Typed;
use crate::study::units::{ALL, AsTyped, Unit, positive};
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use std::sync::Arc;

/// The path of a page about one entry.
#[derive(Debug, Deserialize)]
pub(in crate::web) struct EntryPath {
    pub(super) entry: EntryId,
}

#[derive(Template)]
#[template(path = "steward/reading_correct.html")]
struct CorrectPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    entry: EntryId,
    code: String,
    what: String,
    stands: String,
    is_current: bool,
    units: Vec<(&'static str, &'static str)>,
    form: Form,
}

fn find(record: &StudyRecord, entry: EntryId) -> Result<&ReadingRecord, WebFault> {
    let found = record
        .readings
        .iter()
        .find(|reading| reading.entry == entry);
    found.ok_or(WebFault::NotFound)
}

fn page(
    chrome: Chrome,
    record: &Arc<StudyRecord>,
    found: &ReadingRecord,
    form: Form,
) -> CorrectPage {
    let reading = &found.reading;
    let units = ALL
        .into_iter()
        .filter(|unit| unit.dimension() == reading.quantity.dimension());
    CorrectPage {
        chrome: chrome.titled(format!("Correct a reading of {}", reading.specimen)),
        record: Arc::clone(record),
        entry: found.entry,
        code: reading.specimen.to_string(),
        what: format!("{} {}", reading.quantity.label(), reading.occasion.label()),
        stands: format!("{} {}", reading.typed.text, reading.typed.unit.symbol()),
        is_current: found.standing == Standing::Current,
        units: units.map(|unit| (unit.key(), unit.symbol())).collect(),
        form,
    }
}

/// The form.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Path(path): Path<EntryPath>,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let found = find(&record, path.entry)?;
    let fresh = act::fresh(&app);
    let unit = found.reading.typed.unit.key();
    let form = Form::filled([("entry", fresh.as_str()), ("unit", unit)]);
    Ok(Page::of(page(chrome, &record, found, form)))
}

/// Writes the correction down.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    Path(path): Path<EntryPath>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let found = find(&record, path.entry)?;
    let done = match fields.read(|typed| parse(typed, &record, found)) {
        Ok((reading, reason)) => {
            let entry = Entry::ReadingCorrected {
                supersedes: path.entry,
                reading,
            };
            let acting = Acting::steward(&steward, &study);
            act::submit(&app, &acting, &fields, entry, Some(reason)).await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    let code = &found.reading.specimen;
    match done {
        Ok(_) => Ok(Moved::to(format!("/desk/{}/specimens/{code}", study.slug))
            .saying(format!(
                "The reading of {code} is corrected; the old one stays visible."
            ))
            .into_response()),
        Err(Declined::Form(form)) => {
            Ok(Page::refused(page(chrome, &record, found, form)).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

fn parse(
    typed: &Typed,
    record: &StudyRecord,
    found: &ReadingRecord,
) -> Result<(Reading, String), Faults> {
    let mut faults = Faults::none();
    let value = faults.keep(positive("value", "The value", typed.text("value")));
    let dimension = found.reading.quantity.dimension();
    let unit = faults.keep(Unit::parse("unit", typed.text("unit"), dimension));
    let reason = faults.keep(typed.paragraph("reason", "The reason"));
    if reason.as_deref() == Some("") {
        faults.push("reason", "Say why the old value was wrong.");
    }
    let (Some(value), Some(unit), Some(reason)) = (value, unit, reason) else {
        return Err(faults);
    };
    let mut reading = Reading {
        value: unit.to_si(value),
        typed: AsTyped {
            text: typed.text("value").to_owned(),
            unit,
        },
        is_confirmed_doubt: false,
        ..found.reading.clone()
    };
    if let Some(sentence) = doubt(record, &reading) {
        reading.is_confirmed_doubt = typed.has("confirmed");
        if !reading.is_confirmed_doubt {
            faults.push("confirmed", sentence);
        }
    }
    faults.or((reading, reason))
}

/// What is doubtful about a reading, all in one text.
pub(super) fn doubt(record: &StudyRecord, reading: &Reading) -> Option<String> {
    let plan = &record.plan()?.plan;
    let instrument = record
        .instruments
        .iter()
        .find(|i| i.id == reading.instrument)?;
    let kind = (reading.quantity.clone(), reading.occasion, reading.state);
    let measured = Measured::of(record);
    let of = (&reading.specimen, &kind);
    let expected = measured.expected(of, reading.value, plan, instrument);
    let doubts = plausibility::doubts(reading.value, &expected);
    let sentences: Vec<String> = doubts.iter().map(ToString::to_string).collect();
    (!sentences.is_empty()).then(|| sentences.join(" "))
}
