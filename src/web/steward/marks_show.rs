//! Marks in the piece itself: what they are, which piece has which, and reading a piece's marks back
//! to its code.

use super::label_choose::labelled;
use crate::study::fault::Faults;
use crate::study::marks::{self, Group, Marks};
use crate::study::record::StudyRecord;
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::extract::Query;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

/// The digits in the order of the table on the page.
const DIGITS: [u8; 10] = [1, 2, 3, 4, 5, 6, 7, 8, 9, 0];

#[derive(Template)]
#[template(path = "steward/marks_show.html")]
struct MarksPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    digits: Vec<Group>,
    /// The worked example: its number and marks.
    example: (u32, Marks),
    rows: Vec<(String, u32, Marks)>,
    form: Form,
    /// The code of the piece whose marks were typed.
    found: Option<String>,
}

/// The page; with marks in its address, the piece that they belong to.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    query: Query,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let fields = Fields(query.0);
    let (form, found) = if fields.0.has("marks") {
        match fields.read(|typed| find(typed, &record)) {
            Ok(code) => (Form::filled(fields.0.clone()), Some(code)),
            Err(form) => (form, None),
        }
    } else {
        (Form::blank(), None)
    };
    let is_faultless = form.is_faultless();
    let rows = labelled(&record);
    let rows = rows.map(|p| (p.code.to_string(), p.number, Marks::of(p.number)));
    let page = MarksPage {
        chrome: chrome.titled(format!("Marks in the piece · {}", record.title)),
        digits: DIGITS.map(Group::of).to_vec(),
        example: (43, Marks::of(43)),
        rows: rows.collect(),
        record,
        form,
        found,
    };
    Ok(if is_faultless {
        Page::of(page).into_response()
    } else {
        Page::refused(page).into_response()
    })
}

fn find(typed: &Typed, record: &StudyRecord) -> Result<String, Faults> {
    let number = marks::read(typed.text("marks"));
    let number = number.map_err(|fault| Faults::one("marks", fault.to_string()))?;
    let piece = record.specimens.iter().find(|piece| piece.number == number);
    piece.map(|piece| piece.code.to_string()).ok_or_else(|| {
        let sentence =
            format!("These marks read {number}, and no piece of this study has that number.");
        Faults::one("marks", sentence)
    })
}
