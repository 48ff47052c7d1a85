//! The first page: what this server is for, and the way in.

use crate::store::read::StudyLine;
use crate::web::App;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

#[derive(Template)]
#[template(path = "public/home.html")]
struct HomePage {
    chrome: Chrome,
    is_first_run: bool,
    studies: Vec<Line>,
}

/// A public study, ready to print.
struct Line {
    slug: String,
    title: String,
    state: &'static str,
}

impl From<StudyLine> for Line {
    fn from(study: StudyLine) -> Self {
        let state = match (study.editions, study.is_sealed) {
            (0, false) => "being planned",
            (0, true) => "under way",
            _ => "published",
        };
        let StudyLine { slug, title, .. } = study;
        Self { slug, title, state }
    }
}

/// The first page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
) -> Result<impl IntoResponse, WebFault> {
    let is_first_run = chrome.steward.is_none() && !app.store.has_any_account().await?;
    Ok(Page::of(HomePage {
        chrome: chrome.titled("Studies"),
        is_first_run,
        studies: app
            .store
            .public_studies()
            .await?
            .into_iter()
            .map(Line::from)
            .collect(),
    }))
}
