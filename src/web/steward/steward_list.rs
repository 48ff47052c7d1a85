//! The stewards of a study: inviting one, removing one.

use crate::study::entry::Entry;
use crate::study::fault::{Fault, Faults};
use crate::study::ids::AccountId;
use crate::study::record::StudyRecord;
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "steward/steward_list.html")]
struct StewardsPage {
    chrome: Chrome,
    slug: String,
    title: String,
    form: Form,
    stewards: Vec<Line>,
}

/// A steward, ready to print.
struct Line {
    account: String,
    /// The id that the entry of removing this one would have.
    removal: String,
    name: String,
    display_name: String,
    is_closed: bool,
    is_you: bool,
}

/// The list.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let form = Form::filled([(act::ENTRY, act::fresh(&app).as_str())]);
    Ok(Page::of(page(&app, chrome, &steward, &record, form).await?))
}

async fn page(
    app: &App,
    chrome: Chrome,
    you: &Steward,
    record: &StudyRecord,
    form: Form,
) -> Result<StewardsPage, WebFault> {
    let accounts = app.store.accounts().await?;
    let own = accounts
        .into_iter()
        .filter(|a| record.stewards.contains(&AccountId(a.id)));
    let lines = own.map(|account| Line {
        account: account.id.to_string(),
        removal: act::fresh(app),
        name: account.name,
        display_name: account.display_name,
        is_closed: account.closed_at.is_some(),
        is_you: account.id == you.id,
    });
    Ok(StewardsPage {
        chrome: chrome.titled(format!("Stewards of {}", record.title)),
        slug: record.slug.clone(),
        title: record.title.clone(),
        form,
        stewards: lines.collect(),
    })
}

/// Invites somebody who has an account here.
pub(in crate::web) async fn invite(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let found = match fields.read(|typed| typed.required("name", "The sign-in name").map_err(one)) {
        Ok(name) => app.store.find_account(&name.to_lowercase()).await?,
        Err(form) => return again(&app, chrome, &steward, &record, form).await,
    };
    let Some(account) = found.filter(|account| account.closed_at.is_none()) else {
        let sentence =
            "Nobody signs in under this name here; the keeper of the server adds accounts.";
        let form = fields.again_with("name", sentence);
        return again(&app, chrome, &steward, &record, form).await;
    };
    let said = format!("{} is a steward of this study now.", account.display_name);
    let account = AccountId(account.id);
    // A second sending of the same form is answered by the journal as the first was.
    if record.stewards.contains(&account) && !act::is_done(&app, &fields).await? {
        let form = fields.again_with("name", "This is a steward of the study already.");
        return again(&app, chrome, &steward, &record, form).await;
    }
    let entry = Entry::StewardAdded { account };
    match act::submit(
        &app,
        &Acting::steward(&steward, &study),
        &fields,
        entry,
        None,
    )
    .await
    {
        Ok(_) => Ok(Moved::to(there(&study)).saying(said).into_response()),
        Err(Declined::Form(form)) => again(&app, chrome, &steward, &record, form).await,
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

/// Removes one; the last one cannot leave.
pub(in crate::web) async fn remove(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let account = match fields.read(removed) {
        Ok(account) => account,
        Err(form) => return again(&app, chrome, &steward, &record, form).await,
    };
    let is_you = account.0 == steward.id;
    let entry = Entry::StewardRemoved { account };
    match act::submit(
        &app,
        &Acting::steward(&steward, &study),
        &fields,
        entry,
        None,
    )
    .await
    {
        Ok(_) if is_you => Ok(Moved::to("/desk")
            .saying(format!(
                "You are no steward of “{}” any more.",
                record.title
            ))
            .into_response()),
        Ok(_) => Ok(Moved::to(there(&study)).saying("Removed.").into_response()),
        Err(Declined::Form(form)) => again(&app, chrome, &steward, &record, form).await,
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

fn removed(typed: &Typed) -> Result<AccountId, Faults> {
    let account = typed.text("account").parse();
    account.map_err(|_| Faults::one("", "Choose a steward from the list."))
}

fn one(fault: Fault) -> Faults {
    Faults(vec![fault])
}

fn there(study: &StudyAccess) -> String {
    format!("/desk/{}/stewards", study.slug)
}

async fn again(
    app: &App,
    chrome: Chrome,
    you: &Steward,
    record: &StudyRecord,
    form: Form,
) -> Result<Response, WebFault> {
    Ok(Page::refused(page(app, chrome, you, record, form).await?).into_response())
}
