//! The tokens of a study for programs: those of its stewards and those that testers made behind their lab
//! links. A steward makes their own and revokes any.

use crate::store::{Maker, TokenRow};
use crate::study::ids::AccountId;
use crate::study::record::StudyRecord;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::Fields;
use crate::web::page::{Chrome, Moved, Page};
use crate::web::token_page::{self, Line, Shown};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "steward/token_list.html")]
struct TokensPage {
    chrome: Chrome,
    slug: String,
    title: String,
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
    study: StudyAccess,
) -> Result<Response, WebFault> {
    let shown = Shown::blank(&app);
    Ok(Page::of(page(&app, chrome, &study, shown).await?).into_response())
}

async fn page(
    app: &App,
    chrome: Chrome,
    study: &StudyAccess,
    shown: Shown,
) -> Result<TokensPage, WebFault> {
    let record = study.record(app).await?;
    let rows = app.store.tokens_of(study.id).await?;
    let accounts = app.store.accounts().await?;
    let now = app.clock.now();
    let steward = |id: &AccountId| {
        let account = accounts.iter().find(|account| account.id == id.0);
        let is_open = account.is_some_and(|account| account.closed_at.is_none());
        let name = account.map_or("somebody", |account| account.display_name.as_str());
        (name.to_owned(), is_open && record.stewards.contains(id))
    };
    let line = |row: &TokenRow| {
        let (whose, is_held) = match &row.maker {
            Maker::Steward(account) => steward(account),
            Maker::Tester(_) => tester(row, &record, now),
        };
        Line::of(row, whose, is_held, now)
    };
    Ok(TokensPage {
        chrome: chrome.titled("For programs"),
        slug: study.slug.clone(),
        title: record.title.clone(),
        base: app.config.link_base(),
        page: format!("/desk/{}/tokens", study.slug),
        tokens: rows.iter().map(line).collect(),
        shown,
    })
}

/// The lab behind whose link a token was made, and whether the link holds.
fn tester(
    row: &TokenRow,
    record: &StudyRecord,
    now: chrono::DateTime<chrono::Utc>,
) -> (String, bool) {
    let Maker::Tester(id) = row.maker else {
        return (String::new(), false);
    };
    let found = record.consignments.iter().find_map(|consignment| {
        let link = consignment.links.iter().find(|link| link.id == id)?;
        Some((consignment, link))
    });
    found.map_or_else(
        || ("a tester".to_owned(), false),
        |(consignment, link)| {
            let is_held = !link.is_revoked && link.ends_at > now;
            (format!("the tester at {}", consignment.lab), is_held)
        },
    )
}

/// Makes one.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let maker = Maker::Steward(AccountId(steward.id));
    let shown = token_page::asked(&app, &fields, (study.id, maker)).await?;
    let is_refused = shown.is_refused;
    let page = page(&app, chrome, &study, shown).await?;
    Ok(token_page::answer(is_refused, page))
}

/// Revokes one.
pub(in crate::web) async fn revoke(
    State(app): State<App>,
    study: StudyAccess,
    fields: Fields,
) -> Result<Moved, WebFault> {
    token_page::revoke(&app, &fields.0, study.id, |_| true).await?;
    Ok(Moved::to(format!("/desk/{}/tokens", study.slug))
        .saying("The token is revoked: it opens nothing any more."))
}
