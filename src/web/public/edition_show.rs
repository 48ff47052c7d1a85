//! A published edition: the bytes that were frozen when it was published, nothing rendered anew. An
//! old edition's address always serves its own bytes; a header points to the latest one.

use crate::store::read::edition::{EditionBytes, EditionFound};
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use crate::web::shelf::{Keep, LARGEST};
use askama::Template;
use axum::body::HttpBody;
use axum::extract::State;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG, IF_NONE_MATCH, LINK};
use axum::http::{HeaderMap, HeaderValue, StatusCode, Uri};
use axum::response::{IntoResponse, Response};
use chrono::{DateTime, Utc};

/// The file that the folder's own address serves.
const INDEX: &str = "index.html";

#[derive(Template)]
#[template(path = "public/edition_withdrawn.html")]
struct WithdrawnPage {
    chrome: Chrome,
    study: String,
    number: u32,
    day: String,
    reason: String,
}

/// The edition's page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    study: StudyAccess,
    Path((_, number)): Path<(String, u32)>,
    uri: Uri,
    headers: HeaderMap,
) -> Result<Response, WebFault> {
    let answer = serve(&app, &study, number, INDEX, &headers).await?;
    let address = format!("/studies/{}/editions/{number}/", study.slug);
    Ok(kept(answer, &study, uri.path() == address))
}

/// One of its files.
pub(in crate::web) async fn file(
    State(app): State<App>,
    study: StudyAccess,
    Path((_, number, path)): Path<(String, u32, String)>,
    uri: Uri,
    headers: HeaderMap,
) -> Result<Response, WebFault> {
    let answer = serve(&app, &study, number, &path, &headers).await?;
    let address = format!("/studies/{}/editions/{number}/{path}", study.slug);
    Ok(kept(answer, &study, uri.path() == address))
}

/// Kept for the crowd while the study's journal stands still, at the one address that is its own: `01`
/// and `+1` lead here too, and there is no end of those.
///
/// An archive may be larger than the shelf takes; it comes from the database each time.
fn kept(answer: Response, study: &StudyAccess, is_its_own: bool) -> Response {
    let size = answer.body().size_hint().exact();
    let has_room = size.is_some_and(|size| size <= LARGEST as u64);
    match study.is_public && is_its_own && has_room {
        true => Keep::while_still(study.id).mark(answer),
        false => answer,
    }
}

async fn serve(
    app: &App,
    study: &StudyAccess,
    number: u32,
    path: &str,
    headers: &HeaderMap,
) -> Result<Response, WebFault> {
    match app.store.edition_file(&study.slug, number, path).await? {
        EditionFound::Nothing => Err(WebFault::NotFound),
        EditionFound::Withdrawn { at, reason } => Ok(withdrawn(study, number, &at, reason)),
        EditionFound::File(file) => frozen(study, file, headers),
    }
}

/// The frozen bytes. Private studies are not kept by caches between the server and a steward.
fn frozen(
    study: &StudyAccess,
    file: EditionBytes,
    headers: &HeaderMap,
) -> Result<Response, WebFault> {
    let tag = format!("\"{}\"", file.sha256);
    let is_known = headers
        .get(IF_NONE_MATCH)
        .and_then(|sent| sent.to_str().ok())
        .is_some_and(|sent| sent.split(',').any(|known| known.trim() == tag));
    let latest = format!("</studies/{}>; rel=\"latest-version\"", study.slug);
    let mut answer = if is_known {
        StatusCode::NOT_MODIFIED.into_response()
    } else {
        file.bytes.into_response()
    };
    // A withdrawal must reach everybody, so caches ask again each time; the tag makes that cheap.
    for (name, value) in [
        (CONTENT_TYPE, file.media_type.as_str()),
        (ETAG, tag.as_str()),
        (CACHE_CONTROL, "no-cache"),
        (LINK, latest.as_str()),
    ] {
        let value = HeaderValue::from_str(value).map_err(WebFault::ours)?;
        answer.headers_mut().insert(name, value);
    }
    Ok(answer)
}

fn withdrawn(study: &StudyAccess, number: u32, at: &str, reason: String) -> Response {
    let day = at.parse::<DateTime<Utc>>();
    let day = day.map_or_else(|_| at.to_owned(), |day| when::day_in_words(day, "UTC"));
    let chrome = Chrome::bare("Withdrawn");
    let study = study.slug.clone();
    let page = WithdrawnPage {
        chrome,
        study,
        number,
        day,
        reason,
    };
    Page(page, StatusCode::GONE).into_response()
}
