//! The tables of the exposure record: which series there are, their values, and what each piece lived
//! through. The figures and their sources are those of [`crate::analysis::climate`].

use chrono::{DateTime, Utc};

use super::Source;
use super::pieces::standing;
use super::table::{Cell, Column, Kind, Table, field, fields};
use crate::analysis::climate::{Climate, Dose, HOT_CELSIUS, stays};
use crate::study::environment::{SeriesSource, Values};
use crate::study::record::{SeriesRecord, Standing};

const SERIES: [Column; 13] = [
    ("entry", Kind::Text, "", "the entry in the journal"),
    ("name", Kind::Text, "", "what it is called"),
    (
        "place",
        Kind::Text,
        "",
        "the condition, or the condition and one of its holders",
    ),
    (
        "from",
        Kind::Text,
        "",
        "logger, or archive: a weather archive",
    ),
    (
        "attribution",
        Kind::Text,
        "",
        "what the archive asks to be said of it",
    ),
    ("rows", Kind::Whole, "", "rows that were read"),
    ("step_s", Kind::Whole, "s", "usual time between two rows"),
    ("first", Kind::Moment, "", "first moment, in UTC"),
    ("last", Kind::Moment, "", "last moment, in UTC"),
    (
        "file_sha256",
        Kind::Text,
        "",
        "SHA-256 of the original file, which the server keeps",
    ),
    (
        "values_sha256",
        Kind::Text,
        "",
        "SHA-256 of the values as kept: the table of values with lines ended by LF",
    ),
    (
        "values",
        Kind::Text,
        "",
        "the table of values in this archive",
    ),
    ("standing", Kind::Text, "", "current or void"),
];

/// The series, also void ones.
pub(super) fn series(source: &Source<'_>) -> Table {
    let fields = fields(&SERIES);
    let mut table = Table::new("series", "Series of the exposure record", fields);
    table.key = vec!["entry"];
    table.missing = vec![
        ("logger", "a logger's file has none"),
        ("void", "the series was declared void"),
    ];
    let mut number = 0;
    for found in &source.record.series {
        let is_there = found.standing == Standing::Current;
        number += usize::from(is_there);
        let values = is_there.then(|| format!("data/series-{number}.csv"));
        table.rows.push(one(source, found, values));
    }
    table
}

fn one(source: &Source<'_>, found: &SeriesRecord, values: Option<String>) -> Vec<Cell> {
    let s = &found.series;
    // The coordinates that an archive was asked for are the steward's own business.
    let (from, attribution) = match &s.source {
        SeriesSource::Logger { .. } => ("logger", None),
        SeriesSource::Archive { attribution, .. } => ("archive", Some(attribution.clone())),
    };
    vec![
        Cell::Text(found.entry.to_string()),
        Cell::Text(s.name.clone()),
        Cell::Text(s.place.name(source.plan)),
        Cell::Text(from.to_owned()),
        Cell::words(attribution, "logger"),
        Cell::count(s.rows),
        Cell::count(s.step_s),
        Cell::Moment(s.first),
        Cell::Moment(s.last),
        Cell::Text(s.file_sha256.clone()),
        Cell::Text(s.values_sha256.clone()),
        Cell::words(values, "void"),
        standing(found.standing),
    ]
}

/// The values of the series that count, a table each, in the journal's order.
pub(super) fn values(source: &Source<'_>) -> Vec<Table> {
    let current = source.record.series.iter();
    let current = current.filter(|series| series.standing == Standing::Current);
    let found = current.filter_map(|series| Some((series, source.values.get(&series.entry)?)));
    (1_usize..)
        .zip(found)
        .map(|(number, (series, values))| table(number, series, values))
        .collect()
}

fn table(number: usize, series: &SeriesRecord, values: &Values) -> Table {
    let mut fields = vec![field("utc", Kind::Moment, "", "the moment, in UTC")];
    let measured = values.measurands.iter();
    fields.extend(measured.map(|m| field(m.key(), Kind::Number, m.unit(), m.label())));
    let name = format!("series-{number}");
    let mut table = Table::new(&name, &format!("Values of {}", series.series.name), fields);
    table.missing = vec![("", "no value in the original file")];
    table.is_for_spreadsheet = false;
    table.rows = values
        .rows
        .iter()
        .map(|row| {
            let values = row.values.iter().map(|value| Cell::number(*value, ""));
            std::iter::once(Cell::Moment(row.at))
                .chain(values)
                .collect()
        })
        .collect();
    table
}

