//! The pieces of a study: what each is for, where it is, and which readings it still lacks.

use super::piece_words::{self, plan_of};
use crate::study::code::{Code, CodeFault};
use crate::study::fault::Faults;
use crate::study::measured::{Measured, missing_words};
use crate::study::reading::Occasion;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::Whereabouts;
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::extract::Query;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::collections::BTreeMap;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/specimen_list.html")]
struct SpecimensPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    /// Where how many are, in words.
    counts: Vec<(String, usize)>,
    lines: Vec<Line>,
    is_narrowed: bool,
    has_plan: bool,
    /// For opening a piece by its code.
    form: Form,
}

/// A piece, ready to print.
struct Line {
    code: String,
    is_nameless: bool,
    lot: String,
    build: String,
    order: u32,
    place: String,
    whereabouts: &'static str,
    /// What is missing, in words; empty when nothing is.
    missing: String,
}

/// The table of pieces; `?missing=yes` shows only those that lack readings, `?code=…` opens a piece.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    query: Query,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let fields = Fields(query.0.clone());
    let form = match fields.read(|typed| named(typed, &record)) {
        Ok(Some(code)) => {
            let piece = format!("/desk/{}/specimens/{code}", record.slug);
            return Ok(Moved::to(piece).into_response());
        }
        Ok(None) => Form::blank(),
        Err(form) => form,
    };
    let is_narrowed = query.0.has("missing");
    let mut lines = lines(&record);
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for line in &lines {
        *counts.entry(line.whereabouts).or_default() += 1;
    }
    let counts = counts
        .into_iter()
        .map(|(words, n)| (words.to_owned(), n))
        .collect();
    lines.retain(|line| !is_narrowed || !line.missing.is_empty());
    let is_faultless = form.is_faultless();
    let page = SpecimensPage {
        chrome: chrome.titled(format!("Specimens · {}", record.title)),
        has_plan: record.plan().is_some(),
        record,
        counts,
        lines,
        is_narrowed,
        form,
    };
    Ok(if is_faultless {
        Page::of(page).into_response()
    } else {
        Page::refused(page).into_response()
    })
}

/// The piece whose code was typed.
fn named(typed: &Typed, record: &StudyRecord) -> Result<Option<Code>, Faults> {
    let text = typed.text("code");
    if text.is_empty() {
        return Ok(None);
    }
    let code: Code = text
        .parse()
        .map_err(|fault: CodeFault| Faults::one("code", fault.to_string()))?;
    match record.specimen(&code) {
        Some(_) => Ok(Some(code)),
        None => Err(Faults::one(
            "code",
            format!("{code} is no piece of this study."),
        )),
    }
}

fn lines(record: &StudyRecord) -> Vec<Line> {
    let measured = Measured::of(record);
    let blind = record.blind_specimens();
    let plan = plan_of(record);
    let line = |piece: &SpecimenRecord| Line {
        code: piece.code.to_string(),
        is_nameless: piece.is_nameless,
        lot: piece.lot.clone(),
        build: piece.build.clone(),
        order: piece.order,
        place: piece_words::place(plan, piece.place.as_ref()),
        whereabouts: piece_words::whereabouts(piece, &blind),
        missing: missing(record, &measured, piece),
    };
    record.specimens.iter().map(line).collect()
}

/// The readings that a piece lacks where it stands now: before exposure, after it, or both.
pub(super) fn missing(
    record: &StudyRecord,
    measured: &Measured<'_>,
    piece: &SpecimenRecord,
) -> String {
    let Some(plan) = plan_of(record) else {
        return String::new();
    };
    if piece.whereabouts == Whereabouts::Rejected {
        return String::new();
    }
    let mut words = Vec::new();
    if !piece.is_nameless {
        let before = measured.missing(&piece.code, Occasion::Before, plan);
        if !before.is_empty() {
            words.push(format!("{} before", missing_words(&before)));
        }
    }
    if piece.whereabouts == Whereabouts::In {
        let after = measured.missing(&piece.code, Occasion::After, plan);
        if !after.is_empty() {
            words.push(format!("{} after", missing_words(&after)));
        }
    }
    words.join("; ")
}
