//! The desk: one's own studies.

use crate::study::ids::AccountId;
use crate::web::App;
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

#[derive(Template)]
#[template(path = "steward/study_list.html")]
struct DeskPage {
    chrome: Chrome,
    studies: Vec<Line>,
}

/// A study, ready to print.
struct Line {
    slug: String,
    title: String,
    state: &'static str,
    door: &'static str,
}

/// The list.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
) -> Result<impl IntoResponse, WebFault> {
    let studies = app.store.studies_of(AccountId(steward.id)).await?;
    let lines = studies.into_iter().map(|study| Line {
        state: match (study.editions, study.is_sealed) {
            (0, false) => "plan not sealed yet",
            (0, true) => "sealed, nothing published yet",
            _ => "published",
        },
        door: if study.is_public { "public" } else { "private" },
        slug: study.slug,
        title: study.title,
    });
    Ok(Page::of(DeskPage {
        chrome: chrome.titled("Your studies"),
        studies: lines.collect(),
    }))
}