const DOSES: [Column; 20] = [
    ("specimen", Kind::Text, "", "the piece"),
    ("days", Kind::Number, "d", "time that it was out"),
    (
        "temperature_complete_percent",
        Kind::Number,
        "%",
        "part of that time with a temperature",
    ),
    ("temperature_min_c", Kind::Number, "°C", "lowest"),
    ("temperature_mean_c", Kind::Number, "°C", "mean over time"),
    ("temperature_max_c", Kind::Number, "°C", "highest"),
    (
        "thawing_c_d",
        Kind::Number,
        "°C·d",
        "degree-days above 0 °C",
    ),
    (
        "freezing_c_d",
        Kind::Number,
        "°C·d",
        "degree-days below 0 °C",
    ),
    (
        "freeze_thaw_cycles",
        Kind::Whole,
        "",
        "down through −2.2 °C and back to 0 °C",
    ),
    (
        "freeze_thaw_days",
        Kind::Whole,
        "d",
        "days that reach both 0 °C and −2.2 °C",
    ),
    ("hours_above_30_c", Kind::Number, "h", "time above 30 °C"),
    (
        "kinetic_mean_c",
        Kind::Number,
        "°C",
        "mean kinetic temperature, ΔH/R = 10 000 K",
    ),
    (
        "humidity_complete_percent",
        Kind::Number,
        "%",
        "part of that time with a humidity",
    ),
    ("humidity_min_percent", Kind::Number, "%", "lowest"),
    ("humidity_mean_percent", Kind::Number, "%", "mean over time"),
    ("humidity_max_percent", Kind::Number, "%", "highest"),
    (
        "rain_complete_percent",
        Kind::Number,
        "%",
        "part of that time with rain on record",
    ),
    ("rain_mm", Kind::Number, "mm", "rain"),
    (
        "radiant_complete_percent",
        Kind::Number,
        "%",
        "part of that time with radiation on record",
    ),
    ("radiant_mj_m2", Kind::Number, "MJ/m²", "radiant exposure"),
];

/// What each piece lived through while it was out.
pub(super) fn doses(source: &Source<'_>, now: DateTime<Utc>) -> Table {
    let fields = fields(&DOSES);
    let mut table = Table::new("doses", "What each piece lived through", fields);
    table.key = vec!["specimen"];
    table.refers = vec![("specimen", "specimens", "specimen")];
    table.missing = vec![
        (
            "no_record",
            "no series of its holder or condition covers that time",
        ),
        (
            "only_extremes",
            "the series has daily extremes, not readings",
        ),
    ];
    let climate = Climate::of(source.record, source.values);
    for piece in &source.record.specimens {
        if !source.is_told(&piece.code) {
            continue;
        }
        let stays = stays(source.record, &piece.code, now);
        if let Some(dose) = climate.dose(&stays, HOT_CELSIUS) {
            let code = Cell::Text(piece.code.to_string());
            table
                .rows
                .push(std::iter::once(code).chain(figures(&dose)).collect());
        }
    }
    table
}

fn figures(dose: &Dose) -> Vec<Cell> {
    const NONE: &str = "no_record";
    let t = dose.temperature.as_ref();
    let figure = |value: Option<f64>| Cell::number(value, NONE);
    // Where there are daily extremes only, some figures cannot be had.
    let finer = if t.is_some() { "only_extremes" } else { NONE };
    let humidity = dose.humidity.as_ref();
    let (rain, radiant) = (dose.rain.as_ref(), dose.radiant.as_ref());
    vec![
        Cell::Number(dose.days),
        figure(t.map(|t| t.spread.completeness_percent)),
        figure(t.map(|t| t.spread.min)),
        figure(t.map(|t| t.spread.mean)),
        figure(t.map(|t| t.spread.max)),
        figure(t.map(|t| t.thawing)),
        figure(t.map(|t| t.freezing)),
        t.and_then(|t| t.cycles)
            .map_or(Cell::Missing(finer), Cell::count),
        t.map_or(Cell::Missing(NONE), |t| Cell::count(t.freeze_thaw_days)),
        Cell::number(t.and_then(|t| t.hours_above), finer),
        Cell::number(t.and_then(|t| t.kinetic), finer),
        figure(humidity.map(|h| h.completeness_percent)),
        figure(humidity.map(|h| h.min)),
        figure(humidity.map(|h| h.mean)),
        figure(humidity.map(|h| h.max)),
        figure(rain.map(|r| r.completeness_percent)),
        figure(rain.map(|r| r.sum)),
        figure(radiant.map(|r| r.completeness_percent)),
        figure(radiant.map(|r| r.sum)),
    ]
}
