//! Storing the rows of the grid, one by one, each with the id that it was shown with.

use super::blind::{Blind, Piece, counted};
use super::grid::{MASS, instead, is_same, must_be_set_up, name, page, places, row_of, unit_of};
use super::row;
use super::test_save::{self, Beside};
use crate::study::break_test::BreakTest;
use crate::study::break_test::form::TypedTest;
use crate::study::code::BlindCode;
use crate::study::entry::Entry;
use crate::study::fault::{Fault, Faults};
use crate::study::ids::EntryId;
use crate::study::typed::Typed;
use crate::study::units::{Dimension, Unit, positive};
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act::{self, Declined};
use crate::web::fault::WebFault;
use crate::web::form::Fields;
use crate::web::page::{Chrome, Moved, Page};
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::collections::BTreeSet;

/// Stores the rows one by one in the order of the pieces; those that are refused come back with the
/// reason, and a row that was stored before its answer was lost is stored once.
pub(in crate::web) async fn store(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    must_be_set_up(&blind)?;
    let typed = fields.0;
    let mut rows = places(&typed);
    let position = |at: &usize| {
        let piece = blind.piece(typed.text(&name("code", *at)));
        piece.map_or(u32::MAX, |piece| piece.position)
    };
    rows.sort_by_key(position);
    let loads: Vec<(usize, f64)> = rows
        .iter()
        .filter_map(|at| Some((*at, newtons(&blind, &typed, *at)?)))
        .collect();
    let named = rows
        .iter()
        .filter_map(|at| blind.piece(typed.text(&name("code", *at))).ok());
    let named: BTreeSet<BlindCode> = named.map(|piece| piece.blind.clone()).collect();
    let block = Sent {
        typed: &typed,
        loads,
        named,
    };
    let mut done: BTreeSet<BlindCode> = BTreeSet::new();
    let mut faults = Faults::none();
    let (mut stored, mut left) = (0_usize, Vec::new());
    for at in rows {
        let kept = one((&app, &lab, &blind), &block, at, &mut done).await?;
        match kept {
            Ok(is_new) => stored += usize::from(is_new),
            Err(own) => {
                for fault in own.iter() {
                    faults.push(name(&fault.field, at), fault.sentence.clone());
                }
                left.push(at);
            }
        }
    }
    let said = format!("{} stored.", counted(stored, "result was", "results were"));
    if left.is_empty() {
        return Ok(Moved::to(blind.address()).saying(said).into_response());
    }
    let form = Fields(only(&typed, &left)).again(faults);
    let blind = Blind::load(&app, &lab).await?;
    let said = if stored == 0 { String::new() } else { said };
    Ok(Page::refused(page(chrome, blind, None, form, said)).into_response())
}

/// The unit of a row's load, which must have been said; an impact test has none.
fn stated_unit(blind: &Blind, sent: &Typed) -> Result<Unit, Fault> {
    if blind.is_impact() {
        return Ok(row::unit(blind));
    }
    match sent.text("unit") {
        "" => Err(Fault::new("unit", MASS)),
        text => Unit::parse("unit", text, Dimension::Force),
    }
}

/// The fields of these rows.
fn only(typed: &Typed, rows: &[usize]) -> Typed {
    let is_kept = |field: &str| {
        let at = field.rsplit_once('-');
        let at = at.and_then(|(_, at)| at.parse::<usize>().ok());
        at.is_some_and(|at| rows.contains(&at))
    };
    let kept = typed.iter().filter(|(field, _)| is_kept(field));
    let kept = kept.map(|(field, value)| (field.to_owned(), value.to_owned()));
    Typed::new(kept.collect())
}

fn newtons(blind: &Blind, typed: &Typed, at: usize) -> Option<f64> {
    let sent = row_of(typed, at);
    let value = positive("load", "", sent.text("load")).ok()?;
    Some(unit_of(blind, &sent).to_si(value))
}

/// The rows that were sent.
struct Sent<'t> {
    typed: &'t Typed,
    /// Each row's load, N.
    loads: Vec<(usize, f64)>,
    /// The pieces that have a row.
    named: BTreeSet<BlindCode>,
}

