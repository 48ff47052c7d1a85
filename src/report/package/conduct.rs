//! The tables of how a study was conducted: amendments of its plan, waivers, incidents, the chain of custody,
//! the ways of the parcels; and what others published. Words that name a piece whose results are not in are
//! kept back.

use super::lab::open;
use super::pieces::standing;
use super::table::{Cell, Column, Field, Kind, SAID, Table, field, fields, text};
use super::{NAMES_BLIND, Source};
use crate::report::custody;
use crate::report::download::CsvFault;
use crate::study::consignment::ParcelState;
use crate::study::custody::Decision;
use crate::study::plan::difference::{Difference, differences};
use crate::study::record::{ConsignmentRecord, PlanVersion};

const AMENDMENTS: [Column; 7] = [
    ("version", Kind::Whole, "", "version of the plan, from 1"),
    ("what", Kind::Text, "", "sealed, amendment, or unsealed"),
    (
        "at",
        Kind::Moment,
        "",
        "when the server received it, in UTC",
    ),
    (
        "sha256",
        Kind::Text,
        "",
        "SHA-256 of the plan's bytes: a plan file of this archive",
    ),
    (
        "changes",
        Kind::Text,
        "",
        "what differs from the version before",
    ),
    ("reason", Kind::Text, "", "why"),
    (
        "knowing_results",
        Kind::Claim,
        "",
        "whether results were unblinded by then",
    ),
];

/// The plan as sealed, and every amendment.
pub(super) fn amendments(source: &Source<'_>) -> Table {
    let fields = fields(&AMENDMENTS);
    let mut table = Table::new("amendments", "The plan's seal and its amendments", fields);
    table.key = vec!["version"];
    table.missing = vec![SAID, NAMES_BLIND];
    let sealed = source.record.seal.as_ref().map(|seal| seal.plan_version);
    let mut before: Option<&PlanVersion> = None;
    for version in &source.record.plans {
        let what = match &version.amendment_reason {
            Some(_) => "amendment",
            None if Some(version.version) == sealed => "sealed",
            None if sealed.is_none() && Some(version) == source.record.plan() => "unsealed",
            // A draft is nobody's business.
            None => {
                before = Some(version);
                continue;
            }
        };
        let reason = version.amendment_reason.as_deref();
        let changes = before.filter(|_| reason.is_some());
        let changes = changes.map(|before| changed(&differences(&before.plan, &version.plan)));
        table.rows.push(vec![
            Cell::count(version.version),
            Cell::Text(what.to_owned()),
            Cell::Moment(version.at),
            Cell::Text(version.sha256.clone()),
            changes.map_or(Cell::Missing(""), |words| source.said(&words)),
            reason.map_or(Cell::Missing(""), |words| source.said(words)),
            Cell::Claim(version.is_knowing_results),
        ]);
        before = Some(version);
    }
    table
}

fn changed(found: &[Difference]) -> String {
    let one = |d: &Difference| format!("{}: {} → {}", d.member, d.before, d.after);
    found.iter().map(one).collect::<Vec<_>>().join("; ")
}

/// Pieces that went out without all readings.
pub(super) fn waivers(source: &Source<'_>) -> Table {
    let fields = vec![
        text(
            "entry",
            "the entry in the journal; one may waive many pieces",
        ),
        text("specimen", "the piece"),
        field("at", Kind::Moment, "", "when, in UTC"),
        text("reason", "why"),
    ];
    let title = "Pieces that went out without all readings";
    let mut table = Table::new("waivers", title, fields);
    table.key = vec!["entry", "specimen"];
    table.refers = vec![("specimen", "specimens", "specimen")];
    table.missing = vec![SAID, NAMES_BLIND];
    let all = source.record.waivers.iter();
    for waiver in all.filter(|waiver| source.is_told(&waiver.specimen)) {
        table.rows.push(vec![
            Cell::Text(waiver.entry.to_string()),
            Cell::Text(waiver.specimen.to_string()),
            Cell::Moment(waiver.at),
            source.said(&waiver.reason),
        ]);
    }
    table
}

/// What happened to holders.
pub(super) fn incidents(source: &Source<'_>) -> Table {
    let fields = vec![
        text("entry", "the entry in the journal"),
        text("holder", "the holder, as in the table of specimens"),
        field("from", Kind::Day, "", "first day"),
        field("until", Kind::Day, "", "last day"),
        text("what", "what happened, in words"),
        text("into_holder", "the holder into which the pieces went"),
        text(
            "decision",
            "keep: the pieces stayed in the study; end_early: their exposure ended",
        ),
        field(
            "received_at",
            Kind::Moment,
            "",
            "when the server received it, in UTC",
        ),
        text("standing", "current, superseded or void"),
    ];
    let mut table = Table::new("incidents", "What happened to holders", fields);
    table.key = vec!["entry"];
    table.missing = vec![
        SAID,
        NAMES_BLIND,
        ("open", "it had not ended, or its end was not written down"),
        ("not_moved", "the pieces stayed in their holder"),
    ];
    for found in &source.record.incidents {
        let incident = &found.incident;
        let into = incident.into_holder.as_deref();
        let decision = match incident.decision {
            Decision::Keep => "keep",
            Decision::EndEarly => "end_early",
        };
        table.rows.push(vec![
            Cell::Text(found.entry.to_string()),
            Cell::Text(source.holder(&incident.holder)),
            Cell::Day(incident.from),
            incident.until.map_or(Cell::Missing("open"), Cell::Day),
            source.said(found.note.trim()),
            Cell::words(into.map(|key| source.holder(key)), "not_moved"),
            Cell::Text(decision.to_owned()),
            Cell::Moment(found.received_at),
            standing(found.standing),
        ]);
    }
    table
}

