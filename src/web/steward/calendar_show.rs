//! One's secret calendar address: made, made anew, ended. It is shown once, on the page that answers
//! the form, and kept only as a hash.

use crate::study::ids::AccountId;
use crate::web::App;
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::http::HeaderValue;
use axum::http::header::CACHE_CONTROL;
use axum::response::{IntoResponse, Response};
use chrono::{DateTime, Utc};

#[derive(Template)]
#[template(path = "steward/calendar_show.html")]
struct CalendarPage {
    chrome: Chrome,
    /// The address, on the one page that shows it.
    address: Option<String>,
    /// When the present address was made, and when it was last fetched.
    made: Option<(String, Option<String>)>,
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
) -> Result<impl IntoResponse, WebFault> {
    Ok(Page::of(page(&app, chrome, &steward, None).await?))
}

async fn page(
    app: &App,
    chrome: Chrome,
    steward: &Steward,
    address: Option<String>,
) -> Result<CalendarPage, WebFault> {
    let feed = app.store.find_calendar_feed(AccountId(steward.id)).await?;
    Ok(CalendarPage {
        chrome: chrome.titled("Calendar"),
        address,
        made: feed.map(|feed| (moment(feed.made_at), feed.fetched_at.map(moment))),
    })
}

fn moment(at: DateTime<Utc>) -> String {
    at.format("%-d %B %Y, %H:%M UTC").to_string()
}

/// Makes an address; the one before opens nothing any more.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
) -> Result<Response, WebFault> {
    let token = app.clock.new_token();
    let account = AccountId(steward.id);
    app.store
        .put_calendar_feed(account, &token.sha256(), app.clock.now())
        .await?;
    let base = app.config.link_base();
    let address = format!("{base}/calendar/{}/due.ics", token.reveal());
    let page = page(&app, chrome, &steward, Some(address)).await?;
    let mut answer = Page::of(page).into_response();
    // No browser and no proxy keeps the page with the secret.
    let never = HeaderValue::from_static("no-store");
    answer.headers_mut().insert(CACHE_CONTROL, never);
    Ok(answer)
}

/// Ends the address.
pub(in crate::web) async fn end(
    State(app): State<App>,
    steward: Steward,
) -> Result<impl IntoResponse, WebFault> {
    app.store.end_calendar_feed(AccountId(steward.id)).await?;
    Ok(Moved::to("/account/calendar").saying("The address is ended: it opens nothing any more."))
}