impl Sent<'_> {
    /// A piece that stands before this one, has a row as well, and is not stored.
    fn before<'b>(
        &self,
        blind: &'b Blind,
        piece: &Piece,
        done: &BTreeSet<BlindCode>,
    ) -> Option<&'b Piece> {
        let waits = |other: &&Piece| {
            other.position < piece.position
                && other.test().is_none()
                && self.named.contains(&other.blind)
                && !done.contains(&other.blind)
        };
        blind.present().find(waits)
    }

    /// The piece of a row that may be stored now, or why there is none.
    fn piece<'b>(
        &self,
        blind: &'b Blind,
        sent: &Typed,
        done: &BTreeSet<BlindCode>,
    ) -> Result<&'b Piece, String> {
        let Ok(piece) = blind.piece(sent.text("code")) else {
            return Err("No piece of this consignment has this code.".to_owned());
        };
        if done.contains(&piece.blind) {
            let sentence = "This piece stands in another row as well; leave one of them out.";
            return Err(sentence.to_owned());
        }
        match self.before(blind, piece, done) {
            Some(before) => Err(format!(
                "Waits for {}, which comes before it and was not stored.",
                before.blind
            )),
            None => Ok(piece),
        }
    }
}

/// Stores one row: whether that changed anything, or what is wrong with it.
async fn one(
    (app, lab, blind): (&App, &LabAccess, &Blind),
    block: &Sent<'_>,
    at: usize,
    done: &mut BTreeSet<BlindCode>,
) -> Result<Result<bool, Faults>, WebFault> {
    let sent = row_of(block.typed, at);
    let piece = match block.piece(blind, &sent, done) {
        Ok(piece) => piece,
        Err(sentence) => return Ok(Err(Faults::one("code", sentence))),
    };
    let unit = match stated_unit(blind, &sent) {
        Ok(unit) => unit,
        Err(fault) => return Ok(Err(Faults(vec![fault]))),
    };
    // Siblings are all pieces of the consignment, whatever their groups, and the other rows of the block.
    let mut others = blind.other_loads(&piece.blind);
    let rows = block.loads.iter().filter(|(other, _)| *other != at);
    others.extend(rows.map(|(_, load)| *load));
    let stood = piece.test().map(|test| (test.entry, test.test.clone()));
    let beside = Beside {
        unit,
        others: &others,
        done,
    };
    let fields = Fields(sent);
    let read = fields.read(|sent| match &stood {
        // The same row again, or the same result by another way.
        Some((entry, _)) if entry.to_string() == sent.text(act::ENTRY) => Ok(None),
        Some((entry, test)) => replaced(sent, blind, piece, (*entry, test), &beside),
        None => test_save::entries(sent, blind, piece, &beside).map(Some),
    });
    let kept = match read {
        Ok(None) => Ok(false),
        Ok(Some(entries)) => {
            match act::submit_all(app, &blind.acting(lab), &fields, entries).await {
                Ok(_) => Ok(true),
                Err(Declined::Fault(fault)) => return Err(fault),
                Err(Declined::Form(form)) => Err(form.faults().clone()),
            }
        }
        Err(form) => Err(form.faults().clone()),
    };
    if kept.is_ok() {
        done.insert(piece.blind.clone());
    }
    Ok(kept)
}

/// Entries, each with its reason or remark.
type Written = Vec<(Entry, Option<String>)>;

/// What a row changes of a piece that has a test: the test, with a reason of its own, and what it looked like;
/// `None` when all of it stands already.
fn replaced(
    sent: &Typed,
    blind: &Blind,
    piece: &Piece,
    (entry, test): (EntryId, &BreakTest),
    beside: &Beside<'_>,
) -> Result<Option<Written>, Faults> {
    let read = TypedTest::parse(sent, beside.unit, blind.is_impact())?;
    let mut new = instead(&read, blind, piece);
    let looks = read.looks.filter(|looks| piece.looks != Some(*looks));
    let looks = looks.map(|looks| test_save::guess(blind, piece, looks));
    let mut entries = Vec::new();
    if !is_same(test, &new) {
        let question = test_save::load_question(&read, blind, piece, beside);
        new.is_confirmed_doubt = question.is_some();
        entries = corrected(sent, read, entry, new, question)?;
    }
    entries.extend(looks);
    Ok((!entries.is_empty()).then_some(entries))
}

/// A row that replaces what is stored: with a reason of its own.
fn corrected(
    sent: &Typed,
    read: TypedTest,
    supersedes: EntryId,
    test: BreakTest,
    question: Option<String>,
) -> Result<Written, Faults> {
    let mut faults = Faults::none();
    if !sent.has("reason") {
        let sentence = "This piece has a test already. If this one is to replace it, say why.";
        faults.push("reason", sentence);
    }
    if let Some(question) = question.filter(|_| !sent.has("confirmed")) {
        faults.push("confirmed", question);
    }
    faults.or(vec![(
        Entry::BreakTestCorrected { supersedes, test },
        read.reason,
    )])
}
