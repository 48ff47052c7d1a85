//! A tester's tokens for programs: made behind the lab link, for its consignment alone. They end with the link.

use super::blind::Blind;
use crate::store::{Maker, TokenRow};
use crate::study::token::Wanted;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use crate::web::token_page::{self, Line};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "lab/token_list.html")]
struct TokensPage {
    chrome: Chrome,
    blind: Blind,
    base: String,
    /// Its address.
    page: String,
    /// The secret, on the one page that shows it.
    secret: Option<String>,
    /// The form was sent twice: its token was shown the first time.
    is_again: bool,
    tokens: Vec<Line>,
    form: Form,
}

/// The list.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
) -> Result<Response, WebFault> {
    let form = token_page::blank(&app);
    Ok(Page::of(page(&app, chrome, &lab, form).await?).into_response())
}

fn is_own(lab: &LabAccess) -> impl Fn(&TokenRow) -> bool {
    let own = Maker::Tester(lab.link);
    move |row| row.maker == own
}

async fn page(
    app: &App,
    chrome: Chrome,
    lab: &LabAccess,
    form: Form,
) -> Result<TokensPage, WebFault> {
    let blind = Blind::load(app, lab).await?;
    let rows = app.store.tokens_of(blind.study).await?;
    let now = app.clock.now();
    let own = rows.iter().filter(|row| is_own(lab)(row));
    Ok(TokensPage {
        chrome: chrome.titled("For programs"),
        base: app.config.link_base(),
        page: format!("{}/tokens", blind.address()),
        secret: None,
        is_again: false,
        tokens: own
            .map(|row| Line::of(row, String::new(), true, now))
            .collect(),
        form,
        blind,
    })
}

/// Makes one.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let now = app.clock.now();
    let wanted = match fields.read(|typed| Wanted::parse(typed, now)) {
        Ok(wanted) => wanted,
        Err(form) => {
            let form = act::afresh(&app, &form);
            return Ok(Page::refused(page(&app, chrome, &lab, form).await?).into_response());
        }
    };
    let study = Blind::load(&app, &lab).await?.study;
    let maker = Maker::Tester(lab.link);
    let secret = token_page::make(&app, &fields.0, (study, maker), wanted).await?;
    let mut page = page(&app, chrome, &lab, token_page::blank(&app)).await?;
    page.is_again = secret.is_none();
    page.secret = secret;
    Ok(token_page::unkept(Page::of(page)))
}

/// Revokes one.
pub(in crate::web) async fn revoke(
    State(app): State<App>,
    lab: LabAccess,
    fields: Fields,
) -> Result<Moved, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    token_page::revoke(&app, &fields.0, blind.study, is_own(&lab)).await?;
    Ok(Moved::to(format!("{}/tokens", blind.address()))
        .saying("The token is revoked: it opens nothing any more."))
}
