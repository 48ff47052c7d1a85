//! The logger that travelled along: its file is sent, looked at, put right and kept.

use super::blind::Blind;
use crate::clock::hex;
use crate::store::{Blob, sha256_of};
use crate::study::entry::Entry;
use crate::study::environment::guess::guess;
use crate::study::environment::layout::{Layout, Read};
use crate::study::environment::table;
use crate::study::fault::Faults;
use crate::study::ids::StudyId;
use crate::study::receipt::{Extremes, TransitLogged};
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act::{self, Declined};
use crate::web::extract::Query;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::logger::{ColumnLine, Look, Offered, apart, field_of, fill, layout, look};
use crate::web::page::{Chrome, Moved, Page};
use crate::web::upload::Upload;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

/// The largest logger file, in bytes.
pub(super) const MOST_BYTES: usize = 16 * 1024 * 1024;
const ZONE: &str = "UTC";

#[derive(Template)]
#[template(path = "lab/parcel_logger.html")]
struct LoggerPage {
    chrome: Chrome,
    blind: Blind,
    said: Vec<String>,
    columns: Vec<ColumnLine>,
    look: Option<Look>,
    offered: Offered,
    form: Form,
}

/// Under what a consignment's files are kept: its own id, so that no link reaches another's.
pub(super) fn shelf(blind: &Blind) -> StudyId {
    StudyId(blind.id.0)
}

async fn file(app: &App, blind: &Blind, typed: &Typed) -> Result<Option<Vec<u8>>, WebFault> {
    match sha256_of(typed.text("file")) {
        Some(sha256) => Ok(app.store.find_upload(shelf(blind), &sha256).await?),
        None => Ok(None),
    }
}

fn send_it_first(blind: &Blind) -> Response {
    Moved::to(format!("{}/parcel", blind.address()))
        .saying("Choose the file that the logger's program wrote, 16 MB at most.")
        .into_response()
}

/// Keeps the file and goes on to the look at it.
pub(in crate::web) async fn send(
    State(app): State<App>,
    lab: LabAccess,
    upload: Upload,
) -> Result<Response, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let bytes = upload.file("logger");
    if bytes.is_empty() || bytes.len() > MOST_BYTES {
        return Ok(send_it_first(&blind));
    }
    let now = app.clock.now();
    let sha256 = app.store.put_upload(shelf(&blind), bytes.to_vec(), now);
    let on = format!(
        "{}/parcel/logger?file={}",
        blind.address(),
        hex(&sha256.await?)
    );
    Ok(Moved::to(on).into_response())
}

/// The guess.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    query: Query,
) -> Result<Response, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let Some(bytes) = file(&app, &blind, &query.0).await? else {
        return Ok(send_it_first(&blind));
    };
    let (found, bytes) = apart(move || (guess(&bytes, ZONE), bytes)).await?;
    let fresh = act::fresh(&app);
    let mut typed = Typed::from([("entry", fresh.as_str()), ("name", "logger in the parcel")]);
    typed.set("file", query.0.text("file"));
    match found {
        Ok(found) => {
            fill(&mut typed, &found.layout);
            let page = page(chrome, blind, (bytes, found.said), Form::filled(typed)).await?;
            Ok(Page::of(page).into_response())
        }
        Err(fault) => {
            typed.set("delimiter", "comma");
            let form = Fields(typed).again_with("", fault.to_string());
            let page = page(chrome, blind, (bytes, Vec::new()), form).await?;
            Ok(Page::refused(page).into_response())
        }
    }
}

async fn page(
    chrome: Chrome,
    blind: Blind,
    (bytes, said): (Vec<u8>, Vec<String>),
    mut form: Form,
) -> Result<LoggerPage, WebFault> {
    let typed = form.typed().clone();
    let (columns, look) = apart(move || look(&bytes, &typed, ZONE)).await?;
    if let Err(faults) = &look
        && form.is_faultless()
    {
        form = Fields(form.typed().clone()).again(faults.clone());
    }
    Ok(LoggerPage {
        chrome: chrome.titled("Read a logger's file"),
        offered: Offered::all(),
        look: look.ok(),
        said,
        columns,
        blind,
        form,
    })
}

fn parse(typed: &Typed, bytes: &[u8]) -> Result<(String, Layout, Read), Faults> {
    let mut faults = Faults::none();
    let name = faults.keep(typed.required("name", "The logger's name"));
    let read = layout(typed).and_then(|layout| {
        let (text, _) = table::text(bytes);
        let read = layout.read(&text);
        let read = read.map_err(|fault| Faults::one(field_of(&fault), fault.to_string()));
        read.map(|read| (layout, read))
    });
    match (name, read) {
        (Some(name), Ok((layout, read))) => Ok((name, layout, read)),
        (_, read) => {
            faults.extend(read.err().unwrap_or_default());
            Err(faults)
        }
    }
}

/// Looks again with what was put right, or keeps it.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let on = format!("{}/parcel", blind.address());
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(on).into_response());
    }
    let Some(bytes) = file(&app, &blind, &fields.0).await? else {
        return Ok(send_it_first(&blind));
    };
    if fields.0.text("act") == "look" {
        let form = fields.again(Faults::none());
        let page = page(chrome, blind, (bytes, Vec::new()), form).await?;
        return Ok(Page::of(page).into_response());
    }
    let parsing = fields.clone();
    let (read, bytes) = apart(move || {
        let read = parsing.read(|typed| parse(typed, &bytes));
        (read, bytes)
    })
    .await?;
    let done = match read {
        Ok(asked) => {
            let transit = transit(&app, &blind, fields.0.text("file"), asked).await?;
            let entry = Entry::TransitLogged(Box::new(transit));
            act::sent(&app, &blind.acting(&lab), &fields, Ok((entry, None))).await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(()) => Ok(Moved::to(on)
            .saying("The temperature on the way is on record.")
            .into_response()),
        Err(Declined::Form(form)) => {
            let form = act::afresh(&app, &form);
            let page = page(chrome, blind, (bytes, Vec::new()), form).await?;
            Ok(Page::refused(page).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

/// Keeps the values and makes the entry.
pub(super) async fn transit(
    app: &App,
    blind: &Blind,
    file: &str,
    (name, layout, read): (String, Layout, Read),
) -> Result<TransitLogged, WebFault> {
    let values = &read.values;
    let blob = Blob {
        media_type: "text/csv".to_owned(),
        bytes: values.to_bytes().map_err(WebFault::ours)?,
    };
    let values_sha256 = hex(&app.store.put_blob(&blob).await?);
    let missing = || WebFault::ours("a logger's file that was read has no rows");
    let ends = values.rows.first().zip(values.rows.last());
    let (first, last) = ends.ok_or_else(missing)?;
    let extremes = values.measurands.iter().enumerate();
    let extremes = extremes.filter_map(|(column, measurand)| {
        let all = values.rows.iter();
        let all = all.filter_map(|row| row.values.get(column).copied().flatten());
        let lowest = all.clone().reduce(f64::min)?;
        let highest = all.reduce(f64::max)?;
        Some(Extremes {
            measurand: *measurand,
            lowest,
            highest,
        })
    });
    Ok(TransitLogged {
        consignment: blind.id,
        name,
        layout,
        channels: read.channels.clone(),
        file_sha256: file.to_owned(),
        values_sha256,
        rows: u32::try_from(values.rows.len()).unwrap_or(u32::MAX),
        first: first.at,
        last: last.at,
        extremes: extremes.collect(),
    })
}
