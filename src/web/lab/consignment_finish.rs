//! The end of the work: what is still missing, what each piece looked like, and declaring the
//! consignment finished.

use super::blind::{Blind, Piece, counted};
use crate::study::break_test::Looks;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act::{self, Declined};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "lab/consignment_finish.html")]
struct FinishPage {
    chrome: Chrome,
    blind: Blind,
    missing: Vec<Missing>,
    unsaid: Vec<String>,
    looks: Vec<(&'static str, &'static str)>,
    form: Form,
}

/// Something without which the consignment cannot be finished.
struct Missing {
    words: String,
    address: String,
}

/// Shows what is missing and asks what is not yet said.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    if !blind.is_open() {
        return Ok(Moved::to(format!("{}/receipt", blind.address())).into_response());
    }
    let mut typed = Typed::default();
    typed.set(act::ENTRY, act::fresh(&app));
    for piece in blind.present() {
        let looks = piece.looks.map_or("", Looks::key);
        typed.set(&field(piece), looks);
    }
    Ok(Page::of(page(chrome, blind, Form::filled(typed))).into_response())
}

fn field(piece: &Piece) -> String {
    format!("looks-{}", piece.blind)
}

fn page(chrome: Chrome, blind: Blind, form: Form) -> FinishPage {
    FinishPage {
        chrome: chrome.titled("Finish"),
        missing: missing(&blind),
        unsaid: unsaid(&blind),
        looks: Looks::ALL
            .iter()
            .map(|looks| (looks.key(), looks.label()))
            .collect(),
        blind,
        form,
    }
}

fn missing(blind: &Blind) -> Vec<Missing> {
    let mut missing = Vec::new();
    let mut note = |words: String, address: String| missing.push(Missing { words, address });
    let base = blind.address();
    if blind.not_ticked() > 0 {
        let open = counted(blind.not_ticked(), "piece is", "pieces are");
        note(
            format!("{open} not ticked off in the box"),
            format!("{base}/box"),
        );
    }
    if blind.session.is_none() {
        note(
            "The set-up is not given".to_owned(),
            format!("{base}/set-up"),
        );
    }
    for piece in blind.present().filter(|piece| piece.test().is_none()) {
        let words = format!("{}, number {}, has no test", piece.blind, piece.position);
        note(words, format!("{base}?at={}", piece.blind));
    }
    missing
}

/// What may be left unsaid, but only knowingly.
fn unsaid(blind: &Blind) -> Vec<String> {
    let mut unsaid = Vec::new();
    for session in &blind.sessions {
        let day = match blind.sessions.len() {
            1 => String::new(),
            _ => session.tested_on.format(" on %-d %B %Y").to_string(),
        };
        for (value, words) in [
            (session.check_load_n, "a known check load"),
            (session.check_opening_n, "the check load at the opening"),
            (session.check_closing_n, "the check load at the closing"),
        ] {
            if value.is_none() {
                unsaid.push(format!("{words}{day}"));
            }
        }
    }
    unsaid
}

/// Keeps what the pieces looked like, and ends the work when that was asked for.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let is_end = !fields.0.is("act", "keep");
    if is_end && act::is_done(&app, &fields).await? && !blind.is_open() {
        return Ok(Moved::to(format!("{}/receipt", blind.address())).into_response());
    }
    blind.must_be_open()?;
    let stored = match fields.read(|typed| parse(typed, &blind, is_end)) {
        Ok(entries) if entries.is_empty() => Ok(Vec::new()),
        Ok(entries) => act::submit_all(&app, &blind.acting(&lab), &fields, entries).await,
        Err(form) => Err(Declined::Form(form)),
    };
    match (stored, is_end) {
        (Ok(_), true) => {
            let to = format!("{}/receipt", blind.address());
            let said = "The consignment is finished. Keep this receipt.";
            Ok(Moved::to(to).saying(said).into_response())
        }
        (Ok(_), false) => {
            let to = format!("{}/finish", blind.address());
            Ok(Moved::to(to).saying("Kept.").into_response())
        }
        (Err(Declined::Fault(fault)), _) => Err(fault),
        (Err(Declined::Form(form)), _) => {
            let form = act::afresh(&app, &form);
            Ok(Page::refused(page(chrome, blind, form)).into_response())
        }
    }
}

/// What is new about the looks and, at the end, the end itself.
fn parse(
    typed: &Typed,
    blind: &Blind,
    is_end: bool,
) -> Result<Vec<(Entry, Option<String>)>, Faults> {
    let mut faults = Faults::none();
    let mut entries = Vec::new();
    for piece in blind.present() {
        let name = field(piece);
        if typed.text(&name).is_empty() {
            if is_end {
                faults.push(&name, format!("Say what {} looked like.", piece.blind));
            }
            continue;
        }
        let looks = faults.keep(Looks::typed(
            &name,
            "What it looked like",
            typed.text(&name),
        ));
        if let Some(looks) = looks.filter(|looks| piece.looks != Some(*looks)) {
            let guess = Entry::Guessed {
                consignment: blind.id,
                blind: piece.blind.clone(),
                looks,
            };
            entries.push((guess, None));
        }
    }
    if is_end {
        for missing in missing(blind) {
            faults.push("", format!("{}.", missing.words));
        }
        if !unsaid(blind).is_empty() && !typed.has("confirmed") {
            let words = unsaid(blind).join(", ");
            faults.push(
                "confirmed",
                format!("Not given: {words}. Give it, or tick this."),
            );
        }
        let consignment = blind.id;
        entries.push((Entry::Finished { consignment }, None));
    }
    faults.or(entries)
}
