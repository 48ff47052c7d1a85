//! A block or a file that was pasted, as the fields of the grid's rows, with what is to be said about them before
//! anything is stored.

use super::blind::Blind;
use super::grid::{MASS, MOST, name};
use super::row;
use crate::study::break_test::Outcome;
use crate::study::break_test::block::{self, Block, LoadUnit};
use crate::study::break_test::failure::FailureShares;
use crate::study::fault::Faults;
use crate::study::typed::Typed;
use crate::study::units::{Dimension, Unit};
use crate::web::App;
use crate::web::act;
use crate::web::form::{Fields, Form};

/// A file as the text that would have been pasted.
pub(in crate::web) fn text_of(bytes: &[u8]) -> Result<String, String> {
    if bytes.starts_with(b"PK") {
        return crate::sheet::as_text(bytes).map_err(|why| why.to_string());
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(text.to_owned()),
        Err(_) => Err("This is neither text in UTF-8 nor an .xlsx file.".to_owned()),
    }
}

/// The rows of a block as fields.
pub(super) fn understood(app: &App, blind: &Blind, block: &Block, typed: &Typed) -> Form {
    let mut pairs = vec![("block".to_owned(), typed.raw("block").to_owned())];
    let mut faults = Faults::none();
    if block.rows.len() > MOST {
        faults.push(
            "block",
            format!("Only the first {MOST} rows are shown; paste the others after them."),
        );
    }
    let said = Unit::parse("unit", typed.text("unit"), Dimension::Force).ok();
    let usual = match (said, block.unit()) {
        (Some(said), _) => Some(said),
        (None, Some(LoadUnit::Force(unit))) => Some(unit),
        // Nothing is taken for newtons that was called a mass: the unit has to be chosen.
        (None, Some(LoadUnit::Mass(_))) => {
            faults.push("unit", MASS);
            None
        }
        (None, None) => Some(row::unit(blind)),
    };
    let key = |unit: Option<Unit>| unit.map_or("", Unit::key).to_owned();
    pairs.push(("unit".to_owned(), key(usual)));
    for at in 0..block.rows.len().min(MOST) {
        let unit = unit(block, at, usual);
        if unit.is_err() {
            faults.push(name("unit", at), MASS);
        }
        let words = block.cell(at, "outcome");
        if !words.is_empty() && block::outcome(words).is_none() {
            let short: String = words.chars().take(40).collect();
            let sentence = format!("Whether it is valid is not clear from “{short}”: choose it.");
            faults.push(name("outcome", at), sentence);
        }
        pairs.push((name("entry", at), act::fresh(app)));
        pairs.push((name("unit", at), key(unit.unwrap_or(None))));
        let fields = fields(block, at).into_iter();
        let all = fields.chain(shares(blind, block, at));
        pairs.extend(all.map(|(field, value)| (name(field, at), value)));
    }
    Fields(Typed::new(pairs)).again(faults)
}

/// A cell of a mass, whose unit as a force nobody has said.
struct IsMass;

/// The unit of a row: its own before that of all. A mass beside a load is a pull once a pull was said to be
/// meant, by choosing kgf, gf or lbf for all.
fn unit(block: &Block, at: usize, usual: Option<Unit>) -> Result<Option<Unit>, IsMass> {
    let (_, beside, _) = block::load(block.cell(at, "load"));
    match LoadUnit::of(block.cell(at, "unit")).or(beside) {
        Some(LoadUnit::Force(unit)) => Ok(Some(unit)),
        Some(LoadUnit::Mass(pull)) => {
            let is_pull = usual.is_some_and(|unit| {
                matches!(
                    unit,
                    Unit::KilogramForce | Unit::GramForce | Unit::PoundForce
                )
            });
            pull.filter(|_| is_pull).map(Some).ok_or(IsMass)
        }
        None => Ok(usual),
    }
}

/// What a row says of its test, but for unit and shares.
fn fields(block: &Block, at: usize) -> [(&'static str, String); 7] {
    let cell = |key: &str| block.cell(at, key);
    let (number, _, is_bound) = block::load(cell("load"));
    let outcome = outcome(cell("outcome"), is_bound);
    let mode = block::mode(cell("mode"));
    let looks = block::looks(cell("looks"));
    let mut reason = cell("reason").to_owned();
    if mode.is_none() && !cell("mode").is_empty() {
        reason = format!("{} {reason}", cell("mode")).trim().to_owned();
    }
    [
        ("code", cell("code").to_owned()),
        ("load", number.to_owned()),
        ("energy", cell("energy").to_owned()),
        ("outcome", outcome.map_or("", Outcome::key).to_owned()),
        ("mode", mode.map_or("", |mode| mode.key()).to_owned()),
        ("looks", looks.map_or("", |looks| looks.key()).to_owned()),
        ("reason", reason),
    ]
}

/// A test counts unless the block says otherwise; one with a `>` before its load is a lower bound.
fn outcome(words: &str, is_bound: bool) -> Option<Outcome> {
    match (words, is_bound) {
        ("", true) => Some(Outcome::LowerBound),
        ("", false) => Some(Outcome::Valid),
        (words, _) => block::outcome(words),
    }
}

/// Where the bond came apart: as the block says, or as it stands where the block has no column for it.
fn shares(blind: &Blind, block: &Block, at: usize) -> Vec<(&'static str, String)> {
    let fields = ["cohesive", "adhesive", "glue", "failed_at"];
    if !blind.is_pull_off() {
        return Vec::new();
    }
    if block.columns.iter().any(|column| column.is_of_bond()) {
        let said = |field| (field, block::share(block.cell(at, field)).to_owned());
        return fields.map(said).into();
    }
    let piece = blind.piece(block.cell(at, "code")).ok();
    let stored = piece.and_then(|piece| piece.test()?.test.failure.as_ref());
    let mut typed = Typed::default();
    FailureShares::fill(stored, &mut typed);
    fields
        .map(|field| (field, typed.text(field).to_owned()))
        .into()
}
