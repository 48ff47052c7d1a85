//! A record sheet for the bench, to be filled by pen: for labs that type later. Blind codes in the order
//! of testing, boxes for what the form asks, the cautions at the head.

use super::blind::Blind;
use crate::study::break_test::{FailureMode, Outcome};
use crate::study::cautions::{self, Step};
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::extract::{Path, Query};
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "lab/sheet_show.html")]
struct SheetPage {
    chrome: Chrome,
    blind: Blind,
    cautions: Vec<&'static str>,
    paper: &'static str,
    other: (&'static str, &'static str),
    /// Above the column of what the machine shows.
    measured: String,
    heading: &'static str,
    head: Vec<(&'static str, String)>,
    outcomes: Vec<(&'static str, &'static str)>,
    modes: Vec<(String, &'static str)>,
}

/// Letters for the ways of failing, so that a pen writes one sign.
const LETTERS: &str = "ABCDEFGHJKLMNPQRSTUVWXYZ";

/// Shows it; `?paper=letter` for the American paper.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    Query(query): Query,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let is_letter = query.text("paper") == "letter";
    let session = blind.session.as_ref();
    let known = |value: Option<String>| value.unwrap_or_default();
    let used = session.map(|session| &session.used);
    let head = vec![
        ("Day", String::new()),
        ("Machine", known(session.map(|s| s.machine.clone()))),
        ("Load cell", known(blind.cell_name())),
        ("Fixture", known(session.map(|s| s.fixture.clone()))),
        ("Method", known(used.map(|u| u.method.clone()))),
        ("Speed, mm/min", String::new()),
        ("Conditioning", known(used.map(|u| u.conditioning.clone()))),
        ("Room, °C", String::new()),
        ("Humidity, %", String::new()),
        ("Known check load", String::new()),
        ("shown at the opening", String::new()),
        ("shown at the closing", String::new()),
        ("Seal of the parcel", String::new()),
        ("Tested by", String::new()),
    ];
    let (measured, heading) = measured(&blind);
    let letters = LETTERS.chars().map(String::from);
    let modes = letters.zip(FailureMode::ALL.map(FailureMode::label));
    let page = SheetPage {
        chrome: chrome.titled("Record sheet"),
        cautions: cautions::of(Step::Break, []),
        paper: if is_letter { "letter" } else { "a4" },
        other: if is_letter {
            ("a4", "A4")
        } else {
            ("letter", "Letter")
        },
        measured,
        heading,
        head,
        outcomes: vec![
            ("V", Outcome::Valid.label()),
            ("X", Outcome::Invalid.label()),
            ("≥", Outcome::LowerBound.label()),
            ("0", Outcome::TotalLoss.label()),
        ],
        modes: modes.collect(),
        blind,
    };
    Ok(Page::of(page).into_response())
}

/// What the machine shows, with the unit in which it is written down.
fn measured(blind: &Blind) -> (String, &'static str) {
    if blind.is_impact() {
        return ("Energy, J".to_owned(), "One line a piece");
    }
    let heading =
        "One line a piece; loads with their unit if it is another than the one above the column";
    (
        format!("Load, {}", super::row::unit(blind).symbol()),
        heading,
    )
}

/// The paper's size as a style sheet; no page carries a style of its own.
pub(in crate::web) async fn paper(
    _: LabAccess,
    Path((_, size)): Path<(String, String)>,
) -> Result<Response, WebFault> {
    let size = match size.as_str() {
        "a4.css" => "A4",
        "letter.css" => "letter",
        _ => return Err(WebFault::NotFound),
    };
    let style = format!("@page {{ size: {size} portrait; margin: 12mm; }}\n");
    Ok(([(CONTENT_TYPE, "text/css; charset=utf-8")], style).into_response())
}
