//! One piece: what it is, and everything on record about it.

use super::piece_words::{self, plan_of};
use super::specimen_curve;
use super::specimen_history::{self, HistoryLine};
use super::specimen_list;
use crate::report::photograph::{Pair, pair};
use crate::study::code::Code;
use crate::study::custody::{NamelessFound, line};
use crate::study::marks::Marks;
use crate::study::measured::Measured;
use crate::study::record::{PhotographRecord, SpecimenRecord, StudyRecord};
use crate::study::specimen::Whereabouts;
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act;
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::form::Form;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use serde::Deserialize;
use std::sync::Arc;

/// The path of a page about one piece.
#[derive(Debug, Deserialize)]
pub(in crate::web) struct SpecimenPath {
    code: String,
}

impl SpecimenPath {
    /// The piece it names.
    pub(super) fn find<'r>(&self, record: &'r StudyRecord) -> Result<&'r SpecimenRecord, WebFault> {
        let code: Option<Code> = self.code.parse().ok();
        let found = code.and_then(|code| record.specimen(&code));
        found.ok_or(WebFault::NotFound)
    }
}

#[derive(Template)]
#[template(path = "steward/specimen_show.html")]
pub(super) struct SpecimenPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    code: String,
    facts: Vec<(&'static str, String)>,
    missing: String,
    /// The chain of custody as one line of dates.
    custody: String,
    lines: Vec<HistoryLine>,
    can_be_rejected: bool,
    curve: Option<specimen_curve::Shown>,
    pair: Option<Pair>,
    shots: Vec<Shot>,
    form: Form,
}

/// A photograph of the piece.
pub(super) struct Shot {
    pub(super) entry: String,
    /// Of the large picture, for the room to leave.
    pub(super) size: (u32, u32),
    pub(super) view: &'static str,
    pub(super) taken: String,
    pub(super) is_released: bool,
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Path(path): Path<SpecimenPath>,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let code = path.find(&record)?.code.clone();
    let entry = act::fresh(&app);
    let form = Form::filled([("entry", entry.as_str())]);
    Ok(Page::of(page(chrome, record, &code, form)?))
}

/// The page with the form for rejecting as it should look.
pub(super) fn page(
    chrome: Chrome,
    record: Arc<StudyRecord>,
    code: &Code,
    form: Form,
) -> Result<SpecimenPage, WebFault> {
    let piece = record.specimen(code).ok_or(WebFault::NotFound)?;
    let missing = specimen_list::missing(&record, &Measured::of(&record), piece);
    Ok(SpecimenPage {
        chrome: chrome.titled(format!("{code} · {}", record.title)),
        code: code.to_string(),
        facts: facts(&record, piece),
        missing,
        custody: line::in_words(&line::of(&record, piece), &record.time_zone),
        lines: specimen_history::of(&record, code),
        curve: specimen_curve::shown(&record, code),
        pair: pair(record.photographs_of(code), |photo| {
            format!(
                "/desk/{}/photographs/{}/large.jpg",
                record.slug, photo.entry
            )
        }),
        shots: shots(&record, record.photographs_of(code)),
        can_be_rejected: piece.whereabouts == Whereabouts::Bench && piece.place.is_none(),
        record,
        form,
    })
}

/// Photographs as a page lists them.
pub(super) fn shots<'r>(
    record: &StudyRecord,
    photographs: impl Iterator<Item = &'r PhotographRecord>,
) -> Vec<Shot> {
    let shot = |photo: &PhotographRecord| Shot {
        entry: photo.entry.to_string(),
        size: (photo.photograph.files.width, photo.photograph.files.height),
        view: photo.view().label(),
        taken: when::day_in_words(photo.taken_at, &record.time_zone),
        is_released: photo.is_released,
    };
    photographs.map(shot).collect()
}

/// With what its bag may have been marked before its code was known.
fn nameless_origin(record: &StudyRecord, piece: &SpecimenRecord) -> String {
    let mut events = record.events.iter();
    let found = events.find(|event| event.specimen == piece.code);
    let mark = found.map(|event| NamelessFound::mark(event.entry));
    format!(
        "found without its mark; provisional mark {}",
        mark.unwrap_or_default()
    )
}

/// On which spares an invalid test of this piece was repeated, and whether that counts.
fn repeated(record: &StudyRecord, piece: &SpecimenRecord) -> Option<String> {
    let own = record
        .retests()
        .filter(|(_, retest)| retest.of == piece.code);
    let told = own.map(|(spare, retest)| {
        let code = &spare.code;
        match (&retest.replaced_by, retest.is_needed) {
            (Some(_), _) => format!("on {code}, which was lost before its test"),
            (None, true) => format!("on {code}, which counts in its place"),
            (None, false) => format!("on {code}; this piece counts itself, {code} does not"),
        }
    });
    let told: Vec<String> = told.collect();
    (!told.is_empty()).then(|| told.join("; "))
}

fn facts(record: &StudyRecord, piece: &SpecimenRecord) -> Vec<(&'static str, String)> {
    let blind = record.blind_specimens();
    let place = piece_words::place(plan_of(record), piece.counts_at());
    let whereabouts = piece_words::whereabouts(piece, &blind).to_owned();
    let mut facts = vec![("For", place), ("Where it is", whereabouts)];
    if let Some(retest) = &piece.retest {
        facts.push(("Counts", retest.in_words()));
    }
    if let Some(words) = repeated(record, piece) {
        facts.push(("Repeated", words));
    }
    if piece.is_nameless {
        facts.push(("Origin", nameless_origin(record, piece)));
        facts.push((
            "Counts for",
            "the break loads of its group, not for changes of mass or dimensions".to_owned(),
        ));
    } else {
        facts.push(("Lot", piece.lot.clone()));
        facts.push(("Build, order", format!("{}, {}", piece.build, piece.order)));
    }
    let marks = Marks::of(piece.number).places();
    facts.push(("No., marks in it", format!("{}; {marks}", piece.number)));
    if let Some(days) = piece.days_out() {
        facts.push(("Time out", format!("{days:.1} days")));
    }
    facts
}
