//! What the steward's and the tester's page of tokens have in common: a line for each token, making one,
//! revoking one. A token is shown once, on the page that answers the form.

use super::App;
use super::act;
use super::fault::WebFault;
use super::form::{Fields, Form};
use super::page::Page;
use crate::store::{Maker, NewToken, TokenRow};
use crate::study::ids::StudyId;
use crate::study::token::Wanted;
use crate::study::typed::Typed;
use crate::study::when;
use askama::Template;
use axum::http::HeaderValue;
use axum::http::header::CACHE_CONTROL;
use axum::response::{IntoResponse, Response};
use chrono::{DateTime, Days, Utc};
use uuid::Uuid;

/// A token, ready to print.
pub(super) struct Line {
    pub(super) id: String,
    pub(super) name: String,
    /// Whose it is, where the page shows those of several.
    pub(super) whose: String,
    pub(super) rights: &'static str,
    pub(super) made: String,
    pub(super) used: String,
    /// Until when it opens something, or why it opens nothing.
    pub(super) state: String,
    pub(super) is_open: bool,
}

impl Line {
    /// Of a token; `whose` in words, `is_held` when its maker still may what it may.
    pub(super) fn of(row: &TokenRow, whose: String, is_held: bool, now: DateTime<Utc>) -> Self {
        let moment = |at| format!("{} UTC", when::in_words(at, "UTC"));
        let state = match row.revoked_at {
            Some(at) => format!("revoked on {}", moment(at)),
            None if row.ends_at <= now => {
                format!("ended on {}", when::day_in_words(row.ends_at, "UTC"))
            }
            None if !is_held => "opens nothing: its maker no longer has part in this".to_owned(),
            None => format!("until {}", when::day_in_words(row.ends_at, "UTC")),
        };
        Self {
            id: row.id.to_string(),
            name: row.name.clone(),
            whose,
            rights: if row.can_send {
                "reads and sends"
            } else {
                "only reads"
            },
            made: moment(row.made_at),
            used: row.used_at.map_or_else(
                || "never used".to_owned(),
                |at| format!("last used {}", moment(at)),
            ),
            state,
            is_open: row.revoked_at.is_none() && row.ends_at > now && is_held,
        }
    }
}

/// What a page of tokens shows besides its list.
pub(super) struct Shown {
    /// The form for another.
    pub(super) form: Form,
    /// The secret, on the one page that shows it.
    pub(super) secret: Option<String>,
    /// The form was sent twice: its token was shown the first time.
    pub(super) is_again: bool,
    /// Nothing was made.
    pub(super) is_refused: bool,
}

impl Shown {
    /// The page as it is opened.
    pub(super) fn blank(app: &App) -> Self {
        Self {
            form: blank(app),
            secret: None,
            is_again: false,
            is_refused: false,
        }
    }
}

/// Makes the token that a form asks for, or gives the form back.
pub(super) async fn asked(
    app: &App,
    fields: &Fields,
    whose: (StudyId, Maker),
) -> Result<Shown, WebFault> {
    let now = app.clock.now();
    match fields.read(|typed| Wanted::parse(typed, now)) {
        Ok(wanted) => {
            let secret = make(app, &fields.0, whose, wanted).await?;
            Ok(Shown {
                is_again: secret.is_none(),
                secret,
                ..Shown::blank(app)
            })
        }
        Err(form) => Ok(Shown {
            form: act::afresh(app, &form),
            is_refused: true,
            ..Shown::blank(app)
        }),
    }
}

/// The answer to the form.
pub(super) fn answer<P: Template>(is_refused: bool, page: P) -> Response {
    match is_refused {
        true => Page::refused(page).into_response(),
        false => unkept(Page::of(page)),
    }
}

/// An empty form: three months, and it may send.
fn blank(app: &App) -> Form {
    let until = app.clock.now().date_naive() + Days::new(90);
    let mut typed = Typed::from([("can_send", "yes")]);
    typed.set("until", until.to_string());
    typed.set(act::ENTRY, act::fresh(app));
    Form::filled(typed)
}

/// Makes a token and gives its secret, to be shown once. Its id is the form's own, so that a form sent twice
/// makes one token; the second time there is nothing to show.
async fn make(
    app: &App,
    typed: &Typed,
    (study, maker): (StudyId, Maker),
    wanted: Wanted,
) -> Result<Option<String>, WebFault> {
    let id = act::entry_id(app, typed).0;
    let known = app.store.tokens_of(study).await?;
    if known.iter().any(|row| row.id == id) {
        return Ok(None);
    }
    let token = app.clock.new_token();
    let new = NewToken {
        id,
        token_sha256: token.sha256(),
        name: wanted.name,
        study,
        maker,
        can_send: wanted.can_send,
        made_at: app.clock.now(),
        ends_at: wanted.ends_at,
    };
    app.store.add_token(&new).await?;
    Ok(Some(token.reveal()))
}

/// Revokes the token that the form names when `is_own` says that it may.
pub(super) async fn revoke(
    app: &App,
    typed: &Typed,
    study: StudyId,
    is_own: impl Fn(&TokenRow) -> bool,
) -> Result<(), WebFault> {
    let id = Uuid::parse_str(typed.text("token")).map_err(|_| none_named())?;
    let rows = app.store.tokens_of(study).await?;
    let found = rows.iter().find(|row| row.id == id && is_own(row));
    found.ok_or_else(none_named)?;
    app.store.revoke_token(id, app.clock.now()).await?;
    Ok(())
}

fn none_named() -> WebFault {
    WebFault::Refused("There is no such token here, so nothing was revoked.".to_owned())
}

/// No browser and no proxy keeps the page with the secret.
fn unkept(page: impl IntoResponse) -> Response {
    let mut answer = page.into_response();
    let never = HeaderValue::from_static("no-store");
    answer.headers_mut().insert(CACHE_CONTROL, never);
    answer
}
