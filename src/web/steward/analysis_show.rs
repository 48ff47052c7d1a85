//! The analysis as it stands, for the stewards: what an edition published now would say.

use crate::analysis::findings::Findings;
use crate::report::alternatives::{self, Alternative};
use crate::report::chart::marks::{LineKind, Shape};
use crate::report::design::DesignPart;
use crate::report::deviations::{Deviation, deviations};
use crate::report::figures::{Figure, Figures, figures};
use crate::report::instruments;
use crate::report::page::designs;
use crate::report::runs::{Run, runs};
use crate::report::tables::beside::{self, BesidePart};
use crate::report::tables::{self, Table, comparisons, stages};
use crate::study::plan::Plan;
use crate::study::record::StudyRecord;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "steward/analysis_show.html")]
struct AnalysisPage {
    chrome: Chrome,
    slug: String,
    title: String,
    view: Option<View>,
}

/// What there is to see once there is a plan.
struct View {
    interim: Option<String>,
    answer: Vec<Vec<Run>>,
    notes: Vec<String>,
    /// Consignments whose values are still hidden: lab, tests done, pieces.
    blind: Vec<(String, usize, usize)>,
    figures: Vec<Figure>,
    primary: Option<Table>,
    countings: Vec<Alternative>,
    variants: Vec<Alternative>,
    other: Option<BesidePart>,
    groups: Vec<Table>,
    stages_told: Vec<String>,
    stages: Vec<Table>,
    secondary: Vec<Table>,
    accounting: Table,
    deviations: Vec<Deviation>,
    instruments: Vec<String>,
    designs: Vec<DesignPart>,
    specimens: Table,
}

/// The analysis page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let findings = app.findings.of(&record).await?;
    let plan = record.plan().map(|version| &version.plan);
    let page = AnalysisPage {
        chrome: chrome.titled(format!("Analysis of {}", record.title)),
        slug: record.slug.clone(),
        title: record.title.clone(),
        view: findings
            .zip(plan)
            .map(|(findings, plan)| view(&record, plan, &findings)),
    };
    Ok(Page::of(page).into_response())
}

fn view(record: &StudyRecord, plan: &Plan, findings: &Findings) -> View {
    let (secondary, without) = comparisons::secondary(findings);
    let primary = findings.primary.as_ref();
    let mut notes: Vec<String> = findings
        .notes
        .iter()
        .map(|n| n.sentence.to_string())
        .collect();
    notes.extend(without);
    View {
        interim: findings.standing.interim(),
        answer: findings.answer.iter().map(runs).collect(),
        notes,
        blind: blind(record),
        figures: every(figures(plan, findings)),
        primary: primary.map(comparisons::primary),
        countings: primary.map(alternatives::countings).unwrap_or_default(),
        variants: primary.map(alternatives::variants).unwrap_or_default(),
        other: primary
            .zip(findings.beside.as_ref())
            .map(|(primary, found)| beside::part(plan, &primary.family, found)),
        groups: tables::groups(plan, findings),
        stages_told: stages::told(findings),
        stages: stages::over_time(findings)
            .into_iter()
            .chain(stages::brittle(&findings.brittle))
            .collect(),
        secondary,
        accounting: tables::accounting(&findings.accounting),
        deviations: deviations(record, findings),
        instruments: instruments::of(&findings.sessions),
        designs: designs(findings),
        specimens: tables::specimens(plan, findings),
    }
}

/// Every figure of values, in one row.
fn every(figures: Figures) -> Vec<Figure> {
    let views = figures.views.into_iter().flat_map(|view| view.figures);
    views
        .chain(figures.courses)
        .chain(figures.changes)
        .collect()
}

/// Counts only: a value of a blind consignment is nobody's yet.
fn blind(record: &StudyRecord) -> Vec<(String, usize, usize)> {
    let blind = record
        .consignments
        .iter()
        .filter(|consignment| consignment.is_blind());
    blind
        .map(|c| (c.lab.clone(), c.tests_done(), c.pieces.len()))
        .collect()
}
