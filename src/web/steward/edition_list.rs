//! The editions of a study: publishing the next one, and withdrawing one where the law asks it.

use crate::publishing::{self, Choice, NotPublished};
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::licence::Licence;
use crate::study::record::StudyRecord;
use crate::study::typed::{TEXT_LIMIT, Typed, clean};
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "steward/edition_list.html")]
struct EditionsPage {
    chrome: Chrome,
    slug: String,
    title: String,
    form: Form,
    entry: String,
    is_public: bool,
    is_sealed: bool,
    has_results: bool,
    interim: Option<String>,
    next: usize,
    licences: Vec<(&'static str, &'static str)>,
    editions: Vec<Line>,
}

/// An edition, ready to print.
struct Line {
    number: u32,
    day: String,
    kind: &'static str,
    withdrawn: Option<String>,
    entry: String,
    /// Its withdrawal was just refused: the form stands open with what was typed.
    is_refused: bool,
}

/// The list, and what the next edition would be.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    Ok(Page::of(page(&app, chrome, &record, (Form::blank(), None)).await?).into_response())
}

async fn page(
    app: &App,
    chrome: Chrome,
    record: &std::sync::Arc<StudyRecord>,
    (form, refused): (Form, Option<u32>),
) -> Result<EditionsPage, WebFault> {
    let findings = app.findings.of(record).await?;
    // What was chosen for the last edition is offered again; for the first the steward must choose.
    let last = record.editions.iter().rev().find_map(|e| e.licence);
    let form = form.completed(|typed| {
        if let Some(last) = last.filter(|_| !typed.has("licence")) {
            typed.set("licence", last.key());
        }
    });
    let line = |edition: &crate::study::record::EditionRecord| Line {
        number: edition.number,
        day: when::in_words(edition.at, &record.time_zone),
        kind: if edition.is_interim {
            "interim"
        } else {
            "final"
        },
        withdrawn: edition.withdrawn.clone(),
        entry: act::fresh(app),
        is_refused: refused == Some(edition.number),
    };
    Ok(EditionsPage {
        chrome: chrome.titled(format!("Editions of {}", record.title)),
        slug: record.slug.clone(),
        title: record.title.clone(),
        entry: act::fresh(app),
        form,
        is_public: record.is_public,
        is_sealed: record.seal.is_some() || record.is_after_the_fact,
        has_results: findings
            .as_ref()
            .is_some_and(|found| found.standing.has_results()),
        interim: findings.as_ref().and_then(|found| found.standing.interim()),
        next: record.editions.len() + 1,
        licences: Licence::ALL.map(|l| (l.key(), l.label())).to_vec(),
        editions: record.editions.iter().rev().map(line).collect(),
    })
}

/// Publishes the next edition.
pub(in crate::web) async fn publish(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    steward: Steward,
    fields: Fields,
) -> Result<Response, WebFault> {
    let list = format!("/desk/{}/editions", study.slug);
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(list)
            .saying("This edition is published.")
            .into_response());
    }
    let record = study.record(&app).await?;
    let Some(findings) = app.findings.of(&record).await? else {
        let form = fields.again_with("", NotPublished::NoResults.to_string());
        return Ok(Page::refused(page(&app, chrome, &record, (form, None)).await?).into_response());
    };
    let choice = match fields.read(|typed| choice(&app, typed)) {
        Ok(choice) => choice,
        Err(form) => {
            let page = page(&app, chrome, &record, (form, None)).await?;
            return Ok(Page::refused(page).into_response());
        }
    };
    let frozen = publishing::freeze(&app.store, &app.clock, &record, &findings, choice).await;
    let published = match frozen {
        Ok(published) => published,
        Err(NotPublished::Ours(cause)) => return Err(WebFault::ours(cause)),
        Err(other) => {
            let form = fields.again_with("", other.to_string());
            return Ok(
                Page::refused(page(&app, chrome, &record, (form, None)).await?).into_response(),
            );
        }
    };
    let number = published.number;
    let acting = Acting::steward(&steward, &study);
    let entry = Entry::EditionPublished(published);
    match act::submit(&app, &acting, &fields, entry, None).await {
        Ok(_) => Ok(Moved::to(list)
            .saying(format!("Edition {number} is published."))
            .into_response()),
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            Ok(Page::refused(page(&app, chrome, &record, (form, None)).await?).into_response())
        }
    }
}

/// What the steward chose, and what the server knows of its own address.
fn choice(app: &App, typed: &Typed) -> Result<Choice, Faults> {
    let licence = typed.text("licence");
    if licence.is_empty() {
        let sentence = "Choose under which licence others may use the data.";
        return Err(Faults::one("licence", sentence));
    }
    let licence = Licence::typed("licence", "The licence", licence);
    Ok(Choice {
        licence: Some(licence.map_err(|fault| Faults(vec![fault]))?),
        origin: app.config.public_url.as_ref().map(ToString::to_string),
    })
}

/// Withdraws an edition.
pub(in crate::web) async fn withdraw(
    State(app): State<App>,
    chrome: Chrome,
    (study, steward): (StudyAccess, Steward),
    Path((_, number)): Path<(String, u32)>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let read = fields.read(|typed| {
        let reason = clean("reason", "The reason", typed.text("reason"), TEXT_LIMIT);
        let reason = reason.map_err(|fault| crate::study::fault::Faults(vec![fault]))?;
        Ok(reason)
    });
    let record = study.record(&app).await?;
    let sent = match read {
        Err(form) => Err(Declined::Form(form)),
        Ok(reason) => {
            let acting = Acting::steward(&steward, &study);
            let entry = Entry::EditionWithdrawn { number };
            act::submit(&app, &acting, &fields, entry, Some(reason)).await
        }
    };
    match sent {
        Ok(_) => {
            let list = format!("/desk/{}/editions", study.slug);
            Ok(Moved::to(list)
                .saying(format!("Edition {number} is withdrawn."))
                .into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => Ok(Page::refused(
            page(&app, chrome, &record, (form, Some(number))).await?,
        )
        .into_response()),
    }
}
