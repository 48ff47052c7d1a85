//! The readings of an archive, as they were taken: `readings.csv` and `instruments.csv` → what was
//! measured of each piece, so that an analysis rests on the readings and not on their means.

use std::collections::BTreeMap;

use serde::Deserialize;
use uuid::Uuid;

use crate::analysis::change::{bench, pairs};
use crate::analysis::piece::Pair;
use crate::study::code::Code;
use crate::study::ids::InstrumentId;
use crate::study::plan::Plan;
use crate::study::reading::{Instrument, MoistureState, Occasion, Quantity, Reading};
use crate::study::units::{AsTyped, Dimension, Unit};

/// A row of `readings.csv`, as far as an analysis needs it.
#[derive(Debug, Deserialize)]
struct ReadingRow {
    specimen: String,
    quantity: String,
    occasion: String,
    repeat: u8,
    state: String,
    value: f64,
    typed: String,
    instrument: String,
    standing: String,
}

/// A row of `instruments.csv`.
#[derive(Debug, Deserialize)]
struct InstrumentRow {
    instrument: u32,
    name: String,
    measures: String,
    readability: f64,
    uncertainty: String,
}

/// What was measured of each piece, by its code.
///
/// # Errors
/// A sentence about the first row that cannot be read.
pub fn measured(
    plan: &Plan,
    readings: &[u8],
    instruments: &[u8],
) -> Result<BTreeMap<String, Vec<Pair>>, String> {
    let instruments: Vec<Instrument> = rows::<InstrumentRow>("instruments.csv", instruments)?
        .into_iter()
        .map(instrument)
        .collect::<Result<_, _>>()?;
    let mut of_piece: BTreeMap<String, Vec<Reading>> = BTreeMap::new();
    let rows = rows::<ReadingRow>("readings.csv", readings)?;
    for row in rows.into_iter().filter(|row| row.standing == "current") {
        let of = of_piece.entry(row.specimen.clone()).or_default();
        of.push(reading(row)?);
    }
    let bench = bench(&instruments);
    let each = of_piece.into_iter().map(|(code, readings)| {
        let readings: Vec<&Reading> = readings.iter().collect();
        (code, pairs(plan, &readings, &bench))
    });
    Ok(each.collect())
}

fn rows<T: serde::de::DeserializeOwned>(name: &str, bytes: &[u8]) -> Result<Vec<T>, String> {
    let mut file = csv::Reader::from_reader(bytes);
    let rows: Result<Vec<T>, csv::Error> = file.deserialize().collect();
    rows.map_err(|cause| format!("{name}: {cause}"))
}

fn id(number: u32) -> InstrumentId {
    InstrumentId(Uuid::from_u128(u128::from(number)))
}

fn instrument(row: InstrumentRow) -> Result<Instrument, String> {
    let dimension = Dimension::parse(&row.measures);
    Ok(Instrument {
        id: id(row.instrument),
        name: row.name,
        dimension: dimension
            .ok_or_else(|| format!("instruments.csv: {} is measured by none", row.measures))?,
        readability: row.readability,
        uncertainty: row.uncertainty.parse().ok(),
    })
}

fn reading(row: ReadingRow) -> Result<Reading, String> {
    let wrong = |what: &str, text: &str| format!("readings.csv: {text:?} is no {what}");
    let quantity = match row.quantity.as_str() {
        "mass" => Quantity::Mass,
        name => Quantity::Length(name.to_owned()),
    };
    let code: Result<Code, _> = row.specimen.parse();
    let code = code.map_err(|_| wrong("code", &row.specimen))?;
    let occasion = Occasion::parse(&row.occasion);
    let state = MoistureState::parse(&row.state);
    let unit: Unit = quantity.si_unit();
    Ok(Reading {
        specimen: code,
        quantity,
        occasion: occasion.ok_or_else(|| wrong("occasion", &row.occasion))?,
        repeat: row.repeat,
        state: state.ok_or_else(|| wrong("moisture state", &row.state))?,
        value: row.value,
        typed: AsTyped {
            text: row.typed,
            unit,
        },
        // A number that is none leads to no instrument, as on the server.
        instrument: id(row.instrument.parse().unwrap_or(u32::MAX)),
        is_confirmed_doubt: false,
    })
}
