//! Many results at once: a block pasted out of a spreadsheet, or a file, understood ([`preview`], [`grid_read`]), shown
//! as rows that can still be changed, and stored row by row ([`super::grid_store`]).

use super::blind::{Blind, Piece};
use super::grid_read;
use super::row::{self, Choices};
use crate::study::break_test::block::{self, Block, Column};
use crate::study::break_test::form::TypedTest;
use crate::study::break_test::{BreakTest, Outcome};
use crate::study::code::BlindCode;
use crate::study::typed::Typed;
use crate::study::units::{Dimension, Unit, in_digits, positive};
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Page};
use crate::web::upload::Upload;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::collections::BTreeSet;

type Pairs = Vec<(&'static str, &'static str)>;

/// So many rows are stored in one go; more are pasted in parts.
pub(super) const MOST: usize = 500;

#[derive(Template)]
#[template(path = "lab/grid.html")]
pub(super) struct GridPage {
    chrome: Chrome,
    blind: Blind,
    /// What the columns were taken for; empty before anything was pasted.
    columns: Vec<ColumnRow>,
    kinds: Pairs,
    units: Pairs,
    /// Validities, the first one empty: nothing that was not understood is taken for valid.
    outcomes: Pairs,
    lines: Vec<Line>,
    choices: Choices,
    /// What was stored just now; empty when nothing was.
    stored: String,
    form: Form,
}

/// A column of the block.
struct ColumnRow {
    at: usize,
    name: String,
    example: String,
}

/// A row that waits to be stored.
struct Line {
    at: usize,
    /// What storing it would do.
    effect: String,
    /// What is wrong with it besides its fields.
    beside: Vec<String>,
}

/// The fields of a row.
const FIELDS: [&str; 14] = [
    "entry",
    "code",
    "load",
    "unit",
    "energy",
    "outcome",
    "mode",
    "looks",
    "cohesive",
    "adhesive",
    "glue",
    "failed_at",
    "reason",
    "confirmed",
];

pub(super) fn name(field: &str, at: usize) -> String {
    format!("{field}-{at}")
}

/// The page before anything was pasted.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    must_be_set_up(&blind)?;
    Ok(Page::of(page(chrome, blind, None, Form::blank(), String::new())).into_response())
}

pub(super) fn must_be_set_up(blind: &Blind) -> Result<(), WebFault> {
    blind.must_be_open()?;
    if blind.session.is_none() {
        let sentence = "Set up the session first: a load without its unit says nothing.";
        return Err(WebFault::Conflict(sentence.to_owned()));
    }
    Ok(())
}

/// Shows what was understood of a block or a file; nothing is stored yet.
pub(in crate::web) async fn preview(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    upload: Upload,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    must_be_set_up(&blind)?;
    let bytes = upload.file("file");
    let mut typed = upload.typed.clone();
    if !bytes.is_empty() {
        let read = tokio::task::spawn_blocking(move || grid_read::text_of(&bytes));
        match read.await.map_err(WebFault::ours)? {
            Ok(text) => typed.set("block", text),
            Err(sentence) => {
                let form = Fields(typed).again_with("file", sentence);
                let page = page(chrome, blind, None, form, String::new());
                return Ok(Page::refused(page).into_response());
            }
        }
    }
    let codes: Vec<&BlindCode> = blind.pieces.iter().map(|piece| &piece.blind).collect();
    let read = block::cells(typed.raw("block"))
        .and_then(|rows| Block::of(rows, &codes, blind.is_pull_off()));
    let mut block = match read {
        Ok(block) => block,
        Err(why) => {
            let form = Fields(typed).again_with("block", why.to_string());
            let page = page(chrome, blind, None, form, String::new());
            return Ok(Page::refused(page).into_response());
        }
    };
    for (at, column) in block.columns.iter_mut().enumerate() {
        // A unit out of the header stays with a column that is still the load.
        let said = Column::from_key(typed.text(&name("column", at)));
        if let Some(said) = said.filter(|said| said.key() != column.key()) {
            *column = said;
        }
    }
    let form = grid_read::understood(&app, &blind, &block, &typed);
    Ok(Page::of(page(chrome, blind, Some(&block), form, String::new())).into_response())
}

pub(super) const MASS: &str = "kg, g, lb and oz are masses, and a load is a force. Did a hook scale show the pull, or was \
    a mass hung up? In both cases choose kgf, gf or lbf.";

pub(super) fn page(
    chrome: Chrome,
    blind: Blind,
    block: Option<&Block>,
    form: Form,
    stored: String,
) -> GridPage {
    let columns = block.map_or_else(Vec::new, |block| {
        let one = |at: usize| ColumnRow {
            at,
            name: block.header.get(at).cloned().unwrap_or_default(),
            example: example(block, at),
        };
        (0..block.columns.len()).map(one).collect()
    });
    let form = match block {
        Some(block) => form.completed(|typed| {
            for (at, column) in block.columns.iter().enumerate() {
                typed.add(&name("column", at), column.key());
            }
        }),
        None => form,
    };
    let lines = places(form.typed()).into_iter().map(|at| Line {
        at,
        effect: effect(&blind, form.typed(), at),
        beside: beside(&form, at),
    });
    GridPage {
        chrome: chrome.titled("Many results at once"),
        columns,
        kinds: kinds(&blind),
        units: std::iter::once(("", "choose …"))
            .chain(Unit::of(Dimension::Force).map(|unit| (unit.key(), unit.symbol())))
            .collect(),
        lines: lines.collect(),
        outcomes: std::iter::once(("", "choose …"))
            .chain(Outcome::ALL.map(|one| (one.key(), one.label())))
            .collect(),
        choices: Choices::of(&blind),
        blind,
        stored,
        form,
    }
}

