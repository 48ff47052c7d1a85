//! Published editions for programs: which there are, an edition's findings, its files byte for byte.

use crate::store::read::edition::{EditionBytes, EditionFound};
use crate::study::record::EditionRecord;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::extract::Path;
use crate::web::fault::{JsonFault, WebFault};
use crate::web::shelf::Keep;
use axum::Json;
use axum::extract::State;
use axum::http::HeaderValue;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG};
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};

/// The file with all numbers.
const FINDINGS: &str = "findings.json";

/// The editions of a study, oldest first.
pub(in crate::web) async fn list(
    State(app): State<App>,
    study: StudyAccess,
) -> Result<Json<Value>, JsonFault> {
    let record = study.record(&app).await?;
    let mut editions = Vec::with_capacity(record.editions.len());
    for edition in &record.editions {
        editions.push(of(&app, &study, edition).await?);
    }
    Ok(Json(
        json!({ "study": study.slug, "title": record.title, "editions": editions }),
    ))
}

async fn of(app: &App, study: &StudyAccess, edition: &EditionRecord) -> Result<Value, WebFault> {
    let base = format!("/api/v1/studies/{}/editions/{}", study.slug, edition.number);
    let files = match &edition.withdrawn {
        Some(_) => Vec::new(),
        None => app.store.edition_paths(&study.slug, edition.number).await?,
    };
    let address = |name: String| json!({ "address": format!("{base}/files/{name}"), "name": name });
    Ok(json!({
        "number": edition.number,
        "published_at": edition.at,
        "is_interim": edition.is_interim,
        "withdrawn": edition.withdrawn,
        "findings_sha256": edition.findings_sha256,
        "page": format!("/studies/{}/editions/{}/", study.slug, edition.number),
        "findings": base,
        "files": files.into_iter().map(address).collect::<Vec<_>>(),
    }))
}

/// The findings of an edition: the bytes whose hash the list gives.
pub(in crate::web) async fn findings(
    State(app): State<App>,
    study: StudyAccess,
    Path((_, number)): Path<(String, u32)>,
) -> Result<Response, JsonFault> {
    let file = read(&app, &study, number, FINDINGS).await?;
    Ok(frozen(&study, file, "application/json")?)
}

/// A file of an edition. Programs get bytes, so that no page is served at a second address.
pub(in crate::web) async fn file(
    State(app): State<App>,
    study: StudyAccess,
    Path((_, number, name)): Path<(String, u32, String)>,
) -> Result<Response, JsonFault> {
    let file = read(&app, &study, number, &name).await?;
    Ok(frozen(&study, file, "application/octet-stream")?)
}

async fn read(
    app: &App,
    study: &StudyAccess,
    number: u32,
    name: &str,
) -> Result<EditionBytes, WebFault> {
    match app.store.edition_file(&study.slug, number, name).await? {
        EditionFound::File(file) => Ok(file),
        EditionFound::Nothing => Err(WebFault::NotFound),
        EditionFound::Withdrawn { at, reason } => Err(WebFault::Gone(format!(
            "This edition was withdrawn at {at}: {reason}"
        ))),
    }
}

fn frozen(
    study: &StudyAccess,
    file: EditionBytes,
    kind: &'static str,
) -> Result<Response, WebFault> {
    let tag = HeaderValue::from_str(&format!("\"{}\"", file.sha256)).map_err(WebFault::ours)?;
    let mut answer = file.bytes.into_response();
    let headers = answer.headers_mut();
    headers.insert(CONTENT_TYPE, HeaderValue::from_static(kind));
    headers.insert(ETAG, tag);
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-cache"));
    Ok(match study.is_public {
        true => Keep::while_still(study.id).mark(answer),
        false => answer,
    })
}
