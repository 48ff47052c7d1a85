//! Figures that others published: those on record, and adding one with its citation.

use crate::analysis::digits::plain;
use crate::study::entry::Entry;
use crate::study::literature::{CitedFigure, Property};
use crate::study::plan::Environment;
use crate::study::record::{CitedRecord, Standing, StudyRecord};
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
#[template(path = "steward/literature_list.html")]
struct LiteraturePage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    lines: Vec<Line>,
    form: Form,
    properties: Vec<(&'static str, &'static str)>,
    environments: Vec<(&'static str, &'static str)>,
}

/// A published figure, ready to print.
struct Line {
    words: String,
    citation: String,
    void: Option<String>,
}

fn line(cited: &CitedRecord) -> Line {
    let is_current = cited.standing == Standing::Current;
    Line {
        words: words(&cited.figure),
        citation: cited.figure.citation.clone(),
        void: is_current.then(|| cited.entry.to_string()),
    }
}

/// `PLA in salt water: 63 % of strength or maximum load left after 274 days (58 to 70 %)`
pub(super) fn words(figure: &CitedFigure) -> String {
    let ends = figure.lower_percent.zip(figure.upper_percent);
    let ends = ends.map(|(lower, upper)| format!(" ({} to {} %)", plain(lower), plain(upper)));
    format!(
        "{}, {}: {} % of {} left after {} days{}",
        figure.material,
        figure.environment.label(),
        plain(figure.retention_percent),
        figure.property.label(),
        plain(figure.days),
        ends.unwrap_or_default()
    )
}

fn page(chrome: Chrome, record: Arc<StudyRecord>, form: Form) -> LiteraturePage {
    LiteraturePage {
        chrome: chrome.titled(format!("Literature · {}", record.title)),
        lines: record.cited.iter().map(line).collect(),
        record,
        form,
        properties: Property::ALL.map(|one| (one.key(), one.label())).into(),
        environments: Environment::ALL.map(|one| (one.key(), one.label())).into(),
    }
}

/// What is on record, and the form for another.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let entry = act::fresh(&app);
    let form = Form::filled([
        ("entry", entry.as_str()),
        ("property", "strength"),
        ("environment", "outdoor"),
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
    let read = fields.read(|typed| {
        let figure = CitedFigure::parse(typed)?;
        Ok((Entry::FigureCited(Box::new(figure)), None))
    });
    let done = act::sent(&app, &Acting::steward(&steward, &study), &fields, read).await;
    let record = study.record(&app).await?;
    let onward = format!("/desk/{}/literature", study.slug);
    let onward = Moved::to(onward).saying("The published figure is on record.");
    act::answered(&app, done, onward, |form| page(chrome, record, form))
}
