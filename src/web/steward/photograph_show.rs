//! One photograph: large, with what is known of it; its scale, whether it goes to the public page, and
//! the way to get rid of it. And its files.

use super::piece_words::{self, plan_of};
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::EntryId;
use crate::study::photograph;
use crate::study::record::{PhotographRecord, Standing, StudyRecord};
use crate::study::typed::Typed;
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::darkroom::{self, JPEG};
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use std::sync::Arc;

/// The path of a page about a photograph.
#[derive(Debug, Deserialize)]
pub(in crate::web) struct PhotographPath {
    entry: EntryId,
}

#[derive(Template)]
#[template(path = "steward/photograph_show.html")]
struct PhotographPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    photo: PhotographRecord,
    taken: String,
    /// The part of the study that it belongs to.
    part: &'static str,
    /// The page and the name of the holder that it shows.
    holder: Option<(String, String)>,
    /// Whether every piece that it shows is unblinded.
    is_unblinded: bool,
    form: Form,
}

impl PhotographPage {
    fn is_void(&self) -> bool {
        self.photo.standing == Standing::Void
    }
}

fn page(
    chrome: Chrome,
    record: Arc<StudyRecord>,
    entry: EntryId,
    form: Form,
) -> Result<PhotographPage, WebFault> {
    let photo = record.photograph(entry).ok_or(WebFault::NotFound)?.clone();
    Ok(PhotographPage {
        chrome: chrome.titled(format!("Photograph · {}", record.title)),
        taken: when::in_words(photo.taken_at, &record.time_zone),
        part: match photo.photograph.described.holder {
            None if !photo.is_of_whole() => "specimens",
            _ => "exposure",
        },
        holder: holder(&record, &photo),
        is_unblinded: record.is_unblinded(&photo),
        record,
        photo,
        form,
    })
}

fn holder(record: &StudyRecord, photo: &PhotographRecord) -> Option<(String, String)> {
    let key = photo.photograph.described.holder.as_deref()?;
    let name = piece_words::holder_name(plan_of(record), key);
    Some((format!("/desk/{}/holders/{key}", record.slug), name))
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Path(path): Path<PhotographPath>,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let fresh = act::fresh(&app);
    let form = Form::filled([("entry", fresh.as_str())]);
    Ok(Page::of(page(chrome, record, path.entry, form)?))
}

/// What a form of the page asks for, with its reason.
fn asked(typed: &Typed, photograph: EntryId) -> Result<(Entry, Option<String>), Faults> {
    let one = |fault: crate::study::fault::Fault| Faults::one(fault.field, fault.sentence);
    match typed.text("act") {
        "scale" => match photograph::frame(typed).map_err(one)? {
            Some(frame_mm) => Ok((
                Entry::PhotographScaled {
                    photograph,
                    frame_mm,
                },
                None,
            )),
            None => Err(Faults::one("frame", "The width of the picture is missing.")),
        },
        "release" => {
            let shows_no_piece = typed.has("shows_no_piece");
            let released = Entry::PhotographReleased {
                photograph,
                shows_no_piece,
            };
            Ok((released, None))
        }
        "withhold" => Ok((Entry::PhotographWithheld { photograph }, None)),
        "erase" => {
            let reason = typed.required("reason", "The reason").map_err(one)?;
            Ok((Entry::PhotographErased { photograph }, Some(reason)))
        }
        _ => Err(Faults::one("", "Press one of the buttons of the page.")),
    }
}

/// Does what a form of the page asks for.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    Path(path): Path<PhotographPath>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    record.photograph(path.entry).ok_or(WebFault::NotFound)?;
    let done = match fields.read(|typed| asked(typed, path.entry)) {
        Ok((entry, note)) => {
            let acting = Acting::steward(&steward, &study);
            act::submit(&app, &acting, &fields, entry, note).await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(_) => {
            let here = format!("/desk/{}/photographs/{}", study.slug, path.entry);
            let said = match fields.0.text("act") {
                "scale" => "Its scale is noted.",
                "release"
                    if record
                        .photograph(path.entry)
                        .is_some_and(|p| p.is_of_whole()) =>
                {
                    "It stands on the public page while there are no results, and in the next edition."
                }
                "release" => "It goes to the public page with the next edition.",
                "withhold" => "It stays here; editions already published keep what they show.",
                _ => "Its pictures are erased; that there was one stays on record.",
            };
            Ok(Moved::to(here).saying(said).into_response())
        }
        Err(Declined::Form(form)) => {
            let form = act::afresh(&app, &form);
            Ok(Page::refused(page(chrome, record, path.entry, form)?).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

/// The large or the small picture. Under one address always the same bytes, until they are erased.
pub(in crate::web) async fn file(
    State(app): State<App>,
    study: StudyAccess,
    Path((_, entry, size)): Path<(String, EntryId, String)>,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let photo = record.photograph(entry).filter(|photo| !photo.is_erased);
    let files = &photo.ok_or(WebFault::NotFound)?.photograph.files;
    let blob = darkroom::picture(&app.store, files, &size).await?;
    let headers = [
        (CONTENT_TYPE, JPEG),
        (CACHE_CONTROL, "private, max-age=86400"),
    ];
    Ok((headers, blob.bytes).into_response())
}
