//! A released photograph of the study as a whole, as the page before the results shows it. Pieces and holders
//! are not served here: their pictures come with an edition, which the blind allows.

use crate::study::ids::EntryId;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::darkroom::{self, JPEG};
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::shelf::{Keep, LARGEST};
use axum::extract::State;
use axum::http::Uri;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

/// The large or the small picture; nothing of one that was taken back, is void or was erased.
pub(in crate::web) async fn show(
    State(app): State<App>,
    study: StudyAccess,
    Path((_, entry, size)): Path<(String, EntryId, String)>,
    uri: Uri,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let mut shown = record.public_photographs_of_whole();
    let photo = shown.find(|photo| photo.entry == entry);
    let files = &photo.ok_or(WebFault::NotFound)?.photograph.files;
    let blob = darkroom::picture(&app.store, files, &size).await?;
    let has_room = blob.bytes.len() <= LARGEST;
    // Caches ask again each time, so that one which is taken back is gone.
    let headers = [(CONTENT_TYPE, JPEG), (CACHE_CONTROL, "no-cache")];
    let answer = (headers, blob.bytes).into_response();
    // Its own address only: an id may be written in several ways.
    let address = format!("/studies/{}/photographs/{entry}/{size}", study.slug);
    Ok(match study.is_public && has_room && uri.path() == address {
        true => Keep::while_still(study.id).mark(answer),
        false => answer,
    })
}
