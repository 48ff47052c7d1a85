//! A study's balances, callipers and rigs: what is there, and adding one.

use super::instrument_check;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::InstrumentId;
use crate::study::plausibility::Written;
use crate::study::reading::Instrument;
use crate::study::record::{CheckRecord, StudyRecord};
use crate::study::typed::Typed;
use crate::study::units::{ALL, Dimension, Unit, optional, positive};
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting};
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/instrument_list.html")]
struct InstrumentsPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    lines: Vec<Line>,
    checks: Vec<CheckLine>,
    form: Form,
    units: Vec<(&'static str, &'static str)>,
}

/// An instrument, ready to print.
struct Line {
    name: String,
    measures: &'static str,
    readability: String,
    uncertainty: String,
}

/// A check of an instrument, ready to print.
struct CheckLine {
    words: String,
    at: String,
    is_beyond: bool,
}

/// So many checks are listed.
const CHECKS: usize = 30;

fn check_line(record: &StudyRecord, found: &CheckRecord) -> Option<CheckLine> {
    let mut instruments = record.instruments.iter();
    let instrument = instruments.find(|known| known.id == found.check.instrument)?;
    Some(CheckLine {
        words: instrument_check::words(&found.check, instrument),
        at: when::in_words(found.taken_at, &record.time_zone),
        is_beyond: found.check.is_beyond(instrument.readability),
    })
}

/// What an instrument can measure, as the form offers it.
const DIMENSIONS: [(&str, &str); 3] = [("mass", "mass"), ("length", "length"), ("force", "force")];

fn page(chrome: Chrome, record: Arc<StudyRecord>, form: Form) -> InstrumentsPage {
    let lines = record.instruments.iter().map(line).collect();
    let checks = record.checks.iter().rev().take(CHECKS);
    let checks = checks.filter_map(|found| check_line(&record, found));
    InstrumentsPage {
        checks: checks.collect(),
        chrome: chrome.titled(format!("Instruments · {}", record.title)),
        record,
        lines,
        form,
        units: ALL.map(|unit| (unit.key(), unit.symbol())).into(),
    }
}

fn line(instrument: &Instrument) -> Line {
    let (measures, unit) = match instrument.dimension {
        Dimension::Mass => ("mass", Unit::Gram),
        Dimension::Length => ("length", Unit::Millimetre),
        Dimension::Force => ("force", Unit::Newton),
    };
    let words = |value: f64| Written::new(unit, value).words(value);
    Line {
        name: instrument.name.clone(),
        measures,
        readability: words(instrument.readability),
        uncertainty: instrument
            .uncertainty
            .map_or_else(|| "not known".to_owned(), |u| format!("± {}", words(u))),
    }
}

/// The instruments, and the form for another.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let entry = act::fresh(&app);
    let form = Form::filled([
        ("entry", entry.as_str()),
        ("dimension", "mass"),
        ("unit", "g"),
    ]);
    Ok(Page::of(page(chrome, record, form)))
}

/// Adds one.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    // The instrument takes the entry's id, so that a second sending means the same one.
    let id = InstrumentId(act::entry_id(&app, &fields.0).0);
    let read = fields.read(|typed| {
        let instrument = parse(typed, id)?;
        Ok((Entry::InstrumentAdded { instrument }, None))
    });
    let done = act::sent(&app, &Acting::steward(&steward, &study), &fields, read).await;
    let record = study.record(&app).await?;
    let name = fields.0.text("name").trim();
    let onward = format!("/desk/{}/instruments", study.slug);
    let onward = Moved::to(onward).saying(format!("{name} is on record."));
    act::answered(&app, done, onward, |form| page(chrome, record, form))
}

fn parse(typed: &Typed, id: InstrumentId) -> Result<Instrument, Faults> {
    let mut faults = Faults::none();
    let name = faults.keep(typed.required("name", "The name"));
    let dimension = Dimension::parse(typed.text("dimension"));
    if dimension.is_none() {
        faults.push(
            "dimension",
            "Choose what it measures: mass, length or force.",
        );
    }
    let step = positive("readability", "The readability", typed.text("readability"));
    let readability = faults.keep(step);
    let unit = dimension.and_then(|d| faults.keep(Unit::parse("unit", typed.text("unit"), d)));
    let uncertainty = optional("uncertainty", "The uncertainty", typed.text("uncertainty"));
    let uncertainty = faults.keep(uncertainty);
    let instrument = || {
        let unit = unit?;
        Some(Instrument {
            id,
            name: name?,
            dimension: dimension?,
            readability: unit.to_si(readability?),
            uncertainty: uncertainty?.map(|value| unit.to_si(value)),
        })
    };
    let instrument = instrument();
    faults.and_some(instrument)
}
