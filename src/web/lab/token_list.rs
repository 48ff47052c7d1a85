//! A tester's tokens for programs: made behind the lab link, for its consignment alone. They end with the link.

use super::blind::Blind;
use crate::store::{Maker, TokenRow};
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::fault::WebFault;
use crate::web::form::Fields;
use crate::web::page::{Chrome, Moved, Page};
use crate::web::token_page::{self, Line, Shown};
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
    tokens: Vec<Line>,
    shown: Shown,
}

/// The list.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
) -> Result<Response, WebFault> {
    let shown = Shown::blank(&app);
    Ok(Page::of(page(&app, chrome, &lab, shown).await?).into_response())
}

fn is_own(lab: &LabAccess) -> impl Fn(&TokenRow) -> bool {
    let own = Maker::Tester(lab.link);
    move |row| row.maker == own
}

async fn page(
    app: &App,
    chrome: Chrome,
    lab: &LabAccess,
    shown: Shown,
) -> Result<TokensPage, WebFault> {
    let blind = Blind::load(app, lab).await?;
    let rows = app.store.tokens_of(blind.study).await?;
    let now = app.clock.now();
    let own = rows.iter().filter(|row| is_own(lab)(row));
    Ok(TokensPage {
        chrome: chrome.titled("For programs"),
        base: app.config.link_base(),
        page: format!("{}/tokens", blind.address()),
        tokens: own
            .map(|row| Line::of(row, String::new(), true, now))
            .collect(),
        shown,
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
    let study = Blind::load(&app, &lab).await?.study;
    let maker = Maker::Tester(lab.link);
    let shown = token_page::asked(&app, &fields, (study, maker)).await?;
    let is_refused = shown.is_refused;
    let page = page(&app, chrome, &lab, shown).await?;
    Ok(token_page::answer(is_refused, page))
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
