//! Changing one's own password, which ends every session and begins a new one here.

use super::account_show;
use crate::study::fault::Faults;
use crate::study::typed::Typed;
use crate::web::attempts::By;
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use crate::web::{App, person, session};
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Response};

/// Changes it, or shows the page again.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, WebFault> {
    if let Err(form) = check(&app, &steward, &fields).await? {
        let page = account_show::page(&app, chrome, steward, form).await?;
        return Ok(Page::refused(page).into_response());
    }
    let hash = app.passwords.hash(fields.0.raw("new_password")).await?;
    app.store.set_password(steward.id, &hash).await?;
    let said = "Your password is changed. Every other device has to sign in again.";
    let mut answer = Moved::to("/account").saying(said).into_response();
    session::begin(&app, steward.id, &headers, &mut answer).await?;
    Ok(answer)
}

/// The new password is fit to use and the present one is right; guessing at it is slowed.
async fn check(
    app: &App,
    steward: &Steward,
    fields: &Fields,
) -> Result<Result<(), Form>, WebFault> {
    if let Err(form) = fields.read(parse) {
        return Ok(Err(form));
    }
    let by = [By::Name(&steward.name)];
    app.attempts
        .begin(&by, app.clock.now())
        .map_err(|wait_s| WebFault::Slow { wait_s })?;
    let known = app.store.find_credentials(&steward.name).await?;
    let hash = known.as_ref().map(|known| known.password_hash.as_str());
    if !app.passwords.fits(fields.0.raw("password"), hash).await? {
        return Ok(Err(
            fields.again_with("password", "This is not your present password.")
        ));
    }
    app.attempts.forgive(&by);
    Ok(Ok(()))
}

fn parse(typed: &Typed) -> Result<(), Faults> {
    let mut faults = Faults::none();
    if typed.raw("password").is_empty() {
        faults.push("password", "Type your present password.");
    }
    person::check_password(typed.raw("new_password"), "new_password", &mut faults);
    faults.or(())
}
