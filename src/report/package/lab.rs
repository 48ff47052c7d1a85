//! The tables of the lab: test sessions, tests with what was corrected, and curves with the machine's
//! original files. Only of consignments that are unblinded.

use super::pieces::standing;
use super::table::{Cell, Column, Kind, SAID, Table, claim, fields, figure, moment, whole, words};
use super::{Curve, NAMES_BLIND, Source};
use crate::study::consignment::Contents;
use crate::study::record::{ConsignmentRecord, PieceRecord};

/// The unblinded consignments with the numbers under which findings and tables name their sessions.
pub(super) fn open<'r>(
    source: &Source<'r>,
) -> impl Iterator<Item = (usize, &'r ConsignmentRecord)> {
    let open = source.record.consignments.iter().filter(|c| !c.is_blind());
    (1..).zip(open)
}

const SESSION: Column = whole("session", "the test session");
const SPECIMEN: Column = words("specimen", "the piece");
const BLIND: Column = words("blind", "the code under which the tester knew it");
const MAX_LOAD: Column = figure("max_load_n", "N", "maximum load");

const SESSIONS: [Column; 18] = [
    whole("session", "its number"),
    words("lab", "where"),
    words("contents", "baseline, or a stage by its days"),
    ("tested_on", Kind::Day, "", "day of the tests"),
    words("machine", "machine"),
    words("fixture", "fixture"),
    figure("speed_mm_min", "mm/min", "speed"),
    figure("room_c", "°C", "temperature of the room"),
    figure("room_rh_percent", "%", "relative humidity of the room"),
    figure(
        "check_load_n",
        "N",
        "known load that was shown to the machine",
    ),
    figure("check_opening_n", "N", "what it showed before the tests"),
    figure("check_closing_n", "N", "what it showed after them"),
    figure("drift_limit_percent", "%", "drift that is thought too much"),
    words("method", "the standard, or the lab's own procedure"),
    words(
        "conditioning",
        "how the pieces were conditioned before the test",
    ),
    words(
        "equipment",
        "items of the table of that name, parted by blanks",
    ),
    moment(
        "finished_at",
        "when the tester declared it finished, in UTC",
    ),
    moment("unblinded_at", "when the steward unblinded it, in UTC"),
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
        let used = set.map(|s| &s.used);
        let items = used.map(|used| used.items().map(|item| item.to_string()));
        let items = items.map(|items| items.collect::<Vec<_>>().join(" "));
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
            Cell::words(used.map(|u| u.method.clone()), "not_recorded"),
            Cell::words(used.map(|u| u.conditioning.clone()), "not_recorded"),
            Cell::words(items, "not_recorded"),
            Cell::moment(consignment.finished_at, "never"),
            Cell::moment(consignment.unblinded_at, "never"),
        ]);
    }
    table
}

const TESTS: [Column; 23] = [
    words("entry", "the entry in the journal"),
    SESSION,
    SPECIMEN,
    BLIND,
    whole("position", "its place in the order of testing"),
    words("outcome", "valid, invalid, lower_bound or total_loss"),
    MAX_LOAD,
    words("typed", "the characters that were typed"),
    words("typed_unit", "the unit that was chosen"),
    words("failure_mode", "how it failed"),
    claim("out_of_order", "tested out of order"),
    claim(
        "confirmed",
        "it looked doubtful, was asked about, and was confirmed",
    ),
    moment("received_at", "when the server received it, in UTC"),
    words(
        "standing",
        "current, superseded (a later row corrects it) or void",
    ),
    words("supersedes", "the entry that it corrects"),
    claim("knowing_group", "changed when the group was known"),
    words(
        "reason",
        "why it is not valid, out of order, corrected or void",
    ),
    words(
        "looks",
        "what the tester took it for: indoors, exposed or cannot_tell",
    ),
    figure(
        "cohesive_percent",
        "%",
        "pull-off: share of the failure within a layer",
    ),
    figure(
        "adhesive_percent",
        "%",
        "pull-off: share of the failure between two layers",
    ),
    figure(
        "glue_percent",
        "%",
        "pull-off: share of the failure in the glue",
    ),
    words("failed_at", "which layer, or which two"),
    words(
        "retest_of",
        "for a spare: the piece in the place of whose invalid test it was tested",
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
            let failure = test.failure.as_ref();
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
                Cell::number(failure.map(|f| f.cohesive_percent), "not_asked"),
                Cell::number(failure.map(|f| f.adhesive_percent), "not_asked"),
                Cell::number(failure.map(|f| f.glue_percent), "not_asked"),
                Cell::words(failure.map(|f| f.place.clone()), "not_asked"),
                Cell::words(retest_of(source, piece), ""),
            ]);
        }
    }
    table
}

/// Told once the other piece's results are in as well.
fn retest_of(source: &Source<'_>, piece: Option<&PieceRecord>) -> Option<String> {
    let of = piece?.retest_of.as_ref()?;
    source.is_told(of).then(|| of.to_string())
}

const CURVES: [Column; 15] = [
    SESSION,
    SPECIMEN,
    BLIND,
    words("file", "the machine's original file in this archive"),
    words("file_name", "what the tester's computer called it"),
    words("file_sha256", "SHA-256 of the original file"),
    whole("place", "which of the file's curves"),
    MAX_LOAD,
    figure("extension_at_max_mm", "mm", "extension there"),
    figure("end_load_n", "N", "load at the end of the test"),
    figure("extension_at_end_mm", "mm", "extension there"),
    figure("energy_to_max_j", "J", "energy up to the maximum load"),
    figure("energy_to_end_j", "J", "energy up to the end of the test"),
    whole(
        "ended_at_line",
        "line of the file that the tester called the end",
    ),
    words("ended_there_because", "the tester's reason for that end"),
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
        (
            "too_large",
            "the machines' files would make the archive too large; the steward keeps them",
        ),
        NAMES_BLIND,
    ];
    for (number, consignment) in open(source) {
        let here = source.extra.curves.iter();
        for curve in here.filter(|curve| curve.kept.consignment == consignment.id) {
            let mut pieces = consignment.pieces.iter();
            let piece = pieces.find(|piece| piece.blind == curve.kept.blind);
            let specimen = piece.map(|p| p.specimen.to_string());
            table.rows.push(row(source, number, specimen, curve));
        }
    }
    table
}

fn row(source: &Source<'_>, number: usize, specimen: Option<String>, curve: &Curve) -> Vec<Cell> {
    let kept = &curve.kept;
    let file = match &curve.bytes {
        Some(_) if source.room.machine_files => Cell::Text(curve.path()),
        Some(_) => Cell::Missing("too_large"),
        None => Cell::Missing("still_blind"),
    };
    vec![
        Cell::count(number),
        Cell::words(specimen, ""),
        Cell::Text(kept.blind.to_string()),
        file,
        source.said(&kept.file_name),
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
        match &kept.end_reason {
            Some(reason) => source.said(reason),
            None => Cell::Missing("found"),
        },
    ]
}
