//! The study's consignments: where each parcel is and how many of its tests are done.

use crate::study::consignment::Contents;
use crate::study::consignment::form::Packable;
use crate::study::consignment::retest;
use crate::study::record::{ConsignmentRecord, StudyRecord};
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/consignment_list.html")]
struct ListPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    lines: Vec<Line>,
    packable: Vec<Choice>,
}

/// One consignment in the list.
struct Line {
    id: String,
    lab: String,
    contents: String,
    packed: String,
    parcel: &'static str,
    state: String,
}

/// Something that can be packed.
pub(super) struct Choice {
    /// Its key in addresses.
    pub(super) key: String,
    /// In words.
    pub(super) label: String,
    /// What is there and what is not.
    pub(super) state: String,
}

/// Lists them.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let lines = record.consignments.iter().rev();
    Ok(Page::of(ListPage {
        chrome: chrome.titled("Consignments"),
        lines: lines.map(|one| line(&record, one)).collect(),
        packable: choices(&record),
        record,
    }))
}

fn line(record: &StudyRecord, consignment: &ConsignmentRecord) -> Line {
    Line {
        id: consignment.id.to_string(),
        lab: consignment.lab.clone(),
        contents: consignment.contents.label(),
        packed: when::day_in_words(consignment.packed_at, &record.time_zone),
        parcel: consignment.parcel.label(),
        state: state(consignment),
    }
}

/// How far the tests are: counts only, whatever the consignment holds.
pub(super) fn state(consignment: &ConsignmentRecord) -> String {
    let (done, all) = (consignment.tests_done(), consignment.pieces.len());
    let end = match (consignment.unblinded_at, consignment.finished_at) {
        (Some(_), _) => ", unblinded and locked",
        (None, Some(_)) => ", finished, still blind",
        (None, None) => ", blind",
    };
    format!("{done} of {all} tested{end}")
}

/// What the study has to pack: the baseline set and each stage of the plan, with pieces there now.
pub(super) fn choices(record: &StudyRecord) -> Vec<Choice> {
    let stages = record.plan().map(|version| version.plan.stages.as_slice());
    let stages = stages.unwrap_or_default().iter();
    let stages = stages.map(|stage| Contents::Stage { days: stage.days });
    let choice = |contents: Contents| {
        let packable = Packable::new(record, contents);
        let (there, out) = (packable.pieces().len(), packable.still_out());
        let still = if out > 0 {
            format!(", {out} still out")
        } else {
            String::new()
        };
        let again = retest::repeatable(record, contents).len();
        let repeated = match again {
            0 => String::new(),
            n => format!(", {n} invalid to repeat on spares"),
        };
        (there + again > 0).then(|| Choice {
            key: contents.key(),
            label: contents.label(),
            state: format!("{there} can be packed{still}{repeated}"),
        })
    };
    std::iter::once(Contents::Baseline)
        .chain(stages)
        .filter_map(choice)
        .collect()
}
