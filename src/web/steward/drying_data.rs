//! What the drying round's script needs to check a weighing without a network: the pieces that dry, each
//! with its last weighing, and the rules by which a value is asked about.

use super::piece_words::plan_of;
use super::{drying_parse, drying_words};
use crate::study::code::Code;
use crate::study::ids::InstrumentId;
use crate::study::plausibility;
use crate::study::reading::Occasion;
use crate::study::record::StudyRecord;
use crate::study::units::{Dimension, Unit};
use chrono::{DateTime, Utc};
use serde::Serialize;
use std::collections::BTreeMap;

/// The data of the round. Masses are in g.
#[derive(Debug, Serialize)]
pub(super) struct DryingData {
    pieces: Vec<Piece>,
    /// One of each unit, in g.
    one: BTreeMap<&'static str, f64>,
    /// The smallest step of each balance, in g.
    readability: BTreeMap<InstrumentId, f64>,
    nominal_g: Option<f64>,
    gain_percent: f64,
    rules: plausibility::Rules,
}

#[derive(Debug, Serialize)]
struct Piece {
    code: Code,
    occasion: Occasion,
    last_g: Option<f64>,
    last_at: Option<DateTime<Utc>>,
    needs_rinsing: bool,
    /// It is out: it dries once the device itself has taken it in.
    is_out: bool,
}

/// The data of the round as the record stands.
pub(super) fn of(record: &StudyRecord) -> DryingData {
    let dries = drying_words::drying(record).into_iter();
    let dries = dries.map(|found| (found, false));
    let out = drying_words::out(record).into_iter();
    let out = out.map(|piece| ((Occasion::After, piece), true));
    let pieces = dries.chain(out).map(|((occasion, piece), is_out)| {
        let last = record.drying_of(&piece.code, occasion).last();
        Piece {
            code: piece.code.clone(),
            occasion,
            last_g: last.map(|found| found.weighing.mass_g),
            last_at: last.map(|found| found.weighing.at),
            needs_rinsing: drying_parse::needs_rinsing(record, (occasion, piece)),
            is_out,
        }
    });
    let balances = record.instruments.iter();
    let balances = balances.filter(|found| found.dimension == Dimension::Mass);
    DryingData {
        pieces: pieces.collect(),
        one: Unit::of(Dimension::Mass)
            .map(|unit| (unit.key(), unit.to_si(1.0)))
            .collect(),
        readability: balances
            .map(|found| (found.id, found.readability))
            .collect(),
        nominal_g: plan_of(record).and_then(|plan| plan.mass.nominal_g),
        gain_percent: drying_parse::GAIN_PERCENT,
        rules: plausibility::RULES,
    }
}
