//! What the scripts of drying need without a network: the pieces that dry, each with its weighings, the plan's
//! rule, and the rules by which a value is asked about.

use super::{drying_parse, drying_words};
use crate::study::code::Code;
use crate::study::ids::{EntryId, InstrumentId};
use crate::study::measured::Measured;
use crate::study::plan::DryingRule;
use crate::study::plausibility;
use crate::study::reading::{MoistureState, Occasion, Quantity};
use crate::study::record::{SpecimenRecord, StudyRecord, WeighingRecord};
use crate::study::units::{AsTyped, Dimension, Unit};
use chrono::{DateTime, Utc};
use serde::Serialize;
use std::collections::BTreeMap;

/// The data of the drying round. Masses are in g.
#[derive(Debug, Serialize)]
pub(super) struct DryingData {
    pieces: Vec<Piece>,
    rule: DryingRule,
    /// The change of mass that matters, in %.
    margin_percent: f64,
    /// The state of a piece that has passed the rule.
    final_state: MoistureState,
    zone: String,
    /// One of each unit, in g.
    one: BTreeMap<&'static str, f64>,
    symbols: BTreeMap<&'static str, &'static str>,
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
    /// In the order of their times.
    weighings: Vec<Weighed>,
    /// Why the rule is overridden.
    overridden: Option<String>,
    /// The dry mass on record.
    taken: Option<AsTyped>,
    needs_rinsing: bool,
    /// It is out: it dries once the device itself has taken it in.
    is_out: bool,
}

#[derive(Debug, Serialize)]
struct Weighed {
    entry: EntryId,
    at: DateTime<Utc>,
    mass_g: f64,
    step_g: f64,
    text: String,
    unit: Unit,
    instrument: InstrumentId,
    is_confirmed_doubt: bool,
}

/// The data as the record stands; `None` when the plan has no drying round.
pub(super) fn of(record: &StudyRecord) -> Option<DryingData> {
    let (plan, drying) = drying_words::planned(record)?;
    let readability: BTreeMap<InstrumentId, f64> = record
        .instruments
        .iter()
        .filter(|found| found.dimension == Dimension::Mass)
        .map(|found| (found.id, found.readability))
        .collect();
    let final_state = drying.final_state(plan.reference_state);
    let dries = drying_words::drying(record).into_iter();
    let dries = dries.map(|found| (found, false));
    let out = drying_words::out(record).into_iter();
    let out = out.map(|piece| ((Occasion::After, piece), true));
    let measured = Measured::of(record);
    let pieces = dries.chain(out).map(|(found, is_out)| {
        let kind = (Quantity::Mass, found.0, final_state);
        let taken = measured.readings(&found.1.code, &kind).first();
        Piece {
            taken: taken.map(|found| found.reading.typed.clone()),
            is_out,
            ..piece(record, found, &readability)
        }
    });
    Some(DryingData {
        pieces: pieces.collect(),
        rule: drying.rule.clone(),
        margin_percent: plan.mass.margin_percent,
        final_state,
        zone: record.time_zone.clone(),
        one: Unit::of(Dimension::Mass)
            .map(|unit| (unit.key(), unit.to_si(1.0)))
            .collect(),
        symbols: Unit::of(Dimension::Mass)
            .map(|unit| (unit.key(), unit.symbol()))
            .collect(),
        readability,
        nominal_g: plan.mass.nominal_g,
        gain_percent: drying_parse::GAIN_PERCENT,
        rules: plausibility::RULES,
    })
}

fn piece(
    record: &StudyRecord,
    (occasion, piece): (Occasion, &SpecimenRecord),
    readability: &BTreeMap<InstrumentId, f64>,
) -> Piece {
    let weighed = |found: &WeighingRecord| {
        let weighing = &found.weighing;
        Weighed {
            entry: found.entry,
            at: weighing.at,
            mass_g: weighing.mass_g,
            step_g: readability
                .get(&weighing.instrument)
                .copied()
                .unwrap_or(0.0),
            text: weighing.typed.text.clone(),
            unit: weighing.typed.unit,
            instrument: weighing.instrument,
            is_confirmed_doubt: weighing.is_confirmed_doubt,
        }
    };
    let overridden = record.drying_override(&piece.code, occasion);
    Piece {
        code: piece.code.clone(),
        occasion,
        weighings: record
            .drying_of(&piece.code, occasion)
            .map(weighed)
            .collect(),
        overridden: overridden.map(|found| found.reason.clone()),
        taken: None,
        needs_rinsing: drying_parse::needs_rinsing(record, (occasion, piece)),
        is_out: false,
    }
}
