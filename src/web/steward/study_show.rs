//! A study at a glance: where it stands, what to do next, who may see it.

use crate::store::verify::Witness;
use crate::study::plan::check;
use crate::study::progress::{Allocation, Next, Progress, Tests};
use crate::study::record::StudyRecord;
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
#[template(path = "steward/study_show.html")]
pub(super) struct StudyPage {
    chrome: Chrome,
    slug: String,
    title: String,
    is_public: bool,
    is_published: bool,
    is_after_the_fact: bool,
    started: String,
    next: NextStep,
    steps: Vec<Step>,
    warnings: usize,
    seal: Option<SealLine>,
    form: Form,
}

/// What to do next, and where.
struct NextStep {
    words: &'static str,
    page: &'static str,
    link: &'static str,
}

/// A step of the job.
struct Step {
    name: &'static str,
    page: &'static str,
    state: String,
    is_done: bool,
}

/// The seal as the page shows it.
struct SealLine {
    sealed: String,
    plan_sha256: String,
    line: String,
    witnesses: usize,
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let form = Form::filled([(act::ENTRY, act::fresh(&app).as_str())]);
    Ok(Page::of(page(&app, chrome, &study, form).await?))
}

/// The page with the form of the public switch as it should look.
pub(super) async fn page(
    app: &App,
    chrome: Chrome,
    study: &StudyAccess,
    form: Form,
) -> Result<StudyPage, WebFault> {
    let record = study.record(app).await?;
    let progress = Progress::of(&record);
    let warnings = record.plan().map(|held| check::warnings(&held.plan).len());
    Ok(StudyPage {
        chrome: chrome.titled(&record.title),
        slug: record.slug.clone(),
        title: record.title.clone(),
        is_public: record.is_public,
        is_published: !record.editions.is_empty(),
        is_after_the_fact: record.is_after_the_fact,
        started: when::day_in_words(record.started_at, &record.time_zone),
        next: next_step(progress.next(), record.is_after_the_fact),
        steps: steps(&progress, &record),
        warnings: warnings.unwrap_or(0),
        seal: seal_line(&record),
        form,
    })
}

fn seal_line(record: &StudyRecord) -> Option<SealLine> {
    let seal = record.seal.as_ref()?;
    Some(SealLine {
        sealed: when::in_words(seal.at, &record.time_zone),
        plan_sha256: seal.sha256.clone(),
        line: Witness::line(&record.id.to_string(), seal.entry_seq, &seal.entry_hash),
        witnesses: record.witnesses.len(),
    })
}

fn next_step(next: Next, is_after_the_fact: bool) -> NextStep {
    let (words, page, link) = match next {
        Next::Plan => (
            "Write down what is asked, what is made, where it goes and how the answer is decided.",
            "plan",
            "Write the plan",
        ),
        Next::Make => (
            "Make the pieces and register them: each gets a code.",
            "specimens",
            "Register pieces",
        ),
        Next::Measure => (
            "Weigh and measure every piece before anything leaves the bench.",
            "round",
            "Start a measuring round",
        ),
        Next::Allocate if is_after_the_fact => (
            "Say which piece was in which place.",
            "allocation",
            "Report the grouping",
        ),
        Next::Allocate => (
            "Draw by lot which piece goes where.",
            "allocation",
            "Go to the allocation",
        ),
        Next::Seal => (
            "Seal the plan before the first piece goes out and before the first one is broken.",
            "seal",
            "Look at the plan and seal it",
        ),
        Next::PackBaseline => (
            "Pack the baseline set for the lab: it is broken at the start.",
            "consignments",
            "Pack the baseline set",
        ),
        Next::PutOut => ("Put the pieces out.", "exposure", "Go to the exposure"),
        Next::TakeIn => (
            "Watch what is out; take it in when its stage is due.",
            "exposure",
            "See what is due",
        ),
        Next::Pack => (
            "Pieces are back: clean, dry and measure them, then pack them for the lab.",
            "consignments",
            "Pack a consignment",
        ),
        Next::Wait => (
            "The lab is at work. Until it is finished only the number of tests is known here.",
            "consignments",
            "See how many are done",
        ),
        Next::Unblind => (
            "The lab has finished a consignment.",
            "consignments",
            "Unblind it",
        ),
        Next::Publish => (
            "Look at the results and publish them.",
            "analysis",
            "Go to the analysis",
        ),
    };
    NextStep { words, page, link }
}

