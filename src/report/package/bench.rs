//! The tables of what was measured with: the study's own instruments, their checks, and the labs' machines, load
//! cells and fixtures with what their certificates say.

use super::Source;
use super::table::{Cell, Column, Kind, Table, field, fields, text};
use crate::study::record::EquipmentStanding;
use crate::study::units::Dimension;

const fn unit(dimension: Dimension) -> &'static str {
    match dimension {
        Dimension::Mass => "g",
        Dimension::Length => "mm",
        Dimension::Force => "N",
    }
}

/// The instruments, numbered as in the other tables.
pub(super) fn instruments(source: &Source<'_>) -> Table {
    let fields = vec![
        field("instrument", Kind::Whole, "", "its number in this archive"),
        text("name", "what it is called"),
        text("measures", "mass, length or force"),
        text("unit", "unit of the two figures that follow"),
        field(
            "readability",
            Kind::Number,
            "",
            "smallest step of its display",
        ),
        field(
            "uncertainty",
            Kind::Number,
            "",
            "expanded uncertainty (k = 2) of its certificate",
        ),
    ];
    let mut table = Table::new("instruments", "Instruments", fields);
    table.key = vec!["instrument"];
    table.missing = vec![("no_certificate", "nobody wrote down an uncertainty")];
    for (at, instrument) in source.record.instruments.iter().enumerate() {
        table.rows.push(vec![
            Cell::count(at + 1),
            Cell::Text(instrument.name.clone()),
            Cell::Text(instrument.dimension.key().to_owned()),
            Cell::Text(unit(instrument.dimension).to_owned()),
            Cell::Number(instrument.readability),
            Cell::number(instrument.uncertainty, "no_certificate"),
        ]);
    }
    table
}

/// What the instruments showed of known weights and gauges.
pub(super) fn checks(source: &Source<'_>) -> Table {
    let fields = vec![
        text("entry", "the entry in the journal"),
        field("instrument", Kind::Whole, "", "its number"),
        field("nominal", Kind::Number, "", "what the weight or gauge is"),
        field("shown", Kind::Number, "", "what the instrument showed"),
        text("unit", "unit of these two figures"),
        field(
            "taken_at",
            Kind::Moment,
            "",
            "by the device's clock, in UTC",
        ),
    ];
    let title = "Instruments checked against known weights and gauges";
    let mut table = Table::new("checks", title, fields);
    table.key = vec!["entry"];
    table.missing = vec![("unknown_instrument", "the instrument is not on record")];
    for found in &source.record.checks {
        let check = &found.check;
        let mut known = source.record.instruments.iter();
        let known = known.find(|one| one.id == check.instrument);
        table.rows.push(vec![
            Cell::Text(found.entry.to_string()),
            source.instrument(check.instrument),
            Cell::Number(check.nominal),
            Cell::Number(check.value),
            Cell::words(known.map(|one| unit(one.dimension)), "unknown_instrument"),
            Cell::Moment(found.taken_at),
        ]);
    }
    table
}

const EQUIPMENT: [Column; 13] = [
    ("entry", Kind::Text, "", "the entry in the journal"),
    (
        "item",
        Kind::Text,
        "",
        "the item, under which sessions name it; it may have been written down again",
    ),
    ("lab", Kind::Text, "", "whose it is"),
    (
        "kind",
        Kind::Text,
        "",
        "machine, load_cell, extensometer or fixture",
    ),
    ("name", Kind::Text, "", "what the lab calls it"),
    ("serial", Kind::Text, "", "serial number"),
    (
        "range_from",
        Kind::Number,
        "",
        "from where its class holds, in the unit that follows",
    ),
    ("range_to", Kind::Number, "", "to where"),
    ("range_unit", Kind::Text, "", "N or mm"),
    ("class", Kind::Text, "", "its class, as on the certificate"),
    ("calibrated_on", Kind::Day, "", "day of the calibration"),
    ("valid_until", Kind::Day, "", "last day for which it speaks"),
    (
        "standing",
        Kind::Text,
        "",
        "current, earlier (changed or calibrated since) or wrong",
    ),
];

/// The labs' own records, of consignments that are unblinded.
pub(super) fn equipment(source: &Source<'_>) -> Table {
    let fields = fields(&EQUIPMENT);
    let mut table = Table::new("equipment", "The labs' machines and fixtures", fields);
    table.key = vec!["entry"];
    table.missing = vec![
        ("not_recorded", "nobody wrote it down"),
        ("no_range", "such a thing has none"),
    ];
    for found in &source.record.equipment {
        let through = source.record.consignment(found.consignment);
        let Some(through) = through.filter(|consignment| !consignment.is_blind()) else {
            continue;
        };
        let item = &found.equipment;
        let standing = match found.standing {
            EquipmentStanding::Current => "current",
            EquipmentStanding::Earlier => "earlier",
            EquipmentStanding::Wrong => "wrong",
        };
        let day =
            |day: Option<chrono::NaiveDate>| day.map_or(Cell::Missing("not_recorded"), Cell::Day);
        table.rows.push(vec![
            Cell::Text(found.entry.to_string()),
            Cell::Text(found.item.to_string()),
            Cell::Text(through.lab.clone()),
            Cell::Text(item.kind.key().to_owned()),
            Cell::Text(item.name.clone()),
            Cell::words(Some(item.serial.clone()), "not_recorded"),
            Cell::number(item.range_from, "not_recorded"),
            Cell::number(item.range_to, "not_recorded"),
            Cell::words(item.kind.range_unit(), "no_range"),
            Cell::words(Some(item.class.clone()), "not_recorded"),
            day(item.calibrated_on),
            day(item.valid_until),
            Cell::Text(standing.to_owned()),
        ]);
    }
    table
}