/// The chain of custody, one row for each piece.
pub(super) fn custody(source: &Source<'_>) -> Result<Table, CsvFault> {
    let bytes = custody::table(source.record, source.findings)?;
    let title = "The chain of custody, one row a piece";
    let mut table = Table::of_csv(("custody", title), &bytes, of_custody)?;
    table.key = vec!["specimen"];
    table.refers = vec![("specimen", "specimens", "specimen")];
    table.missing = vec![("", "this step was not taken, or is not on record")];
    Ok(table)
}

fn of_custody(name: &str) -> Field {
    match name {
        "specimen" => text(name, "the piece"),
        "lab" => text(name, "where it was tested"),
        "seal_on_arrival" => text(name, "how the seal of its parcel was found"),
        "line" => text(
            name,
            "the whole line in words, days in the study's time zone",
        ),
        _ => {
            let step = name.strip_suffix("_on").unwrap_or(name).replace('_', " ");
            let what = format!("day on which it was {step}, in the study's time zone");
            field(name, Kind::Day, "", &what)
        }
    }
}

/// The ways of the parcels whose results are in.
pub(super) fn parcels(source: &Source<'_>) -> Table {
    let fields = vec![
        field("session", Kind::Whole, "", "number of the test session"),
        field("step", Kind::Whole, "", "place in its way, from 1"),
        text(
            "what",
            "packed, handed_over, held, received, returned, discarded, lost, or opened",
        ),
        field("at", Kind::Moment, "", "when, in UTC"),
        field(
            "pieces",
            Kind::Whole,
            "",
            "pieces packed, or counted on opening",
        ),
        text(
            "seal",
            "number of the seal, and on opening how it was found",
        ),
    ];
    let mut table = Table::new("parcels", "The ways of the parcels", fields);
    table.key = vec!["session", "step"];
    table.missing = vec![
        SAID,
        ("not_counted", "nobody counts at this step"),
        ("not_recorded", "nobody wrote it down"),
    ];
    for (number, consignment) in open(source) {
        for (step, row) in (1_usize..).zip(way(consignment)) {
            let mut cells = vec![Cell::count(number), Cell::count(step)];
            cells.extend(row);
            table.rows.push(cells);
        }
    }
    table
}

fn way(consignment: &ConsignmentRecord) -> Vec<[Cell; 4]> {
    let seal = consignment.custody.seal_number.clone();
    let mut rows = vec![[
        Cell::Text("packed".to_owned()),
        Cell::Moment(consignment.packed_at),
        Cell::count(consignment.pieces.len()),
        Cell::words(seal, "not_recorded"),
    ]];
    let moved = |state: &ParcelState| *state != ParcelState::Packed;
    let way = consignment.way.iter().filter(|(state, _)| moved(state));
    rows.extend(way.map(|(state, at)| {
        [
            Cell::Text(state.key().to_owned()),
            Cell::Moment(*at),
            Cell::Missing("not_counted"),
            Cell::Missing("not_recorded"),
        ]
    }));
    rows.extend(consignment.custody.receipt.iter().map(|receipt| {
        [
            Cell::Text("opened".to_owned()),
            Cell::Moment(receipt.at),
            Cell::count(receipt.count),
            Cell::Text(receipt.seal_words()),
        ]
    }));
    rows
}

const LITERATURE: [Column; 11] = [
    ("entry", Kind::Text, "", "the entry in the journal"),
    (
        "property",
        Kind::Text,
        "",
        "strength (or load), mass, stiffness, strain or energy",
    ),
    ("material", Kind::Text, "", "what was exposed"),
    ("environment", Kind::Text, "", "in what kind of place"),
    ("days", Kind::Number, "d", "for how long"),
    (
        "retention_percent",
        Kind::Number,
        "%",
        "what was left of the start",
    ),
    (
        "lower_percent",
        Kind::Number,
        "%",
        "lower end of the published interval or spread",
    ),
    ("upper_percent", Kind::Number, "%", "its upper end"),
    ("citation", Kind::Text, "", "who, what, where, when"),
    (
        "link",
        Kind::Text,
        "",
        "where to read it: an address or a DOI",
    ),
    ("standing", Kind::Text, "", "current, superseded or void"),
];

/// What others published, beside which the study's own figures are drawn; it enters no analysis.
pub(super) fn literature(source: &Source<'_>) -> Table {
    let fields = fields(&LITERATURE);
    let mut table = Table::new("literature", "Figures that others published", fields);
    table.key = vec!["entry"];
    table.missing = vec![
        ("not_published", "the source gives no interval or spread"),
        ("no_address", "nobody wrote one down"),
    ];
    for cited in &source.record.cited {
        let figure = &cited.figure;
        table.rows.push(vec![
            Cell::Text(cited.entry.to_string()),
            Cell::Text(figure.property.key().to_owned()),
            Cell::Text(figure.material.clone()),
            Cell::Text(figure.environment.key().to_owned()),
            Cell::Number(figure.days),
            Cell::Number(figure.retention_percent),
            Cell::number(figure.lower_percent, "not_published"),
            Cell::number(figure.upper_percent, "not_published"),
            Cell::Text(figure.citation.clone()),
            Cell::words(figure.address(), "no_address"),
            standing(cited.standing),
        ]);
    }
    table
}
