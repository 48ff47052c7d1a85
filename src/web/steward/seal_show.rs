//! The seal: the plan in words with its hash, sealing it, and the line to note elsewhere.

use crate::store::verify::Witness;
use crate::study::plan::words::{self, Fact};
use crate::study::plan::{Condition, Plan};
use crate::study::progress::{Allocation, Progress};
use crate::study::record::{PlanVersion, Seal, StudyRecord};
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act;
use crate::web::fault::WebFault;
use crate::web::form::Form;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

#[derive(Template)]
#[template(path = "steward/seal_show.html")]
pub(super) struct SealPage {
    chrome: Chrome,
    slug: String,
    title: String,
    form: Form,
    is_after_the_fact: bool,
    /// Why it cannot be sealed now; empty when it can.
    hindrance: Hindrance,
    plan: Option<PlanView>,
    seal: Option<SealView>,
    witnesses: Vec<String>,
    amendments: usize,
}

/// What stands in the way of sealing, and where to mend it.
struct Hindrance {
    sentence: &'static str,
    page: &'static str,
}

/// The plan in words.
struct PlanView {
    version: u32,
    sha256: String,
    facts: Vec<Fact>,
    conditions: Vec<ConditionLine>,
}

struct ConditionLine {
    name: String,
    kind: &'static str,
    is_storage_control: bool,
    place: String,
    holders: String,
    pieces: String,
}

/// The seal, ready to print.
struct SealView {
    at: String,
    line: String,
    is_knowing_baseline: bool,
    is_after_outing: bool,
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let form = Form::filled([(act::ENTRY, act::fresh(&app).as_str())]);
    Ok(Page::of(page(chrome, &record, form)))
}

/// The page with its form as it should look.
pub(super) fn page(chrome: Chrome, record: &StudyRecord, form: Form) -> SealPage {
    let seal = record.seal.as_ref().map(|seal| SealView::of(record, seal));
    SealPage {
        chrome: chrome.titled(format!("Seal of {}", record.title)),
        slug: record.slug.clone(),
        title: record.title.clone(),
        form,
        is_after_the_fact: record.is_after_the_fact,
        hindrance: hindrance(record),
        plan: shown(record).map(PlanView::of),
        seal,
        witnesses: record.witnesses.clone(),
        amendments: record.amendments().count(),
    }
}

/// The version to show: the sealed one, or the one that would be sealed.
fn shown(record: &StudyRecord) -> Option<&PlanVersion> {
    let sealed = record.seal.as_ref().map(|seal| seal.plan_version);
    match sealed {
        Some(version) => record.plans.iter().find(|plan| plan.version == version),
        None => record.plan(),
    }
}

fn hindrance(record: &StudyRecord) -> Hindrance {
    let (sentence, page) = match Progress::of(record).allocation {
        _ if record.plan().is_none() => ("There is no plan yet to be sealed.", "plan"),
        _ if record.is_after_the_fact => ("", ""),
        Allocation::None => (
            "Draw the allocation first: it is sealed with the plan.",
            "allocation",
        ),
        Allocation::Stale => (
            "The plan was written again after the allocation was drawn. Draw it for the plan as it \
             is now.",
            "allocation",
        ),
        Allocation::Done => ("", ""),
    };
    Hindrance { sentence, page }
}

impl SealView {
    fn of(record: &StudyRecord, seal: &Seal) -> Self {
        Self {
            at: when::in_words(seal.at, &record.time_zone),
            line: line(record, seal),
            is_knowing_baseline: seal.is_knowing_baseline,
            is_after_outing: seal.is_after_outing,
        }
    }
}

/// The one line to note elsewhere: where the seal stands in the journal, and the plan's hash.
pub(super) fn line(record: &StudyRecord, seal: &Seal) -> String {
    let witness = Witness::line(&record.id.to_string(), seal.entry_seq, &seal.entry_hash);
    format!("{witness}; plan sha256 {}", seal.sha256)
}

impl PlanView {
    fn of(held: &PlanVersion) -> Self {
        let plan = &held.plan;
        let conditions = plan.conditions.iter();
        Self {
            version: held.version,
            sha256: held.sha256.clone(),
            facts: words::facts(plan),
            conditions: conditions.map(|c| ConditionLine::of(plan, c)).collect(),
        }
    }
}

impl ConditionLine {
    fn of(plan: &Plan, condition: &Condition) -> Self {
        Self {
            name: condition.name.clone(),
            kind: condition.environment.label(),
            is_storage_control: condition.is_storage_control,
            place: condition.place.clone(),
            holders: words::holders(condition),
            pieces: words::pieces_per_stage(plan, condition),
        }
    }
}
