//! Reminders: where they go, and what became of them.

use crate::clock::hex;
use crate::remind::webhook::Hooks;
use crate::store::{Channel, Message, MessageState, Wish};
use crate::study::ids::AccountId;
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::Form;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::http::HeaderValue;
use axum::http::header::CACHE_CONTROL;
use axum::response::{IntoResponse, Response};
use chrono::{DateTime, Utc};

/// Days before something opens, when nothing else is asked (common practice, no source).
const DAYS_AHEAD: u32 = 2;

#[derive(Template)]
#[template(path = "steward/reminder_show.html")]
pub(super) struct RemindersPage {
    chrome: Chrome,
    form: Form,
    /// Whether the keeper has set up a mail server.
    has_mail: bool,
    /// Whether anything is set that a test could go to.
    has_way: bool,
    has_key: bool,
    /// The webhook's key, on the one page that shows it.
    key: Option<String>,
    messages: Vec<MessageLine>,
    given_up: usize,
}

/// A message, ready to print.
struct MessageLine {
    made: String,
    way: &'static str,
    subject: String,
    state: String,
    is_given_up: bool,
    is_sent: bool,
    said: String,
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
) -> Result<impl IntoResponse, WebFault> {
    let wish = wish_of(&app, &steward).await?;
    let page = page(&app, chrome, &steward, Form::filled(filled(&wish))).await?;
    Ok(Page::of(page))
}

/// Where somebody wants reminders; nowhere, until they say so.
///
/// # Errors
/// When the database cannot be read.
pub(super) async fn wish_of(app: &App, steward: &Steward) -> Result<Wish, WebFault> {
    let account = AccountId(steward.id);
    let found = app.store.find_wish(account).await?;
    Ok(found.unwrap_or(Wish {
        account,
        mail: None,
        webhook: None,
        webhook_key: None,
        days_ahead: DAYS_AHEAD,
        written_at: None,
    }))
}

fn filled(wish: &Wish) -> Typed {
    Typed::from([
        ("mail", wish.mail.as_deref().unwrap_or_default()),
        ("webhook", wish.webhook.as_deref().unwrap_or_default()),
        ("days_ahead", wish.days_ahead.to_string().as_str()),
    ])
}

/// What webhooks may be set.
pub(super) fn hooks(app: &App) -> Hooks {
    Hooks::new(app.config.outgoing.webhook_private)
}

/// The page with the form as it should look.
///
/// # Errors
/// When the database cannot be read.
pub(super) async fn page(
    app: &App,
    chrome: Chrome,
    steward: &Steward,
    form: Form,
) -> Result<RemindersPage, WebFault> {
    let wish = wish_of(app, steward).await?;
    let messages = app.store.messages_of(AccountId(steward.id)).await?;
    let has_mail = app.config.outgoing.smtp_host.is_some();
    let is_given_up = |message: &&Message| message.state == MessageState::GivenUp;
    Ok(RemindersPage {
        chrome: chrome.titled("Reminders"),
        form,
        has_mail,
        has_way: (has_mail && wish.mail.is_some()) || wish.webhook.is_some(),
        has_key: wish.webhook.is_some() && wish.webhook_key.is_some(),
        key: None,
        given_up: messages.iter().filter(is_given_up).count(),
        messages: messages.into_iter().map(line).collect(),
    })
}

/// The page that shows a webhook's key, once; no browser and no proxy keeps it.
///
/// # Errors
/// When the database cannot be read.
pub(super) async fn with_key(
    app: &App,
    chrome: Chrome,
    steward: &Steward,
    key: &[u8; 32],
) -> Result<Response, WebFault> {
    let wish = wish_of(app, steward).await?;
    let mut page = page(app, chrome, steward, Form::filled(filled(&wish))).await?;
    page.key = Some(hex(key));
    let mut answer = Page::of(page).into_response();
    let never = HeaderValue::from_static("no-store");
    answer.headers_mut().insert(CACHE_CONTROL, never);
    Ok(answer)
}

fn line(message: Message) -> MessageLine {
    let state = match (message.state, message.sent_at) {
        (MessageState::Sent, Some(at)) => format!("taken {}", moment(at)),
        (MessageState::Sent, None) => "taken".to_owned(),
        (MessageState::GivenUp, _) => "given up".to_owned(),
        (MessageState::Waiting, _) if message.attempts == 0 => "waiting".to_owned(),
        (MessageState::Waiting, _) => {
            let tried = match message.attempts {
                1 => "tried once".to_owned(),
                n => format!("tried {n} times"),
            };
            format!("{tried}, next {}", moment(message.next_try_at))
        }
    };
    MessageLine {
        made: moment(message.made_at),
        way: match message.channel {
            Channel::Mail => "mail",
            Channel::Webhook => "webhook",
        },
        subject: message.subject,
        state,
        is_given_up: message.state == MessageState::GivenUp,
        is_sent: message.state == MessageState::Sent,
        said: message.last_said.unwrap_or_default(),
    }
}

fn moment(at: DateTime<Utc>) -> String {
    at.format("%-d %B %Y, %H:%M UTC").to_string()
}
