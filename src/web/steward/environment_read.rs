//! A logger's file as it was understood: what was guessed, put right by form, and saved as a series.

use super::environment_places;
use crate::clock::hex;
use crate::store::{Blob, sha256_of};
use crate::study::entry::Entry;
use crate::study::environment::guess::{Guess, guess};
use crate::study::environment::layout::{Layout, Read};
use crate::study::environment::{SeriesAdded, SeriesPlace, SeriesSource, table};
use crate::study::fault::Faults;
use crate::study::record::StudyRecord;
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Query, Steward};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::logger::{ColumnLine, Look, Offered, apart, field_of, fill, layout, look};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/environment_read.html")]
struct ReadPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    said: Vec<String>,
    columns: Vec<ColumnLine>,
    look: Option<Look>,
    places: Vec<(String, String)>,
    offered: Offered,
    form: Form,
}

/// The file that the form names, when it was sent to this study.
async fn file(app: &App, study: &StudyAccess, typed: &Typed) -> Result<Option<Vec<u8>>, WebFault> {
    match sha256_of(typed.text("file")) {
        Some(sha256) => Ok(app.store.find_upload(study.id, &sha256).await?),
        None => Ok(None),
    }
}

/// To the page that takes a file, when the one named is not here.
fn send_it_first(study: &StudyAccess) -> Response {
    let on = format!("/desk/{}/environment/new", study.slug);
    Moved::to(on).saying("Send the file first.").into_response()
}

/// The guess, or as it was put right.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    query: Query,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let Some(bytes) = file(&app, &study, &query.0).await? else {
        return Ok(send_it_first(&study));
    };
    let zone = record.time_zone.clone();
    let (found, bytes) = apart(move || (guess(&bytes, &zone), bytes)).await?;
    let fresh = act::fresh(&app);
    let mut typed = Typed::from([("entry", fresh.as_str())]);
    typed.set("file", query.0.text("file"));
    match found {
        Ok(Guess { layout, said, .. }) => {
            fill(&mut typed, &layout);
            let page = page(chrome, record, (bytes, said), Form::filled(typed)).await?;
            Ok(Page::of(page).into_response())
        }
        Err(fault) => {
            typed.set("delimiter", "comma");
            let form = Fields(typed).again_with("", fault.to_string());
            let page = page(chrome, record, (bytes, Vec::new()), form).await?;
            Ok(Page::refused(page).into_response())
        }
    }
}

async fn page(
    chrome: Chrome,
    record: Arc<StudyRecord>,
    (bytes, said): (Vec<u8>, Vec<String>),
    form: Form,
) -> Result<ReadPage, WebFault> {
    let typed = form.typed().clone();
    let zone = record.time_zone.clone();
    let (columns, look) = apart(move || look(&bytes, &typed, &zone)).await?;
    let mut form = form;
    if let Err(faults) = &look
        && form.is_faultless()
    {
        form = Fields(form.typed().clone()).again(faults.clone());
    }
    Ok(ReadPage {
        chrome: chrome.titled(format!("Read a logger's file · {}", record.title)),
        places: environment_places::places(&record),
        offered: Offered::all(),
        look: look.ok(),
        said,
        columns,
        record,
        form,
    })
}

/// What the form adds to the layout.
struct Asked {
    name: String,
    place: SeriesPlace,
    note: String,
    layout: Layout,
    read: Read,
}

fn parse(typed: &Typed, record: &StudyRecord, bytes: &[u8]) -> Result<Asked, Faults> {
    let mut faults = Faults::none();
    let name = faults.keep(typed.required("name", "The logger's name"));
    let place = faults.keep(environment_places::place(typed, record));
    let note = faults.keep(typed.paragraph("note", "The remark"));
    let read = layout(typed).and_then(|layout| {
        let (text, _) = table::text(bytes);
        let read = layout.read(&text);
        let read = read.map_err(|fault| Faults::one(field_of(&fault), fault.to_string()));
        read.map(|read| (layout, read))
    });
    let read = match read {
        Ok(read) => Some(read),
        Err(wrong) => {
            faults.extend(wrong);
            None
        }
    };
    let asked = || {
        let (layout, read) = read?;
        Some(Asked {
            name: name?,
            place: place?,
            note: note?,
            layout,
            read,
        })
    };
    let asked = asked();
    faults.and_some(asked)
}

/// Looks again with what was put right, or saves the series.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    fields: Fields,
) -> Result<Response, WebFault> {
    let on = format!("/desk/{}/environment", study.slug);
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(on).into_response());
    }
    let record = study.record(&app).await?;
    let Some(bytes) = file(&app, &study, &fields.0).await? else {
        return Ok(send_it_first(&study));
    };
    if fields.0.text("act") == "look" {
        let form = fields.again(Faults::none());
        let page = page(chrome, record, (bytes, Vec::new()), form).await?;
        return Ok(Page::of(page).into_response());
    }
    let (parsing, known) = (fields.clone(), Arc::clone(&record));
    let (read, bytes) = apart(move || {
        let read = parsing.read(|typed| parse(typed, &known, &bytes));
        (read, bytes)
    })
    .await?;
    let done = match read {
        Ok(asked) => {
            let note = asked.note.clone();
            let series = series(&app, &fields.0, asked).await?;
            let acting = Acting::steward(&steward, &study);
            let said = format!("{}: {} rows are on record.", series.name, series.rows);
            let entry = Entry::SeriesAdded(Box::new(series));
            let sent = act::submit(&app, &acting, &fields, entry, Some(note)).await;
            sent.map(|_| said)
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(said) => Ok(Moved::to(on).saying(said).into_response()),
        Err(Declined::Form(form)) => {
            let page = page(chrome, record, (bytes, Vec::new()), form).await?;
            Ok(Page::refused(page).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

/// Keeps the values and makes the entry.
async fn series(app: &App, typed: &Typed, asked: Asked) -> Result<SeriesAdded, WebFault> {
    let values = asked.read.values;
    let blob = Blob {
        media_type: "text/csv".to_owned(),
        bytes: values.to_bytes().map_err(WebFault::ours)?,
    };
    let values_sha256 = hex(&app.store.put_blob(&blob).await?);
    let missing = || WebFault::ours("a series that was read has no rows");
    let (first, last) = values
        .rows
        .first()
        .zip(values.rows.last())
        .ok_or_else(missing)?;
    Ok(SeriesAdded {
        name: asked.name,
        place: asked.place,
        source: SeriesSource::Logger {
            layout: asked.layout,
        },
        channels: asked.read.channels,
        file_sha256: typed.text("file").to_owned(),
        values_sha256,
        rows: u32::try_from(values.rows.len()).unwrap_or(u32::MAX),
        step_s: values.step_s(),
        first: first.at,
        last: last.at,
    })
}
