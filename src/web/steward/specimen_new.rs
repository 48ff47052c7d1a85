//! Registering a batch: a lot, a build, how many. The server gives the codes.

use super::piece_words::{self, plan_of};
use crate::study::cautions::{self, Step};
use crate::study::code::Code;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::plan::Plan;
use crate::study::record::StudyRecord;
use crate::study::specimen::Made;
use crate::study::typed::Typed;
use crate::study::units::whole;
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
use std::collections::BTreeSet;
use std::sync::Arc;

/// Most pieces in one batch.
const MOST: u32 = 500;

#[derive(Template)]
#[template(path = "steward/specimen_new.html")]
struct BatchPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    form: Form,
    lots: Vec<(String, String)>,
    builds: Vec<(String, String)>,
    /// How many pieces the plan needs, and how many there are.
    needed: u32,
    cautions: Vec<&'static str>,
}

/// What is registered in one go.
struct Batch {
    lot: String,
    build: String,
    count: u32,
    first: u32,
}

fn page(chrome: Chrome, record: Arc<StudyRecord>, form: Form) -> BatchPage {
    let plan = plan_of(&record);
    let options = |names: Option<&Vec<String>>| {
        let names = names.into_iter().flatten();
        names.map(|name| (name.clone(), name.clone())).collect()
    };
    BatchPage {
        chrome: chrome.titled(format!("Register a batch · {}", record.title)),
        lots: options(plan.map(|plan| &plan.lots)),
        builds: options(plan.map(|plan| &plan.builds)),
        needed: plan.map_or(0, |plan| crate::study::plan::check::count(plan).total()),
        cautions: cautions::of(Step::Make, []),
        record,
        form,
    }
}

/// The form.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let entry = act::fresh(&app);
    let form = Form::filled([("entry", entry.as_str()), ("first", "1")]);
    Ok(Page::of(page(chrome, record, form)))
}

/// Registers them under fresh codes.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let list = format!("/desk/{}/specimens", study.slug);
    // The codes are drawn here, so a second sending of the form is answered as the first was.
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(list).into_response());
    }
    let record = study.record(&app).await?;
    let batch = match fields.read(|typed| parse(typed, plan_of(&record))) {
        Ok(batch) => batch,
        Err(form) => return Ok(Page::refused(page(chrome, record, form)).into_response()),
    };
    let acting = Acting::steward(&steward, &study);
    match register(&app, &acting, &study, &fields, &batch).await {
        Ok(made) => {
            let (first, last) = (made.first().cloned(), made.last().cloned());
            let span = first
                .zip(last)
                .map_or_else(String::new, |(first, last)| format!(" {first} to {last}"));
            let said = format!("{} registered:{span}.", piece_words::pieces(made.len()));
            Ok(Moved::to(list).saying(said).into_response())
        }
        Err(Declined::Form(form)) => {
            Ok(Page::refused(page(chrome, study.record(&app).await?, form)).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

/// Writes the batch down; draws other codes when somebody else took them in the meantime.
async fn register(
    app: &App,
    acting: &Acting,
    study: &StudyAccess,
    fields: &Fields,
    batch: &Batch,
) -> Result<Vec<Code>, Declined> {
    loop {
        let record = study.record(app).await?;
        let codes = free_codes(&record, batch.count as usize);
        let pieces = codes.iter().zip(batch.first..).map(|(code, order)| Made {
            code: code.clone(),
            lot: batch.lot.clone(),
            build: batch.build.clone(),
            order,
        });
        let entry = Entry::SpecimensMade {
            pieces: pieces.collect(),
        };
        match act::submit(app, acting, fields, entry, None).await {
            Ok(_) => return Ok(codes),
            Err(declined) => {
                let now = study.record(app).await?;
                if !codes.iter().any(|code| now.specimen(code).is_some()) {
                    return Err(declined);
                }
            }
        }
    }
}

/// The next codes of a study that no piece has.
pub(in crate::web) fn free_codes(record: &StudyRecord, count: usize) -> Vec<Code> {
    let used: BTreeSet<&Code> = record.specimens.iter().map(|piece| &piece.code).collect();
    let run = Code::run(&record.mark, 0).map(|(_, code)| code);
    run.filter(|code| !used.contains(code))
        .take(count)
        .collect()
}

fn parse(typed: &Typed, plan: Option<&Plan>) -> Result<Batch, Faults> {
    let mut faults = Faults::none();
    let Some(plan) = plan else {
        return Err(Faults::one(
            "",
            "Write the plan first: it names the lots and builds.",
        ));
    };
    let lot = plan.lots.iter().find(|lot| *lot == typed.text("lot"));
    if lot.is_none() {
        faults.push("lot", "Choose a lot of the plan.");
    }
    let build = plan
        .builds
        .iter()
        .find(|build| *build == typed.text("build"));
    if build.is_none() {
        faults.push("build", "Choose a build of the plan.");
    }
    let count = whole("count", "How many", typed.text("count"), 1, MOST);
    let count = faults.keep(count);
    let first = whole(
        "first",
        "The first order number",
        typed.text("first"),
        1,
        100_000,
    );
    let first = faults.keep(first);
    let batch = || {
        Some(Batch {
            lot: lot?.clone(),
            build: build?.clone(),
            count: count?,
            first: first?,
        })
    };
    let batch = batch();
    faults.and_some(batch)
}
