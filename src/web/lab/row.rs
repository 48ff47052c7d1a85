//! One row of the grid, ready to print: a form while the piece has no test, its result afterwards.

use super::blind::{Blind, Piece};
use crate::study::break_test::failure::FailureShares;
use crate::study::break_test::{FailureMode, Looks, Outcome};
use crate::study::equipment::flag::EquipmentFlag;
use crate::study::record::TestRecord;
use crate::study::typed::Typed;
use crate::study::units::{Unit, in_digits};
use crate::web::App;
use crate::web::act;
use crate::web::form::Form;

/// A row of the grid.
pub(super) struct Row {
    /// The piece's place in the order.
    pub(super) position: u32,
    /// Its code.
    pub(super) code: String,
    /// The form, while it has no test and may get one.
    pub(super) form: Option<Form>,
    /// What is wrong with the form as a whole.
    pub(super) beside: Vec<String>,
    /// Its result in words.
    pub(super) result: Option<Result>,
    /// Not in the box.
    pub(super) is_missing: bool,
    /// The cursor goes into this row.
    pub(super) has_focus: bool,
}

/// The fields that a test's form draws with their own faults.
const DRAWN: [&str; 12] = [
    "load",
    "energy",
    "outcome",
    "mode",
    "cohesive",
    "adhesive",
    "glue",
    "failed_at",
    "looks",
    "reason",
    "confirmed",
    "order",
];

/// What is wrong with a test's form besides its drawn fields.
pub(super) fn beside(form: &Form) -> Vec<String> {
    let faults = form.faults().iter();
    let others = faults.filter(|fault| !DRAWN.contains(&fault.field.as_str()));
    others.map(|fault| fault.sentence.clone()).collect()
}

/// A result in words.
pub(super) struct Result {
    /// As typed, with its unit; empty when there is none.
    pub(super) load: String,
    /// Valid, invalid …
    pub(super) outcome: &'static str,
    /// How it failed.
    pub(super) mode: &'static str,
    /// Where the bond came apart; empty when not said.
    pub(super) failure: String,
    /// What it looked like; empty when not said.
    pub(super) looks: &'static str,
    /// The reason or remark.
    pub(super) note: String,
    /// Short marks: corrected, out of order, confirmed.
    pub(super) marks: Vec<&'static str>,
    /// What is to be known of the instruments behind it.
    pub(super) flags: Vec<String>,
}

impl Result {
    /// Of a piece that has a test.
    pub(super) fn of(piece: &Piece) -> Option<Self> {
        let told = piece.test().map(|test| Self::told(test, piece.looks));
        told.map(|told| Self {
            flags: piece.flags.iter().map(EquipmentFlag::words).collect(),
            ..told
        })
    }

    /// Of one test.
    pub(super) fn told(record: &TestRecord, looks: Option<Looks>) -> Self {
        let test = &record.test;
        let marks = [
            (record.is_knowing_group, "changed knowing the group"),
            (record.supersedes.is_some(), "corrected"),
            (test.is_out_of_order, "out of order"),
            (test.is_confirmed_doubt, "confirmed"),
        ];
        Self {
            load: load_in_words(record),
            outcome: test.outcome.label(),
            mode: test.mode.label(),
            failure: test
                .failure
                .as_ref()
                .map_or_else(String::new, FailureShares::in_words),
            looks: looks.map_or("", Looks::label),
            note: record.note.clone().unwrap_or_default(),
            marks: marks
                .into_iter()
                .filter_map(|(is_so, mark)| is_so.then_some(mark))
                .collect(),
            flags: Vec::new(),
        }
    }
}

/// The load as typed, with its unit.
pub(super) fn load_in_words(record: &TestRecord) -> String {
    if let Some(joule) = record.test.energy_j {
        return format!("{} J", in_digits(joule, 6));
    }
    match (&record.test.typed, record.test.max_load_n) {
        (Some(typed), _) => format!("{} {}", typed.text, typed.unit.symbol()),
        (None, Some(newtons)) => format!("{} N", in_digits(newtons, 6)),
        (None, None) => String::new(),
    }
}

/// Every row of the grid. `refused` is the row that was just sent and not taken, `at` the one that
/// the cursor goes into otherwise.
pub(super) fn rows(
    app: &App,
    blind: &Blind,
    refused: Option<(&Piece, Form)>,
    at: &str,
) -> Vec<Row> {
    let row = |piece: &Piece| {
        let mut row = Row {
            position: piece.position,
            code: piece.blind.to_string(),
            form: None,
            beside: Vec::new(),
            result: Result::of(piece),
            is_missing: piece.is_missing(),
            has_focus: false,
        };
        let wants_form = row.result.is_none() && !row.is_missing && blind.is_open();
        if wants_form {
            let sent = refused
                .as_ref()
                .filter(|(sent, _)| sent.blind == piece.blind);
            row.has_focus = refused.is_none() && row.code == at;
            row.beside = sent.map(|(_, form)| beside(form)).unwrap_or_default();
            row.form =
                Some(sent.map_or_else(|| empty(app, blind, piece), |(_, form)| form.clone()));
        }
        row
    };
    blind.pieces.iter().map(row).collect()
}

/// A row to be filled in; the load of a kept curve stands in it already.
fn empty(app: &App, blind: &Blind, piece: &Piece) -> Form {
    let mut typed = Typed::from([("outcome", Outcome::Valid.key())]);
    typed.set(act::ENTRY, act::fresh(app));
    if let Some(curve) = blind.curve_of(&piece.blind) {
        typed.set(
            "load",
            in_digits(curve.max_load_n / unit(blind).to_si(1.0), 6),
        );
    }
    Form::filled(typed)
}

/// What the selects offer.
pub(super) struct Choices {
    /// Validity.
    pub(super) outcomes: Vec<(&'static str, &'static str)>,
    /// Ways of failing.
    pub(super) modes: Vec<(&'static str, &'static str)>,
    /// What a piece looked like.
    pub(super) looks: Vec<(&'static str, &'static str)>,
    /// An energy is asked for where others have a load.
    pub(super) is_impact: bool,
    /// It is asked where the bond came apart.
    pub(super) is_pull_off: bool,
}

impl Choices {
    /// All of them, each list that has no default beginning with an empty one.
    pub(super) fn of(blind: &Blind) -> Self {
        let choose = ("", "choose …");
        let modes = FailureMode::ALL
            .iter()
            .map(|mode| (mode.key(), mode.label()));
        let looks = Looks::ALL.iter().map(|looks| (looks.key(), looks.label()));
        Self {
            outcomes: Outcome::ALL
                .iter()
                .map(|one| (one.key(), one.label()))
                .collect(),
            modes: std::iter::once(choose).chain(modes).collect(),
            looks: std::iter::once(("", "say later")).chain(looks).collect(),
            is_impact: blind.is_impact(),
            is_pull_off: blind.is_pull_off(),
        }
    }
}

/// The unit in which loads are typed; newtons until the session says another.
pub(super) fn unit(blind: &Blind) -> Unit {
    blind
        .session
        .as_ref()
        .map_or(Unit::Newton, |session| session.load_unit)
}
