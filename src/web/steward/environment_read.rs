//! A logger's file as it was understood: what was guessed, put right by form, and saved as a series.

use super::environment_places;
use super::environment_show::{step_words, stuck_words};
use crate::clock::hex;
use crate::store::{Blob, sha256_of};
use crate::study::entry::Entry;
use crate::study::environment::guess::{Guess, guess};
use crate::study::environment::layout::{Layout, Read, ReadFault, head};
use crate::study::environment::stamp::DateOrder;
use crate::study::environment::{ReadAs, SeriesAdded, SeriesPlace, SeriesSource, table};
use crate::study::fault::Faults;
use crate::study::record::StudyRecord;
use crate::study::typed::Typed;
use crate::study::units::whole;
use crate::study::when;
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
use std::sync::Arc;

/// Rows shown as they were understood.
const SHOWN: usize = 6;

#[derive(Template)]
#[template(path = "steward/environment_read.html")]
struct ReadPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    said: Vec<String>,
    columns: Vec<ColumnLine>,
    look: Option<Look>,
    places: Vec<(String, String)>,
    delimiters: Vec<(&'static str, &'static str)>,
    orders: Vec<(&'static str, &'static str)>,
    kinds: Vec<(&'static str, &'static str)>,
    form: Form,
}

/// A column of the file.
struct ColumnLine {
    number: usize,
    name: String,
    sample: String,
}

/// What came of reading it.
struct Look {
    period: String,
    rows: usize,
    step: String,
    gaps: usize,
    left_out: Vec<String>,
    /// Where a sensor seems to have stuck, in words.
    stuck: Vec<String>,
    head: Vec<String>,
    lines: Vec<Vec<String>>,
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

/// Does what may take a second away from the tasks that answer others.
async fn apart<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, WebFault> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(WebFault::ours)
}

fn fill(form: &mut Typed, layout: &Layout) {
    form.set("delimiter", layout.delimiter.as_str());
    form.set("first_row", (layout.skipped + 1).to_string());
    form.set("day_column", (layout.day_column + 1).to_string());
    let clock = layout.clock_column.map(|column| (column + 1).to_string());
    form.set("clock_column", clock.unwrap_or_default());
    form.set("date_order", layout.date_order.key());
    form.set("zone", layout.zone.as_str());
    let decimal = if layout.has_decimal_comma {
        "comma"
    } else {
        "point"
    };
    form.set("decimal", decimal);
    for column in &layout.columns {
        form.add("column", column.key());
    }
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
        Ok(Guess { layout, said }) => {
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
        delimiters: table::DELIMITERS.to_vec(),
        orders: DateOrder::ALL
            .map(|order| (order.key(), order.label()))
            .into(),
        kinds: ReadAs::ALL.map(|kind| (kind.key(), kind.label())).into(),
        look: look.ok(),
        said,
        columns,
        record,
        form,
    })
}

/// The columns of the file, and what reading it by the form gives.
fn look(bytes: &[u8], typed: &Typed, zone: &str) -> (Vec<ColumnLine>, Result<Look, Faults>) {
    let (text, _) = table::text(bytes);
    let delimiter = table::delimiter(typed.text("delimiter")).unwrap_or(b',');
    let rows = table::rows(&text, delimiter).unwrap_or_default();
    let first: usize = typed.text("first_row").parse().unwrap_or(1);
    let skipped = first.saturating_sub(1);
    let names = head(&rows, skipped);
    let sample = rows.get(skipped);
    let cell = |row: Option<&Vec<String>>, at: usize| {
        let cell = row.and_then(|row| row.get(at));
        cell.map_or_else(String::new, |cell| cell.chars().take(40).collect())
    };
    let columns = (0..sample.map_or(0, Vec::len)).map(|at| ColumnLine {
        number: at + 1,
        name: cell(names, at),
        sample: cell(sample, at),
    });
    let read = layout(typed).and_then(|layout| {
        let read = layout.read(&text);
        read.map_err(|fault| Faults::one(field_of(&fault), fault.to_string()))
    });
    (columns.collect(), read.map(|read| shown(&read, zone)))
}

/// The field that a fault is about.
fn field_of(fault: &ReadFault) -> &'static str {
    match fault {
        ReadFault::NoZone => "zone",
        ReadFault::NoColumn | ReadFault::Twice(_) => "column",
        ReadFault::Unreadable { .. } | ReadFault::NoRows => "first_row",
        ReadFault::NoText | ReadFault::TooManyRows | ReadFault::TooManyColumns => "delimiter",
    }
}

fn shown(read: &Read, zone: &str) -> Look {
    let values = &read.values;
    let words = |at| when::in_words(at, zone);
    let period = values.rows.first().zip(values.rows.last());
    let period = period.map_or_else(String::new, |(first, last)| {
        format!("{} to {}", words(first.at), words(last.at))
    });
    let measurands = values.measurands.iter();
    let names = measurands.map(|m| format!("{}, {}", m.label(), m.unit()));
    let line = |row: &crate::study::environment::Row| {
        let cells = row.values.iter().map(|value| match value {
            Some(value) => format!("{value:.2}"),
            None => "–".to_owned(),
        });
        std::iter::once(words(row.at)).chain(cells).collect()
    };
    Look {
        period,
        rows: values.rows.len(),
        step: step_words(values.step_s()),
        gaps: values.gaps().len(),
        left_out: read.left_out.clone(),
        stuck: stuck_words(values, zone),
        head: std::iter::once("Moment".to_owned()).chain(names).collect(),
        lines: values.rows.iter().take(SHOWN).map(line).collect(),
    }
}

fn layout(typed: &Typed) -> Result<Layout, Faults> {
    let mut faults = Faults::none();
    let delimiter = typed.text("delimiter").to_owned();
    if table::delimiter(&delimiter).is_none() {
        faults.push("delimiter", "Choose what parts the cells.");
    }
    let count = |field: &str, called: &str, most: u32| {
        whole(field, called, typed.text(field), 1, most).map(|n| n - 1)
    };
    let skipped = faults.keep(count("first_row", "The first line with data", 1000));
    let day_column = faults.keep(count("day_column", "The column of the moment", 60));
    let has_clock = typed.has("clock_column");
    let clock = has_clock.then(|| count("clock_column", "The column of the clock", 60));
    let clock_column = clock.map(|clock| faults.keep(clock));
    let order = DateOrder::typed("date_order", "The order of a day", typed.text("date_order"));
    let order = faults.keep(order);
    let columns: Vec<ReadAs> = typed
        .all("column")
        .into_iter()
        .take(table::MOST_COLUMNS)
        .map(|key| ReadAs::parse(key).unwrap_or(ReadAs::Unused))
        .collect();
    let layout = || {
        Some(Layout {
            delimiter,
            skipped: skipped?,
            day_column: day_column?,
            clock_column: match clock_column {
                Some(column) => Some(column?),
                None => None,
            },
            date_order: order?,
            zone: typed.text("zone").to_owned(),
            has_decimal_comma: typed.text("decimal") == "comma",
            columns,
        })
    };
    let layout = layout();
    faults.and_some(layout)
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
