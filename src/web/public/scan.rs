//! The address on a printed label. Whoever scans it without being a steward of its study learns the
//! study's title when that is public, and nothing else; a code of a private study is not found, like one
//! that nobody has. Who is not signed in may do so from here and is led on.

use crate::study::code::Code;
use crate::study::ids::AccountId;
use crate::web::App;
use crate::web::extract::{Path, Query, Steward, Visitor};
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "public/scan.html")]
struct ScanPage {
    chrome: Chrome,
    /// The study's title, when the world may know it.
    title: Option<String>,
}

/// On to the specimen for its steward; the study's title for everybody else.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    Visitor(steward): Visitor,
    Path(code): Path<String>,
    query: Query,
) -> Result<Response, WebFault> {
    let code: Code = code.parse().map_err(|_| WebFault::NotFound)?;
    if steward.is_none() && query.0.has("open") {
        let next = format!("/s/{code}");
        return Err(WebFault::SignIn { next });
    }
    let is_nobody = steward.is_none();
    let title = match found(&app, &code, steward).await? {
        Found::Own(specimen) => return Ok(Moved::to(specimen).into_response()),
        Found::Public(title) => Some(title),
        Found::Nothing if is_nobody => None,
        Found::Nothing => return Err(WebFault::NotFound),
    };
    let status = match title {
        Some(_) => StatusCode::OK,
        None => StatusCode::NOT_FOUND,
    };
    let chrome = chrome.titled("A specimen's label");
    Ok(Page(ScanPage { chrome, title }, status).into_response())
}

/// What a visitor may know of a code.
enum Found {
    /// The page of the specimen, for its steward.
    Own(String),
    /// The title of its public study.
    Public(String),
    /// Nobody has it, or nobody whom this visitor may know of.
    Nothing,
}

async fn found(app: &App, code: &Code, steward: Option<Steward>) -> Result<Found, WebFault> {
    let Some(study) = app.store.study_of_code(code.as_str()).await? else {
        return Ok(Found::Nothing);
    };
    let account = steward.map(|steward| AccountId(steward.id));
    let door = app.store.study_door(&study.slug, account).await?;
    Ok(match door {
        Some(door) if door.is_steward => {
            Found::Own(format!("/desk/{}/specimens/{code}", study.slug))
        }
        Some(door) if door.is_public => Found::Public(study.title),
        _ => Found::Nothing,
    })
}
