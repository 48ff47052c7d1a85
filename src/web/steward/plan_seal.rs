//! Sealing the plan: what is sealed, what that proves and what it does not, the line to note
//! elsewhere, and where it was noted.

use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::plan::check::count;
use crate::study::record::{PlanVersion, StudyRecord};
use crate::study::typed::Typed;
use crate::study::when;
use crate::study::witness::Witness;
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
#[template(path = "steward/plan_seal.html")]
struct SealPage {
    chrome: Chrome,
    slug: String,
    title: String,
    entry: String,
    form: Form,
    plan: Option<PlanWords>,
    /// Why it cannot be sealed yet, as a sentence and the page that mends it.
    missing: Option<(&'static str, &'static str)>,
    is_late: bool,
    sealed: Option<SealWords>,
}

/// The plan that would be sealed, in few words.
struct PlanWords {
    version: u32,
    sha256: String,
    question: String,
    pieces: u32,
    decides: String,
}

/// The seal that stands.
struct SealWords {
    day: String,
    version: u32,
    sha256: String,
    line: String,
    witnesses: Vec<String>,
    remarks: Vec<&'static str>,
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let mut form = Typed::default();
    if let Some(plan) = record.plan() {
        form.set("plan_version", plan.version.to_string());
        form.set("plan_sha256", &plan.sha256);
    }
    Ok(Page::of(page(&app, chrome, &record, Form::filled(form))).into_response())
}

fn page(app: &App, chrome: Chrome, record: &StudyRecord, form: Form) -> SealPage {
    let plan = record.plan();
    let drawn = record.draws.last().map(|draw| draw.drawn.plan_version);
    let is_drawn = record.is_after_the_fact || drawn == plan.map(|plan| plan.version);
    let missing = match plan {
        None => Some(("There is no plan yet.", "plan")),
        Some(_) if !is_drawn => Some((
            "The allocation is not drawn for the plan as it is now.",
            "allocation",
        )),
        Some(_) => None,
    };
    SealPage {
        chrome: chrome.titled(format!("Seal of {}", record.title)),
        slug: record.slug.clone(),
        title: record.title.clone(),
        entry: act::fresh(app),
        form,
        plan: plan.map(plan_words),
        missing,
        is_late: record.is_after_the_fact,
        sealed: seal_words(record),
    }
}

fn plan_words(version: &PlanVersion) -> PlanWords {
    let plan = &version.plan;
    PlanWords {
        version: version.version,
        sha256: version.sha256.clone(),
        question: plan.question.clone(),
        pieces: count(plan).total(),
        decides: format!(
            "{} after {} days, margin ±{} %, confidence {} %",
            plan.primary.label(),
            plan.primary_stage_days,
            plan.margin_percent,
            plan.confidence_percent
        ),
    }
}

fn seal_words(record: &StudyRecord) -> Option<SealWords> {
    let seal = record.seal.as_ref()?;
    let mut remarks = Vec::new();
    if seal.is_knowing_baseline {
        remarks.push("Sealed knowing the baseline values; every public page says so.");
    }
    if seal.is_after_outing {
        remarks.push("Sealed after the first piece had gone out; every public page says so.");
    }
    Some(SealWords {
        day: when::in_words(seal.at, &record.time_zone),
        version: seal.plan_version,
        sha256: seal.sha256.clone(),
        line: Witness::line(&record.id.to_string(), seal.entry_seq, &seal.entry_hash),
        witnesses: record.witnesses.clone(),
        remarks,
    })
}

/// Seals the plan that the page showed.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    steward: Steward,
    fields: Fields,
) -> Result<Response, WebFault> {
    let read = fields.read(|typed| {
        let version = typed.text("plan_version").parse();
        let version = version
            .map_err(|_| Faults::one("", "The page did not say which plan; open it again."))?;
        Ok(Entry::Sealed {
            plan_version: version,
            plan_sha256: typed.text("plan_sha256").to_owned(),
        })
    });
    let sentence = "The plan is sealed. Note the line below somewhere else.";
    act_on(&app, chrome, (&study, &steward), &fields, (read, sentence)).await
}

/// Notes where the seal line was posted.
pub(in crate::web) async fn witness(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    steward: Steward,
    fields: Fields,
) -> Result<Response, WebFault> {
    let read = fields.read(|typed| {
        let place = typed.required("place", "Where the line was posted");
        let place = place.map_err(|fault| Faults(vec![fault]))?;
        Ok(Entry::WitnessNoted { place })
    });
    let sentence = "Noted; the public page names it as an outside witness.";
    act_on(&app, chrome, (&study, &steward), &fields, (read, sentence)).await
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
            let path = format!("/desk/{}/seal", study.slug);
            Ok(Moved::to(path).saying(sentence).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            let record = study.record(app).await?;
            Ok(Page::refused(page(app, chrome, &record, form)).into_response())
        }
    }
}
