//! The consignment's page: cautions, what to do next, how a piece is tested, and the grid.

use super::blind::{Blind, Piece, counted};
use super::row::{self, Choices, Row};
use crate::analysis::digits::fixed;
use crate::study::break_test::TestSession;
use crate::study::cautions::{self, Step};
use crate::study::units::in_digits;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::extract::Query;
use crate::web::fault::WebFault;
use crate::web::form::Form;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

#[derive(Template)]
#[template(path = "lab/consignment_show.html")]
pub(super) struct ConsignmentPage {
    chrome: Chrome,
    blind: Blind,
    cautions: Vec<&'static str>,
    rows: Vec<Row>,
    choices: Choices,
    unit: &'static str,
    set_up: Vec<(&'static str, String)>,
    box_state: String,
    parcel_state: String,
    progress: String,
    is_done: bool,
}

/// Shows it.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    Query(query): Query,
) -> Result<impl IntoResponse, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let rows = row::rows(&app, &blind, None, query.text("at"));
    Ok(Page::of(page(chrome, blind, rows)))
}

/// The page with one row as it was sent and what is wrong with it.
pub(super) fn page_with(
    app: &App,
    chrome: Chrome,
    blind: Blind,
    (piece, form): (&Piece, Form),
) -> ConsignmentPage {
    let rows = row::rows(app, &blind, Some((piece, form)), "");
    page(chrome, blind, rows)
}

fn page(chrome: Chrome, blind: Blind, rows: Vec<Row>) -> ConsignmentPage {
    let (done, all) = (blind.done(), blind.present().count());
    ConsignmentPage {
        chrome: chrome.titled(format!("Consignment for {}", blind.lab)),
        cautions: cautions::of(Step::Break, []),
        choices: Choices::of(&blind),
        unit: row::unit(&blind).symbol(),
        set_up: blind.session.as_ref().map(set_up).unwrap_or_default(),
        box_state: box_state(&blind),
        parcel_state: parcel_state(&blind),
        progress: format!("{done} of {all} tested"),
        is_done: done == all,
        rows,
        blind,
    }
}

/// What is said about the box on the consignment's page.
fn box_state(blind: &Blind) -> String {
    let missing = blind
        .pieces
        .iter()
        .filter(|piece| piece.is_missing())
        .count();
    match (blind.not_ticked(), missing) {
        (0, 0) => "Everything arrived.".to_owned(),
        (0, missing) => format!(
            "{} not in the box.",
            counted(missing, "piece is", "pieces are")
        ),
        (open, _) if open == blind.pieces.len() => "Not ticked off yet.".to_owned(),
        (open, _) => format!(
            "{} not ticked off yet.",
            counted(open, "piece is", "pieces are")
        ),
    }
}

/// What is said about the parcel on the consignment's page.
fn parcel_state(blind: &Blind) -> String {
    let open = blind.arrival.unsettled();
    match (&blind.receipt, open) {
        (None, 0) => "Nothing on record.".to_owned(),
        (Some(receipt), 0) => format!("Seal: {}.", receipt.seal_words()),
        (_, open) => format!(
            "{} not settled.",
            counted(open, "difference is", "differences are")
        ),
    }
}

/// The session in words.
pub(super) fn set_up(session: &TestSession) -> Vec<(&'static str, String)> {
    let per = session.load_unit.to_si(1.0);
    let figure = |value: Option<f64>, unit: &str| {
        value.map_or_else(String::new, |value| {
            format!("{} {unit}", in_digits(value, 6))
        })
    };
    let load = |newtons: Option<f64>| figure(newtons.map(|n| n / per), session.load_unit.symbol());
    let drift = session.drift_percent().map(|drift| {
        let beyond = match session.is_drifted() {
            Some(true) => ", beyond its limit",
            Some(false) => ", within its limit",
            None => "",
        };
        format!("{}\u{a0}%{beyond}", fixed(drift, 2))
    });
    let lines = [
        ("Machine", session.machine.clone()),
        ("Fixture", session.fixture.clone()),
        ("Method", session.used.method.clone()),
        ("Conditioning", session.used.conditioning.clone()),
        ("Speed", figure(session.speed_mm_min, "mm/min")),
        ("Room", figure(session.room_c, "°C")),
        ("Relative humidity", figure(session.room_rh_percent, "%")),
        ("Day", session.tested_on.format("%-d %B %Y").to_string()),
        ("Loads typed in", session.load_unit.symbol().to_owned()),
        ("Known check load", load(session.check_load_n)),
        ("shown at the opening", load(session.check_opening_n)),
        ("shown at the closing", load(session.check_closing_n)),
        ("Drift", drift.unwrap_or_default()),
    ];
    lines
        .into_iter()
        .filter(|(_, words)| !words.is_empty())
        .collect()
}
