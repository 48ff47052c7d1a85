//! Labels: what to print them on, the plain lists, and how pieces are marked that no label survives on.

use crate::study::label::{Content, OFFERED, OWN};
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::Whereabouts;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::fault::WebFault;
use crate::web::form::Form;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/label_choose.html")]
pub(super) struct ChoosePage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    stocks: Vec<(&'static str, &'static str)>,
    contents: Vec<(&'static str, &'static str)>,
    pieces: Vec<(String, String)>,
    /// What a label's address looks like.
    example: String,
    /// Whether that address is only this machine's own, for want of a setting.
    is_local: bool,
    form: Form,
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let form = Form::filled([
        ("stock", "a4-21"),
        ("content", Content::QrAndCode.key()),
        ("copies", "1"),
        ("first", "1"),
        ("paper_width", "210"),
        ("paper_height", "297"),
    ]);
    Ok(Page::of(page(&app, chrome, record, form)))
}

/// The page with the form as it should look.
pub(super) fn page(app: &App, chrome: Chrome, record: Arc<StudyRecord>, form: Form) -> ChoosePage {
    let stocks = OFFERED.iter().map(|offered| (offered.key, offered.words));
    let own = std::iter::once((OWN, "Sizes of my own, filled in below"));
    let code = labelled(&record).next().map(|piece| piece.code.to_string());
    let example =
        crate::report::label::address(&app.config.link_base(), code.as_deref().unwrap_or_default());
    ChoosePage {
        chrome: chrome.titled(format!("Labels · {}", record.title)),
        stocks: stocks.chain(own).collect(),
        contents: Content::ALL.map(|c| (c.key(), c.label())).to_vec(),
        pieces: groups(&record),
        example,
        is_local: app.config.public_url.is_none(),
        record,
        form,
    }
}

/// The pieces that labels are printed for, in the order of their numbers.
pub(super) fn labelled(record: &StudyRecord) -> impl Iterator<Item = &SpecimenRecord> {
    let pieces = record.specimens.iter();
    pieces.filter(|piece| piece.whereabouts != Whereabouts::Rejected)
}

/// The groups that can be printed by themselves: all pieces, or those of one build of one lot.
fn groups(record: &StudyRecord) -> Vec<(String, String)> {
    let mut groups = vec![(String::new(), "All pieces".to_owned())];
    for piece in labelled(record) {
        let name = group_of(piece);
        if groups.iter().all(|(key, _)| *key != name) {
            groups.push((name.clone(), name));
        }
    }
    groups
}

/// The group that a piece is printed with.
pub(super) fn group_of(piece: &SpecimenRecord) -> String {
    match piece.is_nameless {
        true => "Found without their marks".to_owned(),
        false => format!("{}, {}", piece.build, piece.lot),
    }
}
