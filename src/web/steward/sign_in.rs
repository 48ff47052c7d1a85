//! Signing in. A wrong name and a wrong password get the same words after the same time.

use crate::study::fault::Faults;
use crate::study::typed::Typed;
use crate::web::address::ClientAddress;
use crate::web::attempts::By;
use crate::web::extract::Query;
use crate::web::fault::{WebFault, wait_sentence};
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use crate::web::{App, session};
use askama::Template;
use axum::extract::State;
use axum::http::header::RETRY_AFTER;
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "steward/sign_in.html")]
struct SignInPage {
    chrome: Chrome,
    form: Form,
}

fn page(chrome: Chrome, form: Form) -> Page<SignInPage> {
    Page::refused(SignInPage {
        chrome: chrome.titled("Sign in").with_outbox(),
        form,
    })
}

/// The form; `next` is where to go afterwards.
pub(in crate::web) async fn show(chrome: Chrome, Query(asked): Query) -> impl IntoResponse {
    let form = Form::filled([("next", asked.text("next"))]);
    Page::of(SignInPage {
        chrome: chrome.titled("Sign in").with_outbox(),
        form,
    })
}

/// What somebody typed to sign in.
struct SignIn {
    name: String,
    password: String,
    next: String,
}

impl SignIn {
    fn parse(typed: &Typed) -> Result<Self, Faults> {
        let mut faults = Faults::none();
        if typed.text("name").is_empty() {
            faults.push("name", "Type your sign-in name.");
        }
        if typed.raw("password").is_empty() {
            faults.push("password", "Type your password.");
        }
        faults.or(Self {
            name: typed.text("name").to_lowercase(),
            password: typed.raw("password").to_owned(),
            next: own_path(typed.text("next")).to_owned(),
        })
    }
}

/// Begins a session, or shows the form again.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    address: ClientAddress,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, WebFault> {
    let typed = match fields.read(SignIn::parse) {
        Ok(typed) => typed,
        Err(form) => return Ok(page(chrome, form).into_response()),
    };
    let by = [By::Name(&typed.name), By::Address(address.0)];
    if let Err(wait_s) = app.attempts.begin(&by, app.clock.now()) {
        return Ok(slowed(
            page(chrome, fields.again_with("", wait_sentence(wait_s))),
            wait_s,
        ));
    }
    let known = app.store.find_credentials(&typed.name).await?;
    let hash = known.as_ref().map(|known| known.password_hash.as_str());
    let fits = app.passwords.fits(&typed.password, hash).await?;
    let Some(known) = known.filter(|_| fits) else {
        let sentence = "This name and password do not go together.";
        return Ok(page(chrome, fields.again_with("password", sentence)).into_response());
    };
    app.attempts.forgive(&by);
    let mut answer = Moved::to(typed.next).into_response();
    session::begin(&app, known.account, &headers, &mut answer).await?;
    Ok(answer)
}

fn slowed(Page(page, _): Page<SignInPage>, wait_s: i64) -> Response {
    let mut answer = Page(page, StatusCode::TOO_MANY_REQUESTS).into_response();
    answer
        .headers_mut()
        .insert(RETRY_AFTER, HeaderValue::from(wait_s));
    answer
}

/// A path of this server, or one's desk: nobody is sent elsewhere by a link to our sign-in.
fn own_path(next: &str) -> &str {
    let is_path = next.starts_with('/') && !next.starts_with("//");
    let is_plain = next.chars().all(|c| c.is_ascii_graphic() && c != '\\');
    if is_path && is_plain { next } else { "/desk" }
}

#[cfg(test)]
mod tests {
    use super::own_path;

    #[test]
    fn signing_in_leads_nowhere_but_here() {
        assert_eq!(own_path("/account?x=1"), "/account?x=1");
        for elsewhere in [
            "//evil.example",
            "/\\evil.example",
            "https://evil.example",
            "",
            "/a\nb",
        ] {
            assert_eq!(own_path(elsewhere), "/desk", "{elsewhere:?}");
        }
    }
}
