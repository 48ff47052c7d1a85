//! A holder: what is in it now, its photographs, the first and the last side by side, and the form for
//! another one.

use super::photograph_new::keep;
use super::piece_words::{self, plan_of};
use super::specimen_show::{Shot, shots};
use crate::report::photograph::{Pair, pair_in_time};
use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::photograph::{Motif, View};
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::Whereabouts;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::Form;
use crate::web::page::{Chrome, Moved, Page};
use crate::web::upload::Upload;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use std::sync::Arc;

/// The path of a page about a holder.
#[derive(Debug, Deserialize)]
pub(in crate::web) struct HolderPath {
    holder: String,
}

#[derive(Template)]
#[template(path = "steward/holder_show.html")]
struct HolderPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    key: String,
    name: String,
    condition: String,
    /// The pieces in it now.
    out: Vec<Code>,
    pair: Option<Pair>,
    shots: Vec<Shot>,
    views: Vec<(&'static str, &'static str)>,
    form: Form,
}

/// What a holder can be photographed as: it is neither cleaned nor broken.
const VIEWS: [View; 3] = [View::Before, View::InPlace, View::AsFound];

fn page(
    chrome: Chrome,
    record: Arc<StudyRecord>,
    key: &str,
    form: Form,
) -> Result<HolderPage, WebFault> {
    let plan = plan_of(&record).ok_or(WebFault::NotFound)?;
    let (condition, holder) = plan.holder(key).ok_or(WebFault::NotFound)?;
    let large = |photo: &crate::study::record::PhotographRecord| {
        let entry = photo.entry;
        format!("/desk/{}/photographs/{entry}/large.jpg", record.slug)
    };
    let is_in = |piece: &&SpecimenRecord| {
        let is_out = piece.whereabouts == Whereabouts::Out;
        is_out && matches!(&piece.place, Some(Place::Exposed { holder, .. }) if holder == key)
    };
    let inside = record.specimens.iter().filter(is_in);
    Ok(HolderPage {
        chrome: chrome.titled(format!("{} · {}", holder.name, record.title)),
        key: key.to_owned(),
        name: holder.name.clone(),
        condition: condition.name.clone(),
        out: inside.map(|piece| piece.code.clone()).collect(),
        pair: pair_in_time(record.photographs_of_holder(key), large, &record.time_zone),
        shots: shots(&record, record.photographs_of_holder(key)),
        views: VIEWS.map(|view| (view.key(), view.label())).into(),
        record,
        form,
    })
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Path(path): Path<HolderPath>,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let entry = act::fresh(&app);
    let form = Form::filled([("entry", entry.as_str()), ("view", View::InPlace.key())]);
    Ok(Page::of(page(chrome, record, &path.holder, form)?))
}

/// Keeps a photograph of it.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    Path(path): Path<HolderPath>,
    upload: Upload,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let plan = plan_of(&record).ok_or(WebFault::NotFound)?;
    let (_, holder) = plan.holder(&path.holder).ok_or(WebFault::NotFound)?;
    let motif = Motif::Holder(holder.key.clone());
    let said = format!(
        "The photograph of {} is kept, without anything but the picture.",
        holder.name
    );
    match keep(&app, &Acting::steward(&steward, &study), &motif, &upload).await {
        Ok(()) => {
            let here = format!("/desk/{}/holders/{}", study.slug, path.holder);
            Ok(Moved::to(here).saying(said).into_response())
        }
        Err(Declined::Form(form)) => {
            let again = page(chrome, record, &path.holder, form)?;
            Ok(Page::refused(again).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}
