//! A photograph of a piece: chosen or taken in a form that works without scripts.

use super::specimen_show::SpecimenPath;
use crate::study::code::Code;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::photograph::{Described, Motif, Photograph, View};
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::Whereabouts;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::darkroom::{Undeveloped, develop};
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use crate::web::upload::Upload;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/photograph_new.html")]
struct NewPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    code: String,
    views: Vec<(&'static str, &'static str)>,
    form: Form,
}

fn page(chrome: Chrome, record: Arc<StudyRecord>, code: &Code, form: Form) -> NewPage {
    NewPage {
        chrome: chrome.titled(format!("Photograph of {code}")),
        code: code.to_string(),
        views: View::ALL
            .into_iter()
            .filter(|view| !matches!(view, View::Arrived | View::Whole))
            .map(|view| (view.key(), view.label()))
            .collect(),
        record,
        form,
    }
}

/// The form.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Path(path): Path<SpecimenPath>,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let piece = path.find(&record)?;
    let (code, entry) = (piece.code.clone(), act::fresh(&app));
    let form = Form::filled([("entry", entry.as_str()), ("view", usual_view(piece).key())]);
    Ok(Page::of(page(chrome, record, &code, form)))
}

/// What a piece is most likely photographed as, from where it is.
fn usual_view(piece: &SpecimenRecord) -> View {
    match piece.whereabouts {
        Whereabouts::Bench | Whereabouts::Rejected => View::Before,
        Whereabouts::Out | Whereabouts::Lost | Whereabouts::Destroyed => View::InPlace,
        Whereabouts::In | Whereabouts::Consigned | Whereabouts::Tested => View::AsFound,
    }
}

/// Keeps it.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    Path(path): Path<SpecimenPath>,
    upload: Upload,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let code = path.find(&record)?.code.clone();
    let motif = Motif::Piece(code.clone());
    match keep(&app, &Acting::steward(&steward, &study), &motif, &upload).await {
        Ok(()) => Ok(Moved::to(format!("/desk/{}/specimens/{code}", study.slug))
            .saying(format!(
                "The photograph of {code} is kept, without anything but the picture."
            ))
            .into_response()),
        Err(Declined::Form(form)) => {
            Ok(Page::refused(page(chrome, record, &code, form)).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

/// Develops the picture that was sent and writes it down with what the form says.
///
/// # Errors
/// The form again with what is wrong, or a fault of the server.
pub(super) async fn keep(
    app: &App,
    acting: &Acting,
    motif: &Motif,
    upload: &Upload,
) -> Result<(), Declined> {
    let mut fields = Fields(upload.typed.clone());
    // The pictures are named by the entry that holds them, so its id is settled here.
    let entry = act::entry_id(app, &fields.0);
    fields.0.set(act::ENTRY, entry.to_string());
    let (described, note) = fields.read(|typed| {
        let note = typed.paragraph("note", "The remark");
        let note = note.map_err(|fault| Faults::one(fault.field, fault.sentence));
        match (Described::parse(typed, motif), note) {
            (Ok(described), Ok(note)) => Ok((described, note)),
            (described, note) => {
                let mut faults = described.err().unwrap_or_default();
                faults.extend(note.err().unwrap_or_default());
                Err(faults)
            }
        }
    })?;
    let files = develop(app, entry, upload.file("file")).await;
    let files = files.map_err(|why| match why {
        Undeveloped::Refused(why) => Declined::Form(fields.again_with("file", why.to_string())),
        Undeveloped::Fault(fault) => Declined::Fault(fault),
    })?;
    let photograph = Box::new(Photograph { described, files });
    let entry = Entry::PhotographTaken { photograph };
    act::submit(app, acting, &fields, entry, Some(note)).await?;
    Ok(())
}
