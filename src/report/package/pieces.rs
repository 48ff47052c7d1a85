//! The tables of the pieces: each piece, its readings with what was corrected, its weighings while it
//! dried, what was done to it; and the instruments. Only of pieces that may be looked at.

use super::table::{Cell, Field, Kind, SAID, Table, field, text};
use super::{NAMES_BLIND, Source};
use crate::analysis::findings::Findings;
use crate::report::download::{self, CsvFault};
use crate::study::plan::Plan;
use crate::study::record::{EventKind, EventRecord, ReadingRecord, Standing};

/// Every piece, one row each: what `overwinter analyse` reads.
pub(super) fn specimens(plan: &Plan, findings: &Findings) -> Result<Table, CsvFault> {
    let bytes = download::specimens(plan, findings)?;
    let mut table = Table::of_csv(("specimens", "Every piece"), &bytes, of_specimens)?;
    table.key = vec!["specimen"];
    table.missing = vec![(
        "",
        "not measured, not tested or not applicable: the columns outcome, fate and reason say which",
    )];
    Ok(table)
}

/// Every comparison at full precision.
pub(super) fn comparisons(plan: &Plan, findings: &Findings) -> Result<Table, CsvFault> {
    let bytes = download::comparisons(plan, findings)?;
    let title = "Every comparison, the deciding ones first";
    let mut table = Table::of_csv(("comparisons", title), &bytes, of_comparisons)?;
    table.missing = vec![("", "not computed for this comparison")];
    Ok(table)
}

/// What a column's name ends with, and the unit that this means.
const UNITS: [(&str, &str); 13] = [
    ("_percent", "%"),
    ("_n_mm", "N/mm"),
    ("_n", "N"),
    ("_g", "g"),
    ("_mm2", "mm²"),
    ("_mm", "mm"),
    ("_mpa", "MPa"),
    ("_gpa", "GPa"),
    ("_kj_m2", "kJ/m²"),
    ("_mj_m3", "MJ/m³"),
    ("_mj", "mJ"),
    ("_j", "J"),
    ("days_out", "d"),
];

fn with_unit(name: &str, what: &str) -> Option<Field> {
    let found = UNITS.iter().find(|(ending, _)| name.ends_with(ending));
    found.map(|(_, unit)| field(name, Kind::Number, unit, what))
}

fn of_specimens(name: &str) -> Field {
    let known = [
        ("specimen", "what the piece is called"),
        ("lot", "lot of material"),
        ("build", "print plate, mould shot or board"),
        (
            "condition",
            "where it was; empty for the baseline set and a late reference",
        ),
        (
            "role",
            "baseline, storage_control, exposed or late_reference",
        ),
        ("holder", "the jar, rack, plot or bag that it shared"),
        (
            "outcome",
            "valid, lower_bound, total_loss, invalid, lost or withdrawn",
        ),
        ("reason", "why, in words"),
        ("fate", "the outcome, finer"),
        ("failure_mode", "how it failed"),
        ("recovery", "its state when it was taken in"),
        ("identity", "how it was identified when it was taken in"),
        ("flags", "what a reader should know of it, parted by blanks"),
        (
            "unknowing_fate",
            "fate before its test was changed knowing the group",
        ),
    ];
    match name {
        "stage_days" => field(name, Kind::Whole, "d", "planned days of its stage"),
        "order" => field(name, Kind::Whole, "", "place in the order of making"),
        "session" => field(name, Kind::Whole, "", "number of the test session"),
        "put_out" => field(name, Kind::Claim, "", "whether it was put out"),
        "nameless" => field(
            name,
            Kind::Claim,
            "",
            "whether it came back without its mark",
        ),
        "test_date" => field(name, Kind::Day, "", "day of its test"),
        _ => {
            let what = known.iter().find(|(known, _)| *known == name);
            match what {
                Some((_, what)) => text(name, what),
                None => {
                    with_unit(name, &spelled(name)).unwrap_or_else(|| text(name, &spelled(name)))
                }
            }
        }
    }
}

