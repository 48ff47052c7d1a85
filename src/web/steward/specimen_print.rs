//! The code list to print: every code large enough to read at arm's length, and room for the maps of
//! the holders, which identify a piece that has lost its mark.

use super::piece_words::plan_of;
use crate::study::record::StudyRecord;
use crate::study::specimen::Whereabouts;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/specimen_print.html")]
struct PrintPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    builds: Vec<Build>,
    /// Names of the holders, each with a map to fill in.
    holders: Vec<String>,
}

/// The pieces of one build of one lot.
struct Build {
    name: String,
    codes: Vec<(String, u32)>,
}

/// The list.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let conditions = plan_of(&record).map(|plan| plan.conditions.iter());
    let holders = conditions.into_iter().flatten().flat_map(|condition| {
        let name =
            |holder: &crate::study::plan::Holder| format!("{}: {}", condition.name, holder.name);
        condition.holders.iter().map(name)
    });
    Ok(Page::of(PrintPage {
        chrome: chrome.titled(format!("Code list · {}", record.title)),
        builds: builds(&record),
        holders: holders.collect(),
        record,
    }))
}

/// The pieces by build and lot, in the order in which the first of each was registered.
fn builds(record: &StudyRecord) -> Vec<Build> {
    let mut builds: Vec<Build> = Vec::new();
    let kept = record
        .specimens
        .iter()
        .filter(|p| p.whereabouts != Whereabouts::Rejected);
    for piece in kept {
        let name = match piece.is_nameless {
            true => "found without their marks".to_owned(),
            false => format!("{}, {}", piece.build, piece.lot),
        };
        let code = (piece.code.to_string(), piece.order);
        match builds.iter_mut().find(|build| build.name == name) {
            Some(build) => build.codes.push(code),
            None => builds.push(Build {
                name,
                codes: vec![code],
            }),
        }
    }
    builds
}
