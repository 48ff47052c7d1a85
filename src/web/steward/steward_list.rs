//! The stewards of a study: who they are, inviting one, letting one go. The last one stays.

use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::AccountId;
use crate::study::record::StudyRecord;
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
    entry: String,
    form: Form,
    stewards: Vec<Line>,
}

/// A steward, ready to print.
struct Line {
    account: String,
    name: String,
    is_self: bool,
    entry: String,
}

/// The list.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    steward: Steward,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    Ok(Page::of(page(&app, chrome, &record, &steward, Form::blank()).await?).into_response())
}

async fn page(
    app: &App,
    chrome: Chrome,
    record: &StudyRecord,
    steward: &Steward,
    form: Form,
) -> Result<StewardsPage, WebFault> {
    let accounts = app.store.accounts().await?;
    let line = |id: &AccountId| {
        let known = accounts.iter().find(|account| account.id == id.0);
        let name = known.map_or("an account that is no longer known", |a| {
            a.display_name.as_str()
        });
        Line {
            account: id.to_string(),
            name: name.to_owned(),
            is_self: id.0 == steward.id,
            entry: act::fresh(app),
        }
    };
    Ok(StewardsPage {
        chrome: chrome.titled(format!("Stewards of {}", record.title)),
        slug: record.slug.clone(),
        title: record.title.clone(),
        entry: act::fresh(app),
        form,
        stewards: record.stewards.iter().map(line).collect(),
    })
}

/// Invites somebody who has an account.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    steward: Steward,
    fields: Fields,
) -> Result<Response, WebFault> {
    let read = fields.read(|typed| {
        typed
            .required("name", "The sign-in name")
            .map_err(|fault| Faults(vec![fault]))
    });
    let entry = match read {
        Err(form) => Err(form),
        Ok(name) => match app.store.find_account(&name.to_lowercase()).await? {
            Some(account) if account.closed_at.is_none() => Ok(Entry::StewardAdded {
                account: AccountId(account.id),
            }),
            _ => {
                let sentence =
                    "Nobody on this server signs in with that name; the keeper can add an account.";
                Err(fields.again_with("name", sentence))
            }
        },
    };
    act_on(
        &app,
        chrome,
        (&study, &steward),
        &fields,
        (entry, "Invited."),
    )
    .await
}

/// Lets a steward go.
pub(in crate::web) async fn remove(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    steward: Steward,
    fields: Fields,
) -> Result<Response, WebFault> {
    let entry = fields.read(|typed| {
        let account = typed.text("account").parse();
        let account =
            account.map_err(|_| Faults::one("", "The page did not say who; open it again."))?;
        Ok(Entry::StewardRemoved { account })
    });
    let is_self = fields.0.text("account") == steward.id.to_string();
    let answer = act_on(
        &app,
        chrome,
        (&study, &steward),
        &fields,
        (entry, "Removed."),
    )
    .await?;
    if is_self && answer.status().is_redirection() {
        return Ok(Moved::to("/desk")
            .saying("You left the study.")
            .into_response());
    }
    Ok(answer)
}

async fn act_on(
    app: &App,
    chrome: Chrome,
    (study, steward): (&StudyAccess, &Steward),
    fields: &Fields,
    (read, sentence): (Result<Entry, Form>, &str),
) -> Result<Response, WebFault> {
    let sent = match read {
        Err(form) => Err(Declined::Form(form)),
        Ok(entry) => act::submit(app, &Acting::steward(steward, study), fields, entry, None).await,
    };
    match sent {
        Ok(_) => {
            let path = format!("/desk/{}/stewards", study.slug);
            Ok(Moved::to(path).saying(sentence).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            let record = study.record(app).await?;
            Ok(Page::refused(page(app, chrome, &record, steward, form).await?).into_response())
        }
    }
}
