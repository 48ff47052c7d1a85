//! The receipt: the tester's values and the journal's head, to be kept outside this server. As a page
//! and as a plain text.

use super::blind::{Blind, Piece, counted};
use super::consignment_show::set_up;
use super::row::Result as Told;
use crate::store::verify::Witness;
use crate::study::consignment::Arrival;
use crate::study::record::Standing;
use crate::study::units::in_digits;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "lab/receipt_show.html")]
struct ReceiptPage {
    chrome: Chrome,
    blind: Blind,
    finished: String,
    set_up: Vec<(&'static str, String)>,
    lines: Vec<Line>,
    head: String,
}

/// One piece on the receipt.
struct Line {
    position: u32,
    code: String,
    arrival: String,
    newtons: String,
    told: Option<Told>,
    earlier: Vec<Told>,
}

impl Line {
    fn of(piece: &Piece) -> Self {
        let newtons = piece.test().and_then(|test| test.test.max_load_n);
        let earlier = piece
            .tests
            .iter()
            .filter(|test| test.standing != Standing::Current);
        let remark = piece.arrival_note.as_ref().map(|note| format!(": {note}"));
        Self {
            position: piece.position,
            code: piece.blind.to_string(),
            arrival: piece.arrival.map_or("", Arrival::label).to_owned()
                + &remark.unwrap_or_default(),
            newtons: newtons.map(|value| in_digits(value, 6)).unwrap_or_default(),
            told: Told::of(piece),
            earlier: earlier.map(|test| Told::told(test, None)).collect(),
        }
    }
}

/// Shows it; before the end there is none.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let Some(finished) = blind.finished.clone() else {
        return Ok(Moved::to(blind.address()).into_response());
    };
    let page = ReceiptPage {
        chrome: chrome.titled("Receipt"),
        finished,
        set_up: blind.session.as_ref().map(set_up).unwrap_or_default(),
        lines: blind.pieces.iter().map(Line::of).collect(),
        head: head(&blind),
        blind,
    };
    Ok(Page::of(page).into_response())
}

/// The line that proves, later, that nothing was taken back.
fn head(blind: &Blind) -> String {
    let (entries, hash) = &blind.head;
    Witness::line(&blind.study.to_string(), *entries, hash)
}

/// The same as a text file.
pub(in crate::web) async fn text(
    State(app): State<App>,
    lab: LabAccess,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let Some(finished) = blind.finished.clone() else {
        return Ok(Moved::to(blind.address()).into_response());
    };
    let headers = [
        (CONTENT_TYPE, "text/plain; charset=utf-8"),
        (CONTENT_DISPOSITION, "attachment; filename=\"receipt.txt\""),
    ];
    Ok((headers, written(&blind, &finished)).into_response())
}

fn written(blind: &Blind, finished: &str) -> String {
    let mut lines = vec![
        format!("Receipt for a consignment of {}", blind.count()),
        format!("Lab: {}", blind.lab),
        format!("Declared finished: {finished}"),
        String::new(),
    ];
    let facts = blind.session.as_ref().map(set_up).unwrap_or_default();
    lines.extend(
        facts
            .iter()
            .map(|(heading, words)| format!("{heading}: {words}")),
    );
    lines.push(String::new());
    let columns =
        "no.\tcode\tarrived\tload in N\tas typed\tvalidity\thow it failed\tlooked\tremark";
    lines.push(columns.to_owned());
    for line in blind.pieces.iter().map(Line::of) {
        lines.push(one_line(&line, line.told.as_ref(), ""));
        for earlier in &line.earlier {
            lines.push(one_line(&line, Some(earlier), "replaced: "));
        }
    }
    let missing = blind.pieces.len() - blind.done();
    lines.push(String::new());
    lines.push(format!(
        "{} without a test.",
        counted(missing, "piece", "pieces")
    ));
    lines.push(String::new());
    lines.push("The journal at this moment (keep this line outside the server):".to_owned());
    lines.push(head(blind));
    lines.push(String::new());
    lines.join("\n")
}

fn one_line(line: &Line, told: Option<&Told>, mark: &str) -> String {
    let own = told.map_or_else(Default::default, |told| {
        let flags = told.flags.iter().map(String::as_str);
        let marks: Vec<&str> = told.marks.iter().copied().chain(flags).collect();
        let mut words = marks.join(", ");
        if !told.note.is_empty() {
            let between = if words.is_empty() { "" } else { "; " };
            words = format!("{words}{between}{}", told.note);
        }
        let remark = format!("{mark}{words}").replace(['\n', '\t'], " ");
        [
            told.load.clone(),
            told.outcome.to_owned(),
            told.mode.to_owned(),
            told.looks.to_owned(),
            remark,
        ]
    });
    let newtons = if mark.is_empty() {
        line.newtons.as_str()
    } else {
        ""
    };
    let arrival = line.arrival.replace(['\n', '\t'], " ");
    format!(
        "{}\t{}\t{arrival}\t{newtons}\t{}",
        line.position,
        line.code,
        own.join("\t")
    )
}
