//! One row of the grid: a piece's test, stored when the row is finished.

use super::blind::{Blind, Piece};
use super::consignment_show::page_with;
use super::{row, test_correct};
use crate::study::break_test::form::TypedTest;
use crate::study::break_test::{Looks, doubt};
use crate::study::code::BlindCode;
use crate::study::curve::disagree;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::typed::Typed;
use crate::study::units::{Unit, in_digits};
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act::{self, Declined};
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::form::Fields;
use crate::web::page::{Chrome, Moved, Page};
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::collections::BTreeSet;

/// The row's own address, for whoever opens it: the grid, with the cursor in that row.
pub(in crate::web) async fn show(
    State(app): State<App>,
    lab: LabAccess,
    Path((_, code)): Path<(String, String)>,
) -> Result<Moved, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let piece = blind.piece(&code)?;
    Ok(Moved::to(format!("{}?at={}", blind.address(), piece.blind)))
}

/// Stores a row and goes on to the next, or gives it back with what is wrong.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    Path((_, code)): Path<(String, String)>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let piece = blind.piece(&code)?.clone();
    blind.must_be_open()?;
    if blind.session.is_none() {
        let sentence = "Set up the session first: a load without its unit says nothing.";
        return Err(WebFault::Conflict(sentence.to_owned()));
    }
    let stored = match fields.read(|typed| parse(typed, &blind, &piece)) {
        Ok(entries) => act::submit_all(&app, &blind.acting(&lab), &fields, entries).await,
        Err(form) => Err(Declined::Form(form)),
    };
    match stored {
        Ok(_) => {
            let said = format!("{}: stored.", piece.blind);
            let blind = Blind::load(&app, &lab).await?;
            Ok(onward(&blind, &piece).saying(said).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            let form = act::afresh(&app, &form);
            match piece.test() {
                // Another tab, or a first sending whose answer was lost, was quicker.
                Some(test) => {
                    let form = test_correct::instead(&form, test);
                    let page = test_correct::page(chrome, blind, piece, form);
                    Ok(Page::refused(page).into_response())
                }
                None => {
                    let page = page_with(&app, chrome, blind, (&piece, form));
                    Ok(Page::refused(page).into_response())
                }
            }
        }
    }
}

/// To the next piece without a test; to the end of the work after the last one.
fn onward(blind: &Blind, piece: &Piece) -> Moved {
    match blind.next_after(piece.position) {
        Some(next) => Moved::to(format!("{}?at={}", blind.address(), next.blind)),
        None => Moved::to(format!("{}/finish", blind.address())),
    }
}

fn parse(
    typed: &Typed,
    blind: &Blind,
    piece: &Piece,
) -> Result<Vec<(Entry, Option<String>)>, Faults> {
    let beside = Beside {
        unit: row::unit(blind),
        others: &blind.other_loads(&piece.blind),
        done: &BTreeSet::new(),
    };
    entries(typed, blind, piece, &beside)
}

/// What a row is read and judged with.
pub(super) struct Beside<'a> {
    /// The unit of its load.
    pub(super) unit: Unit,
    /// The loads of its siblings, N: all other pieces of the consignment.
    pub(super) others: &'a [f64],
    /// Pieces tested since the consignment was read.
    pub(super) done: &'a BTreeSet<BlindCode>,
}

/// The entries of a row: the test, and what the piece looked like when that was said too.
pub(super) fn entries(
    typed: &Typed,
    blind: &Blind,
    piece: &Piece,
    beside: &Beside<'_>,
) -> Result<Vec<(Entry, Option<String>)>, Faults> {
    let read = TypedTest::parse(typed, beside.unit, blind.is_impact())?;
    let mut test = read.test(blind.id, piece.blind.clone());
    let mut faults = Faults::none();
    if let Some(stored) = piece.test() {
        // Sent again: what was asked then was answered then.
        test.is_out_of_order = stored.test.is_out_of_order;
        test.is_confirmed_doubt = stored.test.is_confirmed_doubt;
    } else if passes_over(blind, piece, beside.done) {
        faults.extend(out_of_order(typed, &read));
        test.is_out_of_order = true;
    }
    let question = load_question(&read, blind, piece, beside).filter(|_| piece.test().is_none());
    if let Some(question) = question {
        test.is_confirmed_doubt = typed.has("confirmed");
        if !test.is_confirmed_doubt {
            faults.push("confirmed", question);
        }
    }
    let mut entries = vec![(Entry::BreakTested(test), read.reason)];
    entries.extend(read.looks.map(|looks| guess(blind, piece, looks)));
    faults.or(entries)
}

/// What a piece looked like, as an entry.
pub(super) fn guess(blind: &Blind, piece: &Piece, looks: Looks) -> (Entry, Option<String>) {
    let guess = Entry::Guessed {
        consignment: blind.id,
        blind: piece.blind.clone(),
        looks,
    };
    (guess, None)
}

/// Whether pieces before it in the order have no test yet.
fn passes_over(blind: &Blind, piece: &Piece, done: &BTreeSet<BlindCode>) -> bool {
    let is_open = |other: &Piece| other.test().is_none() && !done.contains(&other.blind);
    blind
        .present()
        .any(|other| other.position < piece.position && is_open(other))
}

/// Asked once about a load that looks like a slip.
pub(super) fn load_question(
    read: &TypedTest,
    blind: &Blind,
    piece: &Piece,
    beside: &Beside<'_>,
) -> Option<String> {
    let (newtons, _) = read.load.as_ref()?;
    question_of(*newtons, blind, piece, beside)
}

/// The same about a load in N, whoever sent it.
pub(super) fn question_of(
    newtons: f64,
    blind: &Blind,
    piece: &Piece,
    beside: &Beside<'_>,
) -> Option<String> {
    if let Some(curve) = blind.curve_of(&piece.blind)
        && disagree(newtons, curve.max_load_n)
    {
        let unit = beside.unit;
        return Some(format!(
            "The curve kept for this piece has its maximum at {} {}. Is the load right?",
            in_digits(curve.max_load_n / unit.to_si(1.0), 5),
            unit.symbol()
        ));
    }
    doubt::question(newtons, beside.others, beside.unit)
}

/// The order is broken on purpose and with a reason, or not at all.
fn out_of_order(typed: &Typed, read: &TypedTest) -> Faults {
    let mut faults = Faults::none();
    if !typed.has("order") {
        faults.push(
            "order",
            "Pieces before it in the order have no test yet. Tick this if it was broken out of order.",
        );
    }
    if read.reason.is_none() {
        faults.push("reason", "Say why the order was broken.");
    }
    faults
}
