//! Sending a logger's file: kept as it is, and then looked at.

use crate::clock::hex;
use crate::study::record::StudyRecord;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use crate::web::upload::Upload;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

/// The largest logger file, in bytes.
const MOST_BYTES: usize = 16 * 1024 * 1024;

#[derive(Template)]
#[template(path = "steward/environment_new.html")]
struct NewSeriesPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    form: Form,
}

fn page(chrome: Chrome, record: Arc<StudyRecord>, form: Form) -> NewSeriesPage {
    NewSeriesPage {
        chrome: chrome.titled(format!("Add a logger's file · {}", record.title)),
        record,
        form,
    }
}

/// The form.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    Ok(Page::of(page(chrome, record, Form::blank())))
}

/// Keeps the file and goes on to the look at it.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    upload: Upload,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let bytes = upload.file("file");
    let fault = match bytes.len() {
        0 => Some("Choose the file that the logger's program wrote."),
        n if n > MOST_BYTES => Some("This file is larger than 16 MB; cut it into parts."),
        _ => None,
    };
    if let Some(sentence) = fault {
        let form = Fields(upload.typed).again_with("file", sentence);
        return Ok(Page::refused(page(chrome, record, form)).into_response());
    }
    let now = app.clock.now();
    let sha256 = app.store.put_upload(study.id, bytes.to_vec(), now).await?;
    let on = format!(
        "/desk/{}/environment/read?file={}",
        study.slug,
        hex(&sha256)
    );
    Ok(Moved::to(on).into_response())
}