/// `mass_before_g` → `mass before`: the unit stands beside it.
fn spelled(name: &str) -> String {
    let ending = UNITS.iter().find(|(ending, _)| name.ends_with(ending));
    let bare = ending.and_then(|(ending, _)| name.strip_suffix(ending));
    bare.filter(|bare| !bare.is_empty())
        .unwrap_or(name)
        .replace('_', " ")
}

fn of_comparisons(name: &str) -> Field {
    let words = [
        "rank",
        "response",
        "condition",
        "role",
        "against",
        "unit_of_replication",
        "spreads",
        "verdict",
        "intervals_hold_together",
    ];
    let counts = [
        "stage_days",
        "pieces",
        "holders",
        "reference_pieces",
        "reference_holders",
    ];
    let what = spelled(name);
    if words.contains(&name) {
        text(name, &what)
    } else if counts.contains(&name) {
        field(name, Kind::Whole, "", &what)
    } else {
        with_unit(name, &what).unwrap_or_else(|| field(name, Kind::Number, "", &what))
    }
}

/// Whether an entry counts, as written.
pub(super) fn standing(standing: Standing) -> Cell {
    let word = match standing {
        Standing::Current => "current",
        Standing::Superseded => "superseded",
        Standing::Void => "void",
    };
    Cell::Text(word.to_owned())
}

const STANDING: &str = "current, superseded (a later row corrects it) or void";

/// Every reading, also superseded and void ones.
pub(super) fn readings(source: &Source<'_>) -> Table {
    let fields = vec![
        text("entry", "the entry in the journal"),
        text("specimen", "the piece"),
        text("quantity", "mass, or a dimension by its name"),
        text("occasion", "before or after exposure"),
        field("repeat", Kind::Whole, "", "which of several readings"),
        text(
            "state",
            "moisture state: as_received, conditioned, wet or re_dried",
        ),
        field("value", Kind::Number, "", "in the unit beside it"),
        text("unit", "g or mm"),
        text("typed", "the characters that were typed"),
        text("typed_unit", "the unit that was chosen"),
        field("instrument", Kind::Whole, "", "its number"),
        field(
            "confirmed",
            Kind::Claim,
            "",
            "it looked doubtful, was asked about, and was confirmed",
        ),
        field(
            "taken_at",
            Kind::Moment,
            "",
            "by the device's clock, in UTC",
        ),
        text("standing", STANDING),
        text("supersedes", "the entry that it corrects"),
        text("reason", "why it was corrected or declared void"),
    ];
    let mut table = Table::new("readings", "Every reading, with what was corrected", fields);
    table.key = vec!["entry"];
    table.refers = vec![("specimen", "specimens", "specimen")];
    table.missing = vec![
        SAID,
        NAMES_BLIND,
        ("unknown_instrument", "the instrument is not on record"),
    ];
    let told = source.record.readings.iter();
    let told = told.filter(|found| source.is_told(&found.reading.specimen));
    table.rows = told.map(|found| reading(source, found)).collect();
    table
}

fn reading(source: &Source<'_>, found: &ReadingRecord) -> Vec<Cell> {
    let r = &found.reading;
    let why_void = source.record.voidings.get(&found.entry).map(String::as_str);
    let why_corrected = found.note.as_deref().filter(|_| found.supersedes.is_some());
    let note = why_void.or(why_corrected);
    vec![
        Cell::Text(found.entry.to_string()),
        Cell::Text(r.specimen.to_string()),
        Cell::Text(r.quantity.label().to_owned()),
        Cell::Text(r.occasion.key().to_owned()),
        Cell::count(r.repeat),
        Cell::Text(r.state.key().to_owned()),
        Cell::Number(r.value),
        Cell::Text(r.quantity.si_unit().key().to_owned()),
        Cell::Text(r.typed.text.clone()),
        Cell::Text(r.typed.unit.key().to_owned()),
        source.instrument(r.instrument),
        Cell::Claim(r.is_confirmed_doubt),
        Cell::Moment(found.taken_at),
        standing(found.standing),
        Cell::words(found.supersedes.map(|entry| entry.to_string()), ""),
        source.said(note.unwrap_or_default()),
    ]
}

