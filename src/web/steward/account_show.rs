//! One's own account: the password, and the devices that are signed in.

use crate::web::App;
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::Form;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

#[derive(Template)]
#[template(path = "steward/account_show.html")]
pub(super) struct AccountPage {
    chrome: Chrome,
    steward: Steward,
    sessions: Vec<SessionLine>,
    form: Form,
}

/// A signed-in device, ready to print.
struct SessionLine {
    device: String,
    since: String,
    last_seen: String,
    is_this_one: bool,
}

/// The account page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
) -> Result<impl IntoResponse, WebFault> {
    Ok(Page::of(page(&app, chrome, steward, Form::blank()).await?))
}

/// The page with the password form as it should look.
pub(super) async fn page(
    app: &App,
    chrome: Chrome,
    steward: Steward,
    form: Form,
) -> Result<AccountPage, WebFault> {
    let sessions = app.store.sessions_of(steward.id, app.clock.now()).await?;
    let lines = sessions.into_iter().map(|session| SessionLine {
        device: session.device,
        since: session.made_at.format("%-d %B %Y").to_string(),
        last_seen: session
            .last_seen_at
            .format("%-d %B %Y, %H:%M UTC")
            .to_string(),
        is_this_one: session.token_sha256 == steward.session,
    });
    let sessions = lines.collect();
    Ok(AccountPage {
        chrome: chrome.titled("Your account"),
        steward,
        sessions,
        form,
    })
}
