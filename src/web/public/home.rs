//! The first page: what this server is for, and the way in.

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
    }))
}
