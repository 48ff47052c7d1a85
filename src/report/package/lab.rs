//! The tables of the lab: test sessions, tests with what was corrected, and curves with the machine's
//! original files. Only of consignments that are unblinded.

use super::pieces::standing;
use super::table::{Cell, Column, Kind, SAID, Table, fields};
use super::{Curve, Source};
use crate::study::consignment::Contents;
use crate::study::record::ConsignmentRecord;

/// The unblinded consignments with the numbers under which findings and tables name their sessions.
fn open<'r>(source: &Source<'r>) -> impl Iterator<Item = (usize, &'r ConsignmentRecord)> {
    let open = source.record.consignments.iter().filter(|c| !c.is_blind());
    (1..).zip(open)
}

const SESSIONS: [Column; 15] = [
    ("session", Kind::Whole, "", "its number"),
    ("lab", Kind::Text, "", "where"),
    (
        "contents",
        Kind::Text,
        "",
        "baseline, or a stage by its days",
    ),
    ("tested_on", Kind::Day, "", "day of the tests"),
    ("machine", Kind::Text, "", "machine"),
    ("fixture", Kind::Text, "", "fixture"),
    ("speed_mm_min", Kind::Number, "mm/min", "speed"),
    ("room_c", Kind::Number, "°C", "temperature of the room"),
    (
        "room_rh_percent",
        Kind::Number,
        "%",
        "relative humidity of the room",
    ),
    (
        "check_load_n",
        Kind::Number,
        "N",
        "known load that was shown to the machine",
    ),
    (
        "check_opening_n",
        Kind::Number,
        "N",
        "what it showed before the tests",
    ),
    (
        "check_closing_n",
        Kind::Number,
        "N",
        "what it showed after them",
    ),
    (
        "drift_limit_percent",
        Kind::Number,
        "%",
        "drift that is thought too much",
    ),
    (
        "finished_at",
        Kind::Moment,
        "",
        "when the tester declared it finished, in UTC",
    ),
    (
        "unblinded_at",
        Kind::Moment,
        "",
        "when the steward unblinded it, in UTC",
    ),
];

/// The test sessions.
pub(super) fn sessions(source: &Source<'_>) -> Table {
    let fields = fields(&SESSIONS);
    let mut table = Table::new("sessions", "Test sessions", fields);
    table.key = vec!["session"];
    table.missing = vec![
        ("not_recorded", "nobody wrote it down"),
        ("never", "it did not happen"),
    ];
    for (number, consignment) in open(source) {
        let set = consignment.session.as_ref();
        let figure = |of: fn(&crate::study::break_test::TestSession) -> Option<f64>| {
            Cell::number(set.and_then(of), "not_recorded")
        };
        let contents = match consignment.contents {
            Contents::Baseline => "baseline".to_owned(),
            Contents::Stage { days } => format!("stage of {days} days"),
        };
        table.rows.push(vec![
            Cell::count(number),
            Cell::Text(consignment.lab.clone()),
            Cell::Text(contents),
            set.map_or(Cell::Missing("not_recorded"), |s| Cell::Day(s.tested_on)),
            Cell::words(set.map(|s| s.machine.clone()), "not_recorded"),
            Cell::words(set.map(|s| s.fixture.clone()), "not_recorded"),
            figure(|s| s.speed_mm_min),
            figure(|s| s.room_c),
            figure(|s| s.room_rh_percent),
            figure(|s| s.check_load_n),
            figure(|s| s.check_opening_n),
            figure(|s| s.check_closing_n),
            figure(|s| s.drift_limit_percent),
            Cell::moment(consignment.finished_at, "never"),
            Cell::moment(consignment.unblinded_at, "never"),
        ]);
    }
    table
}

const TESTS: [Column; 18] = [
    ("entry", Kind::Text, "", "the entry in the journal"),
    ("session", Kind::Whole, "", "the test session"),
    ("specimen", Kind::Text, "", "the piece"),
    (
        "blind",
        Kind::Text,
        "",
        "the code under which the tester knew it",
    ),
    (
        "position",
        Kind::Whole,
        "",
        "its place in the order of testing",
    ),
    (
        "outcome",
        Kind::Text,
        "",
        "valid, invalid, lower_bound or total_loss",
    ),
    ("max_load_n", Kind::Number, "N", "maximum load"),
    ("typed", Kind::Text, "", "the characters that were typed"),
    ("typed_unit", Kind::Text, "", "the unit that was chosen"),
    ("failure_mode", Kind::Text, "", "how it failed"),
    ("out_of_order", Kind::Claim, "", "tested out of order"),
    (
        "confirmed",
        Kind::Claim,
        "",
        "it looked doubtful, was asked about, and was confirmed",
    ),
    (
        "received_at",
        Kind::Moment,
        "",
        "when the server received it, in UTC",
    ),
    (
        "standing",
        Kind::Text,
        "",
        "current, superseded (a later row corrects it) or void",
    ),
    ("supersedes", Kind::Text, "", "the entry that it corrects"),
    (
        "knowing_group",
        Kind::Claim,
        "",
        "changed when the group was known",
    ),
    (
        "reason",
        Kind::Text,
        "",
        "why it is not valid, out of order, corrected or void",
    ),
    (
        "looks",
        Kind::Text,
        "",
        "what the tester took it for: indoors, exposed or cannot_tell",
    ),
];

