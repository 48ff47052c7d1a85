//! The address on a printed label. Whoever scans it without being a steward of its study learns the
//! study's title when that is public, and nothing else; a code of a private study is not found, like one
//! that nobody has.

use crate::study::code::Code;
use crate::study::ids::AccountId;
use crate::web::App;
use crate::web::extract::{Path, Visitor};
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "public/scan.html")]
struct ScanPage {
    chrome: Chrome,
    title: String,
}

/// On to the specimen for its steward; the study's title for everybody else.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    Visitor(steward): Visitor,
    Path(code): Path<String>,
) -> Result<Response, WebFault> {
    let code: Code = code.parse().map_err(|_| WebFault::NotFound)?;
    let found = app.store.study_of_code(code.as_str()).await?;
    let study = found.ok_or(WebFault::NotFound)?;
    let account = steward.map(|steward| AccountId(steward.id));
    let door = app.store.study_door(&study.slug, account).await?;
    let door = door.ok_or(WebFault::NotFound)?;
    if door.is_steward {
        let to = format!("/desk/{}/specimens/{code}", study.slug);
        return Ok(Moved::to(to).into_response());
    }
    if !door.is_public {
        return Err(WebFault::NotFound);
    }
    let chrome = chrome.titled("A specimen's label");
    let page = ScanPage {
        chrome,
        title: study.title,
    };
    Ok(Page::of(page).into_response())
}
