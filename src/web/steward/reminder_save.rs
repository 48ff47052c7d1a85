//! Setting where reminders go, the webhook's key, a test, and another try for what was given up.

use super::reminder_show::{hooks, page, wish_of, with_key};
use crate::remind::mail;
use crate::remind::notice::Notice;
use crate::remind::webhook::Hooks;
use crate::store::{Channel, NewMessage, Wish};
use crate::study::fault::Faults;
use crate::study::ids::AccountId;
use crate::study::typed::Typed;
use crate::study::units;
use crate::web::App;
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::Fields;
use crate::web::page::{Chrome, Moved, Page};
use axum::extract::State;
use axum::response::{IntoResponse, Response};

const HERE: &str = "/account/reminders";
/// The earliest that something is told of, in days before it opens.
const MOST_AHEAD: u32 = 60;
/// Seconds between two tests, so that nobody's mailbox is flooded by a button.
const BETWEEN_TESTS_S: i64 = 60;

/// What the form asks for.
struct Asked {
    mail: Option<String>,
    webhook: Option<String>,
    days_ahead: u32,
}

/// Keeps where reminders go. A new webhook gets its key, which is shown then and never again.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    fields: Fields,
) -> Result<Response, WebFault> {
    let hooks = hooks(&app);
    let asked = match fields.read(|typed| parse(typed, hooks)) {
        Ok(asked) => asked,
        Err(form) => {
            let page = page(&app, chrome, &steward, form).await?;
            return Ok(Page::refused(page).into_response());
        }
    };
    let before = wish_of(&app, &steward).await?;
    // The key of one address is not handed to another.
    let is_same = asked.webhook == before.webhook;
    let fresh = (asked.webhook.is_some() && !(is_same && before.webhook_key.is_some()))
        .then(|| app.clock.random::<32>());
    let kept = before.webhook_key.filter(|_| is_same);
    let is_new = asked.mail != before.mail;
    let wish = Wish {
        mail: asked.mail,
        webhook: asked.webhook,
        webhook_key: fresh.or(kept),
        days_ahead: asked.days_ahead,
        ..before
    };
    app.store.put_wish(&wish).await?;
    let said = match &wish.mail {
        // A slip of the address would be noticed in months, when a date is missed.
        Some(mail) if is_new && may_test(&app, &wish).await? => {
            put_test(&app, &wish, Channel::Mail).await?;
            format!(
                "Kept. A test is on its way to {mail}: when it does not come within minutes, the address \
                 has a slip, or the mail server's answer below says why."
            )
        }
        Some(mail) if is_new => {
            format!("Kept: mail goes to {mail}. Send a test to see that it comes.")
        }
        _ => "Kept.".to_owned(),
    };
    match fresh {
        Some(key) => with_key(&app, chrome, &steward, &key).await,
        None => Ok(Moved::to(HERE).saying(said).into_response()),
    }
}

/// Whether mail can be sent, and the last test was not a moment ago.
async fn may_test(app: &App, wish: &Wish) -> Result<bool, WebFault> {
    let has_server = app.config.outgoing.smtp_host.is_some();
    Ok(has_server && since_last_test_s(app, wish).await? >= BETWEEN_TESTS_S)
}

/// Seconds since the last test was asked for.
async fn since_last_test_s(app: &App, wish: &Wish) -> Result<i64, WebFault> {
    let subject = Notice::test().subject();
    let sent = app.store.messages_of(wish.account).await?;
    let last = sent.iter().find(|message| message.subject == subject);
    let now = app.clock.now();
    Ok(last.map_or(BETWEEN_TESTS_S, |last| (now - last.made_at).num_seconds()))
}

/// Puts a test on its way.
async fn put_test(app: &App, wish: &Wish, channel: Channel) -> Result<(), WebFault> {
    let notice = Notice::test();
    let message = NewMessage {
        id: app.clock.new_id(),
        account: wish.account,
        channel,
        made_at: app.clock.now(),
        subject: notice.subject(),
        body: notice.to_json()?,
        things: Vec::new(),
    };
    app.store.add_message(&message).await?;
    Ok(())
}

fn parse(typed: &Typed, hooks: Hooks) -> Result<Asked, Faults> {
    let mut faults = Faults::none();
    let mail = Some(typed.text("mail")).filter(|text| !text.is_empty());
    if mail.is_some_and(|mail| !mail::is_address(mail)) {
        faults.push("mail", "This is no mail address such as ada@example.org.");
    }
    let webhook = Some(typed.text("webhook")).filter(|text| !text.is_empty());
    let webhook = webhook.and_then(|text| match hooks.read(text) {
        Ok(url) => Some(url.to_string()),
        Err(sentence) => {
            faults.push("webhook", sentence);
            None
        }
    });
    let ahead = typed.text("days_ahead");
    let days_ahead = units::whole("days_ahead", "The number of days", ahead, 0, MOST_AHEAD);
    let days_ahead = faults.keep(days_ahead);
    let asked = days_ahead.map(|days_ahead| Asked {
        mail: mail.map(str::to_owned),
        webhook,
        days_ahead,
    });
    faults.and_some(asked)
}

/// Makes another key for the webhook; what is signed with the old one is none of ours any more.
pub(in crate::web) async fn renew_key(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
) -> Result<Response, WebFault> {
    let wish = wish_of(&app, &steward).await?;
    if wish.webhook.is_none() {
        return Err(WebFault::Refused("No webhook is set.".to_owned()));
    }
    let key = app.clock.random::<32>();
    let wish = Wish {
        webhook_key: Some(key),
        ..wish
    };
    app.store.put_wish(&wish).await?;
    with_key(&app, chrome, &steward, &key).await
}

/// Sends a test each way that is set.
pub(in crate::web) async fn test(
    State(app): State<App>,
    steward: Steward,
) -> Result<Response, WebFault> {
    let wish = wish_of(&app, &steward).await?;
    let since_s = since_last_test_s(&app, &wish).await?;
    if since_s < BETWEEN_TESTS_S {
        let wait_s = BETWEEN_TESTS_S - since_s;
        return Err(WebFault::Slow { wait_s });
    }
    let has_mail = wish.mail.is_some() && app.config.outgoing.smtp_host.is_some();
    let ways = [
        (Channel::Mail, has_mail),
        (Channel::Webhook, wish.webhook.is_some()),
    ];
    let mut is_sent = false;
    for (channel, _) in ways.into_iter().filter(|(_, is_on)| *is_on) {
        put_test(&app, &wish, channel).await?;
        is_sent = true;
    }
    if !is_sent {
        let sentence = "Nothing is set that a test could go to.";
        return Err(WebFault::Refused(sentence.to_owned()));
    }
    let said = "A test is on its way, within half a minute; its fate stands below.";
    Ok(Moved::to(HERE).saying(said).into_response())
}

/// Lets everything that was given up be tried again.
pub(in crate::web) async fn retry(
    State(app): State<App>,
    steward: Steward,
) -> Result<impl IntoResponse, WebFault> {
    let account = AccountId(steward.id);
    let count = app.store.retry_messages(account, app.clock.now()).await?;
    let said = match count {
        0 => "Nothing was given up.".to_owned(),
        1 => "It is tried again.".to_owned(),
        n => format!("{n} are tried again."),
    };
    Ok(Moved::to(HERE).saying(said))
}
