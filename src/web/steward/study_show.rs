//! A study at a glance: where it stands, what to do next, who may see it.

use super::seal_show;
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
        line: seal_show::line(record, seal),
        witnesses: record.witnesses.len(),
    })
}

fn next_step(next: Next, is_after_the_fact: bool) -> NextStep {
    let (page, link) = match next {
        Next::Plan => ("plan", "Write the plan"),
        Next::Make => ("specimens", "Register pieces"),
        Next::Measure => ("round", "Start a measuring round"),
        Next::Allocate if is_after_the_fact => ("allocation", "Report the grouping"),
        Next::Allocate => ("allocation", "Go to the allocation"),
        Next::Seal => ("seal", "Look at the plan and seal it"),
        Next::PackBaseline => ("consignments", "Pack the baseline set"),
        Next::PutOut => ("exposure", "Go to the exposure"),
        Next::TakeIn => ("exposure", "See what is due"),
        Next::Pack => ("consignments", "Pack a consignment"),
        Next::Wait => ("consignments", "See how many are done"),
        Next::Unblind => ("consignments", "Unblind it"),
        Next::Publish => ("analysis", "Go to the analysis"),
    };
    let words = next_words(next, is_after_the_fact);
    NextStep { words, page, link }
}

fn next_words(next: Next, is_after_the_fact: bool) -> &'static str {
    match next {
        Next::Plan => {
            "Write down what is asked, what is made, where it goes and how the answer is decided."
        }
        Next::Make => "Make the pieces and register them: each gets a code.",
        Next::Measure => "Weigh and measure every piece before anything leaves the bench.",
        Next::Allocate if is_after_the_fact => "Say which piece was in which place.",
        Next::Allocate => "Draw by lot which piece goes where.",
        Next::Seal if is_after_the_fact => "Seal the plan, before any more results are known.",
        Next::Seal => {
            "Seal the plan before the first piece goes out and before the first one is broken."
        }
        Next::PackBaseline => "Pack the baseline set for the lab: it is broken at the start.",
        Next::PutOut => "Put the pieces out.",
        Next::TakeIn => "Watch what is out; take it in when its stage is due.",
        Next::Pack => "Pieces are back: clean, dry and measure them, then pack them for the lab.",
        Next::Wait => {
            "The lab is at work. Until it is done only the number of tests is known here."
        }
        Next::Unblind => "The lab has finished a consignment.",
        Next::Publish => "Look at the results and publish them.",
    }
}

fn steps(progress: &Progress, record: &StudyRecord) -> Vec<Step> {
    let mut steps = Vec::from(steps_to_the_seal(progress, record));
    steps.extend(steps_after_the_seal(progress));
    steps
}

fn step(name: &'static str, page: &'static str, is_done: bool, state: String) -> Step {
    Step {
        name,
        page,
        state,
        is_done,
    }
}

fn steps_to_the_seal(progress: &Progress, record: &StudyRecord) -> [Step; 5] {
    let needed = progress.plan.map_or(0, |(_, count)| count.total());
    let (made, measured) = (progress.made, progress.measured);
    let has_all = made > 0 && made >= usize::try_from(needed).unwrap_or(usize::MAX);
    let is_measured = has_all && measured >= made;
    let is_allocated = progress.allocation == Allocation::Done;
    let allocation = allocation_state(progress).to_owned();
    [
        step(
            "Plan",
            "plan",
            progress.plan.is_some(),
            plan_state(progress),
        ),
        step(
            "Made",
            "specimens",
            has_all,
            format!("{made} of {needed} pieces"),
        ),
        step(
            "Measured",
            "round",
            is_measured,
            format!("{measured} of {made}"),
        ),
        step("Allocated", "allocation", is_allocated, allocation),
        step("Sealed", "seal", progress.is_sealed, seal_state(record)),
    ]
}

fn steps_after_the_seal(progress: &Progress) -> [Step; 4] {
    let outing = progress.outing;
    let is_out = outing.placed > 0 && outing.out >= outing.placed;
    let is_back = is_out && outing.back >= outing.out;
    let (out, back) = (
        format!("{} of {}", outing.out, outing.placed),
        format!("{} of {}", outing.back, outing.out),
    );
    let consignments = &progress.consignments;
    let is_tested = !consignments.is_empty() && consignments.iter().all(|c| c.is_unblinded);
    let editions = editions_state(progress.editions);
    [
        step("Out", "exposure", is_out, out),
        step("Back", "exposure", is_back, back),
        step(
            "Tested",
            "consignments",
            is_tested,
            tests_state(consignments),
        ),
        step("Published", "editions", progress.editions > 0, editions),
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
