//! The first run: whoever can read the server's terminal makes the first account, once.

use crate::clock::Clock;
use crate::store::{AddAccount, NewAccount};
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::AccountId;
use crate::study::typed::Typed;
use crate::web::address::ClientAddress;
use crate::web::attempts::By;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use crate::web::person::{self, Person};
use crate::web::{App, session};
use askama::Template;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;
use subtle::ConstantTimeEq;

/// The code that guards the first run: twelve characters, 60 bits, new at every start.
#[derive(Clone)]
pub(crate) struct OneTimeCode(Arc<str>);

impl OneTimeCode {
    pub(in crate::web) fn draw(clock: &Clock) -> Self {
        Self(clock.new_code::<12>().into())
    }

    pub(in crate::web) fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether this was typed, whatever the case and the gaps.
    fn is(&self, typed: &str) -> bool {
        let bare = typed
            .chars()
            .filter(char::is_ascii_alphanumeric)
            .collect::<String>();
        bool::from(
            bare.to_ascii_uppercase()
                .as_bytes()
                .ct_eq(self.0.as_bytes()),
        )
    }
}

#[derive(Template)]
#[template(path = "steward/first_run.html")]
struct FirstRunPage {
    chrome: Chrome,
    form: Form,
}

fn page(chrome: Chrome, form: Form) -> FirstRunPage {
    FirstRunPage {
        chrome: chrome.titled("First run"),
        form,
    }
}

/// The form.
pub(in crate::web) async fn show(chrome: Chrome) -> impl IntoResponse {
    Page::of(page(chrome, Form::blank()))
}

/// Makes the account and signs its owner in.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    address: ClientAddress,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, WebFault> {
    let by = [By::Address(address.0)];
    app.attempts
        .begin(&by, app.clock.now())
        .map_err(|wait_s| WebFault::Slow { wait_s })?;
    let person = match fields.read(|typed| parse(&app, typed)) {
        Ok(person) => person,
        Err(form) => return Ok(Page::refused(page(chrome, form)).into_response()),
    };
    app.attempts.forgive(&by);
    let new = NewAccount {
        id: app.clock.new_id(),
        name: person.name,
        display_name: person.display_name,
        password_hash: app.passwords.hash(fields.0.raw("password")).await?,
        made_at: app.clock.now(),
    };
    if app.store.add_first_account(&new).await? != AddAccount::Made {
        return Err(WebFault::NotFound);
    }
    let made = Entry::AccountMade {
        account: AccountId(new.id),
    };
    app.journal
        .note(&app.clock, made)
        .await
        .map_err(|_| WebFault::Busy)?;
    let mut answer = Moved::to("/desk")
        .saying("Your account is made.")
        .into_response();
    session::begin(&app, new.id, &headers, &mut answer).await?;
    Ok(answer)
}

fn parse(app: &App, typed: &Typed) -> Result<Person, Faults> {
    let mut faults = Faults::none();
    if !app.first_run.is(typed.text("code")) {
        faults.push(
            "code",
            "This is not the code that the server's terminal shows.",
        );
    }
    let person = Person::parse(typed, &mut faults);
    person::check_password(typed.raw("password"), "password", &mut faults);
    faults.or(person)
}

#[cfg(test)]
mod tests {
    use super::OneTimeCode;
    use crate::clock::Clock;

    #[test]
    fn the_code_may_be_typed_in_groups_and_small_letters_but_not_wrong() {
        let code = OneTimeCode::draw(&Clock::system());
        let (left, right) = code.as_str().split_at(6);
        assert!(code.is(&format!(" {}-{}", left.to_lowercase(), right)));
        assert!(!code.is(left) && !code.is(""));
        assert!(!code.is(OneTimeCode::draw(&Clock::system()).as_str()));
    }
}
