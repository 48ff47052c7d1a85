//! What waits on the device that shows this page. The server knows nothing of it: the page's script
//! reads the device's own database.

use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::response::IntoResponse;

#[derive(Template)]
#[template(path = "steward/waiting_show.html")]
struct WaitingPage {
    chrome: Chrome,
}

/// The page, the same for everybody signed in.
pub(in crate::web) async fn show(chrome: Chrome) -> impl IntoResponse {
    Page::of(WaitingPage {
        chrome: chrome.titled("What waits on this device"),
    })
}
