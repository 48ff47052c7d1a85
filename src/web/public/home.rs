//! The first page: what this server is for, and the way in.

use crate::store::read::StudyLine;
use crate::web::App;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use crate::web::shelf::Keep;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

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
) -> Result<Response, WebFault> {
    let is_stranger = chrome.steward.is_none() && chrome.flash.is_none();
    let is_first_run = chrome.steward.is_none() && !app.store.has_any_account().await?;
    let page = Page::of(HomePage {
        chrome: chrome.titled("Studies"),
        is_first_run,
        studies: app
            .store
            .public_studies()
            .await?
            .into_iter()
            .map(Line::from)
            .collect(),
    })
    .into_response();
    // The first run ends with an account, which no chain knows of.
    Ok(match is_stranger && !is_first_run {
        true => Keep::for_strangers().mark(page),
        false => page,
    })
}