fn steps(progress: &Progress, record: &StudyRecord) -> Vec<Step> {
    let step = |name, page, is_done, state: String| Step {
        name,
        page,
        state,
        is_done,
    };
    let needed = progress.plan.map_or(0, |(_, count)| count.total());
    let has_all =
        progress.made > 0 && progress.made >= usize::try_from(needed).unwrap_or(usize::MAX);
    let is_measured = has_all && progress.measured >= progress.made;
    let is_allocated = progress.allocation == Allocation::Done;
    let outing = progress.outing;
    let is_out = outing.placed > 0 && outing.out >= outing.placed;
    let is_back = is_out && outing.back >= outing.out;
    let is_tested = !progress.consignments.is_empty()
        && progress.consignments.iter().all(|tests| tests.is_unblinded);
    vec![
        step(
            "Plan",
            "plan",
            progress.plan.is_some(),
            plan_state(progress),
        ),
        step(
            "Pieces made",
            "specimens",
            has_all,
            format!("{} of {needed}", progress.made),
        ),
        step(
            "Measured",
            "round",
            is_measured,
            format!("{} of {}", progress.measured, progress.made),
        ),
        step(
            "Allocated",
            "allocation",
            is_allocated,
            allocation_state(progress).to_owned(),
        ),
        step("Sealed", "seal", progress.is_sealed, seal_state(record)),
        step(
            "Out",
            "exposure",
            is_out,
            format!("{} of {}", outing.out, outing.placed),
        ),
        step(
            "Back",
            "exposure",
            is_back,
            format!("{} of {}", outing.back, outing.out),
        ),
        step(
            "Tested",
            "consignments",
            is_tested,
            tests_state(&progress.consignments),
        ),
        step(
            "Published",
            "editions",
            progress.editions > 0,
            editions_state(progress.editions),
        ),
    ]
}

fn plan_state(progress: &Progress) -> String {
    match progress.plan {
        None => "not written yet".to_owned(),
        Some((version, count)) => format!("version {version}, {} pieces", count.total()),
    }
}

fn allocation_state(progress: &Progress) -> &'static str {
    match progress.allocation {
        Allocation::None => "not yet",
        Allocation::Stale => "drawn for an earlier plan; draw again",
        Allocation::Done if progress.is_after_the_fact => "reported",
        Allocation::Done => "drawn",
    }
}

fn seal_state(record: &StudyRecord) -> String {
    match &record.seal {
        None => "not yet".to_owned(),
        Some(seal) => when::day_in_words(seal.at, &record.time_zone),
    }
}

/// Counts only: values are hidden until a consignment is unblinded.
fn tests_state(consignments: &[Tests]) -> String {
    if consignments.is_empty() {
        return "nothing packed yet".to_owned();
    }
    let line = |tests: &Tests| {
        let state = match (tests.is_unblinded, tests.is_finished) {
            (true, _) => ", unblinded",
            (false, true) => ", finished",
            (false, false) => "",
        };
        format!("{} of {} at {}{state}", tests.done, tests.pieces, tests.lab)
    };
    consignments.iter().map(line).collect::<Vec<_>>().join("; ")
}

fn editions_state(editions: usize) -> String {
    match editions {
        0 => "not yet".to_owned(),
        1 => "1 edition".to_owned(),
        n => format!("{n} editions"),
    }
}
