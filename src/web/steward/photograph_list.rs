//! The photographs of the study as a whole (the batch, the bench, the site), and the form for another one. They
//! show no single piece, and so may be public before there are results.

use super::photograph_new::keep;
use super::specimen_show::{Shot, shots};
use crate::study::photograph::{Motif, View};
use crate::study::record::StudyRecord;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::Form;
use crate::web::page::{Chrome, Moved, Page};
use crate::web::upload::Upload;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/photograph_list.html")]
struct ListPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    shots: Vec<Shot>,
    form: Form,
}

fn page(chrome: Chrome, record: Arc<StudyRecord>, form: Form) -> ListPage {
    ListPage {
        chrome: chrome.titled(format!("Photographs · {}", record.title)),
        shots: shots(&record, record.photographs_of_whole()),
        record,
        form,
    }
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let entry = act::fresh(&app);
    let form = Form::filled([("entry", entry.as_str())]);
    Ok(Page::of(page(chrome, record, form)))
}

/// Keeps another one.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    mut upload: Upload,
) -> Result<Response, WebFault> {
    upload.typed.set("view", View::Whole.key());
    let acting = Acting::steward(&steward, &study);
    match keep(&app, &acting, &Motif::Whole, &upload).await {
        Ok(()) => {
            let here = format!("/desk/{}/photographs", study.slug);
            let said = "The photograph is kept, without anything but the picture.";
            Ok(Moved::to(here).saying(said).into_response())
        }
        Err(Declined::Form(form)) => {
            let record = study.record(&app).await?;
            Ok(Page::refused(page(chrome, record, form)).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}