/// Every test, also superseded and void ones.
pub(super) fn tests(source: &Source<'_>) -> Table {
    let fields = fields(&TESTS);
    let mut table = Table::new("tests", "Every test, with what was corrected", fields);
    table.key = vec!["entry"];
    table.missing = vec![
        SAID,
        ("no_load", "the outcome has no load, or none was read"),
        ("not_asked", "the tester did not say"),
    ];
    for (number, consignment) in open(source) {
        for found in &consignment.tests {
            let test = &found.test;
            let mut pieces = consignment.pieces.iter();
            let piece = pieces.find(|piece| piece.blind == test.blind);
            let typed = test.typed.as_ref();
            table.rows.push(vec![
                Cell::Text(found.entry.to_string()),
                Cell::count(number),
                Cell::words(piece.map(|p| p.specimen.to_string()), ""),
                Cell::Text(test.blind.to_string()),
                piece.map_or(Cell::Missing(""), |p| Cell::count(p.position)),
                Cell::Text(test.outcome.key().to_owned()),
                Cell::number(test.max_load_n, "no_load"),
                Cell::words(typed.map(|t| t.text.clone()), "no_load"),
                Cell::words(typed.map(|t| t.unit.key()), "no_load"),
                Cell::Text(test.mode.key().to_owned()),
                Cell::Claim(test.is_out_of_order),
                Cell::Claim(test.is_confirmed_doubt),
                Cell::Moment(found.received_at),
                standing(found.standing),
                Cell::words(found.supersedes.map(|entry| entry.to_string()), ""),
                Cell::Claim(found.is_knowing_group),
                Cell::words(found.note.clone(), ""),
                Cell::words(piece.and_then(|p| p.looks).map(|l| l.key()), "not_asked"),
            ]);
        }
    }
    table
}

const CURVES: [Column; 14] = [
    ("session", Kind::Whole, "", "the test session"),
    ("specimen", Kind::Text, "", "the piece"),
    (
        "blind",
        Kind::Text,
        "",
        "the code under which the tester knew it",
    ),
    (
        "file",
        Kind::Text,
        "",
        "the machine's original file in this archive",
    ),
    (
        "file_name",
        Kind::Text,
        "",
        "what the tester's computer called it",
    ),
    (
        "file_sha256",
        Kind::Text,
        "",
        "SHA-256 of the original file",
    ),
    ("place", Kind::Whole, "", "which of the file's curves"),
    ("max_load_n", Kind::Number, "N", "maximum load"),
    ("extension_at_max_mm", Kind::Number, "mm", "extension there"),
    (
        "end_load_n",
        Kind::Number,
        "N",
        "load at the end of the test",
    ),
    ("extension_at_end_mm", Kind::Number, "mm", "extension there"),
    (
        "energy_to_max_j",
        Kind::Number,
        "J",
        "energy up to the maximum load",
    ),
    (
        "energy_to_end_j",
        Kind::Number,
        "J",
        "energy up to the end of the test",
    ),
    (
        "ended_at_line",
        Kind::Whole,
        "",
        "line of the file that the tester called the end",
    ),
];

/// What was read off the curves, and where the machine's own file lies.
pub(super) fn curves(source: &Source<'_>) -> Table {
    let fields = fields(&CURVES);
    let mut table = Table::new("curves", "What was read off the curves", fields);
    table.key = vec!["session", "blind"];
    table.missing = vec![
        SAID,
        ("no_extension", "the file has no extension"),
        ("found", "the end was found in the curve, not said"),
        (
            "still_blind",
            "the file also holds pieces whose results are not in; a later edition has it",
        ),
    ];
    for (number, consignment) in open(source) {
        let here = source.extra.curves.iter();
        for curve in here.filter(|curve| curve.kept.consignment == consignment.id) {
            let mut pieces = consignment.pieces.iter();
            let piece = pieces.find(|piece| piece.blind == curve.kept.blind);
            let specimen = piece.map(|p| p.specimen.to_string());
            table.rows.push(row(number, specimen, curve));
        }
    }
    table
}

fn row(number: usize, specimen: Option<String>, curve: &Curve) -> Vec<Cell> {
    let kept = &curve.kept;
    let path = curve.bytes.as_ref().map(|_| curve.path());
    vec![
        Cell::count(number),
        Cell::words(specimen, ""),
        Cell::Text(kept.blind.to_string()),
        Cell::words(path, "still_blind"),
        Cell::Text(kept.file_name.clone()),
        Cell::Text(kept.file_sha256.clone()),
        Cell::count(kept.place),
        Cell::Number(kept.max_load_n),
        Cell::number(kept.extension_at_max_mm, "no_extension"),
        Cell::Number(kept.end_load_n),
        Cell::number(kept.extension_at_end_mm, "no_extension"),
        Cell::number(kept.energy_to_max_j, "no_extension"),
        Cell::number(kept.energy_to_end_j, "no_extension"),
        kept.ended_at_line
            .map_or(Cell::Missing("found"), Cell::count),
    ]
}