/// What a column may be said to hold.
fn kinds(blind: &Blind) -> Pairs {
    let offered = |one: &Column| blind.is_pull_off() || !one.is_of_bond();
    let offered = Column::CHOICES.into_iter().filter(offered);
    offered.map(|one| (one.key(), one.label())).collect()
}

/// The first cell of a column with something in it.
fn example(block: &Block, at: usize) -> String {
    let cells = block.rows.iter().filter_map(|row| row.get(at));
    let mut filled = cells.filter(|cell| !cell.is_empty());
    filled.next().cloned().unwrap_or_default()
}

/// The places of the rows that a form holds.
pub(super) fn places(typed: &Typed) -> Vec<usize> {
    let codes = typed
        .iter()
        .filter_map(|(field, _)| field.strip_prefix("code-"));
    let found: BTreeSet<usize> = codes.filter_map(|at| at.parse().ok()).collect();
    found
        .into_iter()
        .filter(|at| *at < block::MOST_ROWS)
        .take(MOST)
        .collect()
}

/// What is wrong with a row that no field of its own shows.
fn beside(form: &Form, at: usize) -> Vec<String> {
    let drawn = |field: &str| field != "entry" && (field == "order" || FIELDS.contains(&field));
    let own = form.faults().iter().filter_map(|fault| {
        let field = fault.field.strip_suffix(&format!("-{at}"))?;
        (!drawn(field)).then(|| fault.sentence.clone())
    });
    own.collect()
}

/// What storing a row would do, in words.
fn effect(blind: &Blind, typed: &Typed, at: usize) -> String {
    let Ok(piece) = blind.piece(typed.text(&name("code", at))) else {
        return "no piece of this consignment".to_owned();
    };
    let Some(stored) = piece.test() else {
        return if piece.is_missing() {
            "was not in the box".to_owned()
        } else {
            "new".to_owned()
        };
    };
    let sent = row_of(typed, at);
    let unit = unit_of(blind, &sent);
    match TypedTest::parse(&sent, unit, blind.is_impact()) {
        Ok(read) if is_same(&stored.test, &instead(&read, blind, piece)) => {
            match read.looks.filter(|looks| piece.looks != Some(*looks)) {
                None => "stored already; nothing changes".to_owned(),
                Some(_) => "stored already; what it looked like is added".to_owned(),
            }
        }
        _ => format!(
            "would replace {}; needs a reason",
            match row::load_in_words(stored) {
                empty if empty.is_empty() => stored.test.outcome.label().to_owned(),
                load => load,
            }
        ),
    }
}

/// What a row would put in the place of the test that counts. Where a bond came apart is said of pull-off
/// tests only; whatever stands of it for another stays.
pub(super) fn instead(read: &TypedTest, blind: &Blind, piece: &Piece) -> BreakTest {
    let mut test = read.test(blind.id, piece.blind.clone());
    if let Some(stored) = piece.test() {
        test.is_out_of_order = stored.test.is_out_of_order;
        if !blind.is_pull_off() {
            test.failure.clone_from(&stored.test.failure);
        }
    }
    test
}

pub(super) fn is_same(stored: &BreakTest, sent: &BreakTest) -> bool {
    let near = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-9 * a.abs().max(b.abs()),
        (a, b) => a == b,
    };
    near(stored.max_load_n, sent.max_load_n)
        && near(stored.energy_j, sent.energy_j)
        && stored.outcome == sent.outcome
        && stored.mode == sent.mode
        && match (&stored.failure, &sent.failure) {
            (Some(stored), Some(sent)) => stored.is_near(sent),
            (stored, sent) => stored == sent,
        }
}

/// One row's fields as a test's own form has them.
pub(super) fn row_of(typed: &Typed, at: usize) -> Typed {
    let fields = FIELDS.iter().copied().chain(["order"]);
    let own = fields.map(|field| (field.to_owned(), typed.raw(&name(field, at)).to_owned()));
    Typed::new(own.collect())
}

pub(super) fn unit_of(blind: &Blind, sent: &Typed) -> Unit {
    let unit = Unit::parse("unit", sent.text("unit"), Dimension::Force);
    unit.unwrap_or_else(|_| row::unit(blind))
}

/// How a load reads in newtons beside its field; empty where it is in newtons.
fn in_newtons(form: &Form, at: usize) -> String {
    let unit = Unit::parse(
        "unit",
        form.value(&name("unit", at)).trim(),
        Dimension::Force,
    );
    let value = positive("load", "", form.value(&name("load", at)).trim());
    match (unit, value) {
        (Ok(unit), Ok(value)) if unit != Unit::Newton => {
            format!("= {} N", in_digits(unit.to_si(value), 5))
        }
        _ => String::new(),
    }
}