/// Every weighing of a piece while it dried.
pub(super) fn weighings(source: &Source<'_>) -> Table {
    let fields = vec![
        text("entry", "the entry in the journal"),
        text("specimen", "the piece"),
        text("occasion", "before or after exposure"),
        field("at", Kind::Moment, "", "when it was weighed, in UTC"),
        field("mass_g", Kind::Number, "g", "its mass"),
        text("typed", "the characters that were typed"),
        text("typed_unit", "the unit that was chosen"),
        field("instrument", Kind::Whole, "", "its number"),
        field(
            "confirmed",
            Kind::Claim,
            "",
            "it looked doubtful, was asked about, and was confirmed",
        ),
        text("standing", STANDING),
    ];
    let mut table = Table::new("weighings", "Weighings while the pieces dried", fields);
    table.key = vec!["entry"];
    table.refers = vec![("specimen", "specimens", "specimen")];
    table.missing = vec![
        SAID,
        ("unknown_instrument", "the instrument is not on record"),
    ];
    let told = source.record.drying.weighings.iter();
    for found in told.filter(|found| source.is_told(&found.weighing.specimen)) {
        let weighing = &found.weighing;
        table.rows.push(vec![
            Cell::Text(found.entry.to_string()),
            Cell::Text(weighing.specimen.to_string()),
            Cell::Text(weighing.occasion.key().to_owned()),
            Cell::Moment(weighing.at),
            Cell::Number(weighing.mass_g),
            Cell::Text(weighing.typed.text.clone()),
            Cell::Text(weighing.typed.unit.key().to_owned()),
            source.instrument(weighing.instrument),
            Cell::Claim(weighing.is_confirmed_doubt),
            standing(found.standing),
        ]);
    }
    table
}

/// What happened to the pieces, one row for each piece.
pub(super) fn events(source: &Source<'_>) -> Table {
    let fields = vec![
        text(
            "entry",
            "the entry in the journal; one may reach many pieces",
        ),
        text("specimen", "the piece"),
        text(
            "event",
            "put_out, taken_in, rejected, or what was done to it",
        ),
        field("at", Kind::Moment, "", "when it happened, in UTC"),
        field(
            "received_at",
            Kind::Moment,
            "",
            "when the server received it, in UTC",
        ),
        text("into_holder", "the holder that it was moved to"),
        text("recovery", "its state when it was taken in"),
        text("identity", "how it was identified when it was taken in"),
        text("standing", STANDING),
    ];
    let mut table = Table::new("events", "What happened to the pieces", fields);
    table.key = vec!["entry", "specimen"];
    let told = source.record.events.iter();
    let told = told.filter(|event| source.is_told(&event.specimen));
    table.rows = told.map(|found| event(source, found)).collect();
    table
}

fn event(source: &Source<'_>, found: &EventRecord) -> Vec<Cell> {
    let nothing = || (Cell::Missing(""), Cell::Missing(""), Cell::Missing(""));
    let holder = |key: &String| source.holder(key.as_str());
    let (what, (into, recovery, identity)) = match &found.what {
        EventKind::PutOut => ("put_out", nothing()),
        EventKind::Rejected => ("rejected", nothing()),
        EventKind::Handled { what, into_holder } => {
            let into = Cell::words(into_holder.as_ref().map(holder), "");
            (what.key(), (into, Cell::Missing(""), Cell::Missing("")))
        }
        EventKind::TakenIn { recovery, identity } => {
            let recovery = Cell::Text(recovery.key().to_owned());
            let identity = Cell::Text(identity.key().to_owned());
            ("taken_in", (Cell::Missing(""), recovery, identity))
        }
    };
    vec![
        Cell::Text(found.entry.to_string()),
        Cell::Text(found.specimen.to_string()),
        Cell::Text(what.to_owned()),
        Cell::Moment(found.at),
        Cell::Moment(found.received_at),
        into,
        recovery,
        identity,
        standing(found.standing),
    ]
}
