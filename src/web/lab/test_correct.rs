//! Correcting a piece's test, with a reason: a new entry that names the one it replaces.

use super::blind::{Blind, Piece};
use super::row::{self, Choices, Result as Told};
use super::test_save::{Beside, load_question};
use crate::study::break_test::failure::FailureShares;
use crate::study::break_test::form::TypedTest;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::EntryId;
use crate::study::record::TestRecord;
use crate::study::typed::Typed;
use crate::study::units::in_digits;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act::{self, Declined};
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::collections::BTreeSet;

#[derive(Template)]
#[template(path = "lab/test_correct.html")]
pub(super) struct CorrectPage {
    chrome: Chrome,
    blind: Blind,
    piece: Piece,
    earlier: Vec<Told>,
    choices: Choices,
    unit: &'static str,
    beside: Vec<String>,
    form: Form,
}

/// Shows what stands, in a form.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    Path((_, code)): Path<(String, String)>,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let piece = blind.piece(&code)?.clone();
    let Some(test) = piece.test().cloned() else {
        return Ok(Moved::to(format!("{}?at={code}", blind.address())).into_response());
    };
    blind.must_be_open()?;
    let form = Form::filled(standing(&app, &test, &blind));
    Ok(Page::of(page(chrome, blind, piece, form)).into_response())
}

/// The fields as the test stands; the reason is empty, since the correction needs its own.
fn standing(app: &App, record: &TestRecord, blind: &Blind) -> Typed {
    let unit = row::unit(blind);
    let typed_in = record
        .test
        .typed
        .as_ref()
        .filter(|typed| typed.unit == unit);
    let load = match (typed_in, record.test.max_load_n) {
        (Some(typed), _) => typed.text.clone(),
        (None, Some(newtons)) => in_digits(newtons / unit.to_si(1.0), 9),
        (None, None) => String::new(),
    };
    let mut typed = Typed::from([
        ("outcome", record.test.outcome.key()),
        ("mode", record.test.mode.key()),
    ]);
    typed.set("load", load);
    let energy = record.test.energy_j.map(|joule| in_digits(joule, 9));
    typed.set("energy", energy.unwrap_or_default());
    FailureShares::fill(record.test.failure.as_ref(), &mut typed);
    typed.set(act::ENTRY, act::fresh(app));
    typed.set("supersedes", record.entry.to_string());
    typed
}

/// What was sent as a first test for a piece that has one: it can replace that one, with a reason.
pub(super) fn instead(sent: &Form, standing: &TestRecord) -> Form {
    let mut typed = sent.typed().clone();
    typed.set("supersedes", standing.entry.to_string());
    let sentence = "This piece has a test already. If this one is to replace it, say why.";
    Fields(typed).again(Faults::one("reason", sentence))
}

/// The page of a piece's correction.
pub(super) fn page(chrome: Chrome, blind: Blind, piece: Piece, form: Form) -> CorrectPage {
    let told = |test: &TestRecord| Told::told(test, None);
    CorrectPage {
        chrome: chrome.titled(format!("Correct {}", piece.blind)),
        earlier: piece.tests.iter().map(told).collect(),
        choices: Choices::of(&blind),
        unit: row::unit(&blind).symbol(),
        beside: row::beside(&form),
        blind,
        piece,
        form,
    }
}

/// Stores the correction.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    Path((_, code)): Path<(String, String)>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let piece = blind.piece(&code)?.clone();
    let to = format!("{}#row-{}", blind.address(), piece.blind);
    blind.must_be_open()?;
    let stored = match fields.read(|typed| parse(typed, &blind, &piece)) {
        Ok((entry, note)) => {
            act::submit(&app, &blind.acting(&lab), &fields, entry, Some(note)).await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match stored {
        Ok(_) => {
            let said = format!(
                "{}: corrected. The earlier test stays on record.",
                piece.blind
            );
            Ok(Moved::to(to).saying(said).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            let form = act::afresh(&app, &form);
            Ok(Page::refused(page(chrome, blind, piece, form)).into_response())
        }
    }
}

fn parse(typed: &Typed, blind: &Blind, piece: &Piece) -> Result<(Entry, String), Faults> {
    let read = TypedTest::parse(typed, row::unit(blind), blind.is_impact());
    let has_reason = typed.has("reason");
    let mut faults = read.as_ref().err().cloned().unwrap_or_default();
    if !has_reason && faults.for_field("reason").is_none() {
        faults.push("reason", "Say why it is corrected.");
    }
    let supersedes = typed.text("supersedes").parse::<EntryId>();
    let (Ok(read), Ok(supersedes), Some(before)) = (read, supersedes, piece.test()) else {
        if faults.is_empty() {
            faults.push(
                "",
                "It is not clear what is corrected; open this page again.",
            );
        }
        return Err(faults);
    };
    let mut test = read.test(blind.id, piece.blind.clone());
    test.is_out_of_order = before.test.is_out_of_order;
    let beside = Beside {
        unit: row::unit(blind),
        others: &blind.other_loads(&piece.blind),
        done: &BTreeSet::new(),
    };
    if let Some(question) = load_question(&read, blind, piece, &beside) {
        test.is_confirmed_doubt = typed.has("confirmed");
        if !test.is_confirmed_doubt {
            faults.push("confirmed", question);
        }
    }
    let entry = Entry::BreakTestCorrected { supersedes, test };
    faults.or((entry, read.reason.unwrap_or_default()))
}
