//! One's own account: the password, and the devices that are signed in.

use crate::store::{Device, SetAside};
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
    devices: Vec<DeviceLine>,
    aside: Vec<AsideLine>,
    form: Form,
}

/// A device that queues entries, ready to print.
struct DeviceLine {
    name: String,
    /// The last characters of its id: two phones of one make are told apart by them.
    mark: String,
    waiting: String,
    is_waiting: bool,
    said: String,
    clock: String,
}

/// An entry that was given up, ready to print.
struct AsideLine {
    words: String,
    why: String,
    reason: String,
    at: String,
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
    let devices = app.store.devices_of(steward.id).await?;
    let aside = app.store.set_aside_by(steward.id).await?;
    Ok(AccountPage {
        chrome: chrome.titled("Your account"),
        steward,
        sessions,
        devices: devices.into_iter().map(device).collect(),
        aside: aside.into_iter().map(given_up).collect(),
        form,
    })
}

const MOMENT: &str = "%-d %B %Y, %H:%M UTC";

fn device(device: Device) -> DeviceLine {
    let said = device.said;
    let unsent = match (said.waiting, said.refused) {
        (0, 0) => "nothing".to_owned(),
        (waiting, 0) => format!("{waiting} to be sent"),
        (0, refused) => format!("{refused} refused"),
        (waiting, refused) => format!("{waiting} to be sent, {refused} refused"),
    };
    let since = said
        .oldest_at
        .map(|oldest| format!(", the oldest of {}", oldest.format(MOMENT)));
    let id = said.id.simple().to_string();
    DeviceLine {
        name: said.name,
        mark: id.chars().skip(28).collect(),
        is_waiting: said.waiting + said.refused > 0,
        waiting: format!("{unsent}{}", since.unwrap_or_default()),
        said: device.at.format(MOMENT).to_string(),
        clock: clock(said.ahead_ms),
    }
}

/// How far a device's clock is off, in words; a minute harms nobody.
pub(super) fn clock(ahead_ms: i64) -> String {
    let minutes = (ahead_ms.abs() + 30_000) / 60_000;
    let side = if ahead_ms > 0 { "ahead" } else { "behind" };
    match minutes {
        0 | 1 => "right".to_owned(),
        2..=119 => format!("{minutes} min {side}"),
        _ => format!("{} h {} min {side}", minutes / 60, minutes % 60),
    }
}

fn given_up(entry: SetAside) -> AsideLine {
    let held: Option<serde_json::Value> = serde_json::from_str(&entry.entry).ok();
    let words = held.as_ref().and_then(|held| held.get("words")?.as_str());
    AsideLine {
        words: words.unwrap_or("an entry").to_owned(),
        why: entry.why,
        reason: entry.reason,
        at: entry.at.format(MOMENT).to_string(),
    }
}
