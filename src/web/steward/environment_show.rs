//! The exposure record: every series, what each place saw, and what pieces lived through in the exact
//! time that they were out.

use super::piece_words::{self, plan_of};
use crate::analysis::climate::{Climate, HOT_CELSIUS};
use crate::report::chart::marks::LineKind;
use crate::report::climate::{self, PlaceFigure};
use crate::report::tables::{Table, TableRow};
use crate::store::sha256_of;
use crate::study::environment::{SeriesSource, Values};
use crate::study::fault::Faults;
use crate::study::record::{SeriesRecord, Standing, StudyRecord};
use crate::study::units::number;
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::extract::{Path, Query};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::logger::{step_words, stuck_words};
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/environment_show.html")]
struct EnvironmentPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    has_plan: bool,
    can_fetch: bool,
    series: Vec<SeriesLine>,
    figures: Vec<PlaceFigure>,
    table: Option<Table>,
    /// Which pieces each row of the table is about.
    members: Vec<(String, String)>,
    said: Vec<String>,
    attributions: Vec<String>,
    form: Form,
}

/// A series, ready to print.
struct SeriesLine {
    name: String,
    place: String,
    from: &'static str,
    period: String,
    rows: u32,
    step: String,
    channels: String,
    gaps: Vec<String>,
    /// Where a sensor seems to have stuck, in words.
    stuck: Vec<String>,
    file: String,
    is_void: bool,
    entry: String,
    note: String,
}

/// How many gaps of a series are listed.
const GAPS: usize = 12;

fn line(record: &StudyRecord, found: &SeriesRecord, values: Option<&Values>) -> SeriesLine {
    let series = &found.series;
    let zone = &record.time_zone;
    let words = |at| when::in_words(at, zone);
    let gaps = values.map(Values::gaps).unwrap_or_default();
    let more = gaps.len().saturating_sub(GAPS);
    let listed = gaps.into_iter().take(GAPS);
    let mut gaps: Vec<String> = listed
        .map(|(from, until)| format!("{} to {}", words(from), words(until)))
        .collect();
    if more > 0 {
        gaps.push(format!("and {more} more"));
    }
    let channels: Vec<String> = series
        .channels
        .iter()
        .map(|channel| format!("{} (“{}”)", channel.read_as.label(), channel.column))
        .collect();
    SeriesLine {
        name: series.name.clone(),
        place: plan_of(record).map_or_else(String::new, |plan| series.place.name(plan)),
        from: match series.source {
            SeriesSource::Logger { .. } => "logger",
            SeriesSource::Archive { .. } => "weather archive",
        },
        period: format!("{} to {}", words(series.first), words(series.last)),
        rows: series.rows,
        step: step_words(series.step_s),
        channels: channels.join("; "),
        gaps,
        stuck: values.map_or_else(Vec::new, |values| stuck_words(values, zone)),
        file: series.file_sha256.clone(),
        is_void: found.standing != Standing::Current,
        entry: found.entry.to_string(),
        note: found.note.clone(),
    }
}

/// The temperature above which hours are counted, as the address asks for it.
fn above(query: &Query) -> (f64, Form) {
    let text = query.0.text("above");
    if text.is_empty() {
        return (
            HOT_CELSIUS,
            Form::filled([("above", HOT_CELSIUS.to_string().as_str())]),
        );
    }
    let read = number("above", "The temperature", text);
    let read = read.ok().filter(|value| (-50.0..=200.0).contains(value));
    match read {
        Some(value) => (value, Form::filled([("above", text)])),
        None => {
            let sentence = "The temperature must be a number from -50 to 200.";
            let fields = Fields(query.0.clone());
            (HOT_CELSIUS, fields.again(Faults::one("above", sentence)))
        }
    }
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    query: Query,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let values = app.store.series_values(&record).await?;
    let (above, form) = above(&query);
    let now = app.clock.now();
    let climate = Climate::of(&record, &values);
    let plan = plan_of(&record);
    let rows = plan.map(|plan| {
        let pieces = (record.specimens.iter(), now);
        climate::groups_above(&record, plan, &climate, pieces, above)
    });
    let groups = rows.unwrap_or_default();
    let rows: Vec<TableRow> = groups
        .iter()
        .map(|group| TableRow {
            name: format!(
                "{} ({})",
                group.name,
                piece_words::pieces(group.codes.len())
            ),
            cells: climate::cells(&group.dose),
        })
        .collect();
    let codes = |group: &climate::Group| {
        let codes: Vec<String> = group.codes.iter().map(ToString::to_string).collect();
        (group.name.clone(), codes.join(", "))
    };
    let members = groups.iter().map(codes).collect();
    let series = record.series.iter();
    let series = series.map(|found| line(&record, found, values.get(&found.entry)));
    let series = series.collect();
    let figures = plan.map(|plan| climate::figures(&record, plan, &climate, now));
    Ok(Page::of(EnvironmentPage {
        chrome: chrome.titled(format!("Exposure record · {}", record.title)),
        has_plan: plan.is_some(),
        can_fetch: app.weather.is_on(),
        series,
        figures: figures.unwrap_or_default(),
        table: (!rows.is_empty()).then(|| Table {
            caption: "What pieces lived through in the exact time that each was out.".to_owned(),
            head: climate::head(above),
            rows,
            is_numbers: true,
        }),
        members,
        said: climate::said(above),
        attributions: climate::attributions(&record),
        form,
        record,
    }))
}

/// The path of an original file.
#[derive(Debug, Deserialize)]
pub(in crate::web) struct FilePath {
    sha256: String,
}

/// The original bytes of a series of this study, to be saved, never shown.
pub(in crate::web) async fn file(
    State(app): State<App>,
    study: StudyAccess,
    Path(path): Path<FilePath>,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let mut named = record.series.iter();
    let found = named.find(|found| found.series.file_sha256 == path.sha256);
    let found = found.ok_or(WebFault::NotFound)?;
    let sha256 = sha256_of(&found.series.file_sha256).ok_or(WebFault::NotFound)?;
    let blob = app.store.find_blob(&sha256).await?;
    let blob = blob.ok_or(WebFault::NotFound)?;
    let name = match found.series.source {
        SeriesSource::Logger { .. } => "attachment; filename=\"logger.csv\"",
        SeriesSource::Archive { .. } => "attachment; filename=\"weather.json\"",
    };
    let headers = [
        (CONTENT_TYPE, "application/octet-stream"),
        (CONTENT_DISPOSITION, name),
    ];
    Ok((headers, blob.bytes).into_response())
}
