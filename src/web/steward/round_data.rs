//! What the round's script needs to go on without a network: the pieces in their order, what is read
//! already, and the rules by which a value is asked about. It stands in the page, so that page and
//! data are always of one moment.

use super::drying_data::{self, DryingData};
use super::piece_words::plan_of;
use crate::study::code::Code;
use crate::study::ids::{EntryId, InstrumentId, StudyId};
use crate::study::measured::Measured;
use crate::study::plan::{Plan, Shape};
use crate::study::plausibility::{self, Written};
use crate::study::reading::{MoistureState, Occasion, Quantity};
use crate::study::record::{SpecimenRecord, Standing, StudyRecord};
use crate::study::round::{self, Settings};
use crate::study::units::Dimension;
use chrono::{DateTime, Utc};
use serde::Serialize;
use std::collections::BTreeMap;

/// The data of one round. Values are in g or mm.
#[derive(Debug, Serialize)]
pub(super) struct RoundData {
    study: StudyId,
    slug: String,
    label: String,
    quantity: Quantity,
    occasion: Occasion,
    state: MoistureState,
    instrument: InstrumentId,
    instrument_name: String,
    /// `weight` or `gauge`.
    check_name: &'static str,
    unit: &'static str,
    symbol: &'static str,
    /// One of the unit, in g or mm.
    one: f64,
    readability: f64,
    decimals: usize,
    step_words: String,
    /// Readings that the plan calls for, a piece.
    wanted: u8,
    nominal: Option<f64>,
    shape: &'static str,
    material_density: Option<f64>,
    /// Under which name the value enters the density.
    body_name: String,
    rules: plausibility::Rules,
    pieces: Vec<Piece>,
    /// Entries of this kind of reading that count no more.
    settled: Vec<EntryId>,
    /// The reading of this kind that was saved last.
    last: Option<Last>,
    checks: Vec<Check>,
    /// Where the plan wants this mass dry: how each piece stands.
    drying: Option<DryingData>,
}

#[derive(Debug, Serialize)]
struct Last {
    code: Code,
    entry: EntryId,
}

#[derive(Debug, Serialize)]
struct Piece {
    code: Code,
    origin: String,
    /// The mean before exposure in the same state: shown only after the new value is saved.
    before: Option<f64>,
    /// The same, when the rules hold the new value against it.
    before_checked: Option<f64>,
    /// The piece's other readings on this occasion that make its density.
    others: BTreeMap<&'static str, f64>,
    readings: Vec<Read>,
}

#[derive(Debug, Serialize)]
struct Read {
    entry: EntryId,
    repeat: u8,
    value: f64,
    text: String,
    unit: &'static str,
}

#[derive(Debug, Serialize)]
struct Check {
    entry: EntryId,
    at: DateTime<Utc>,
    nominal: f64,
    value: f64,
    text: String,
}

/// What a density is made of.
const BODY: [&str; 5] = ["mass", "width", "thickness", "diameter", "length"];

/// The data of a round; `None` without a plan.
pub(super) fn of(
    record: &StudyRecord,
    measured: &Measured<'_>,
    settings: &Settings,
) -> Option<RoundData> {
    let plan = plan_of(record)?;
    let (instrument, unit) = (&settings.instrument, settings.unit);
    let written = Written::new(unit, instrument.readability);
    let is_reference = settings.state == plan.reference_state;
    let pool = round::pool(record, settings.occasion);
    let pieces = pool.into_iter();
    Some(RoundData {
        study: record.id,
        slug: record.slug.clone(),
        label: settings.quantity.label().to_owned(),
        quantity: settings.quantity.clone(),
        occasion: settings.occasion,
        state: settings.state,
        instrument: instrument.id,
        instrument_name: instrument.name.clone(),
        check_name: check_name(instrument.dimension),
        unit: unit.key(),
        symbol: unit.symbol(),
        one: unit.to_si(1.0),
        readability: instrument.readability,
        decimals: written.decimals(),
        step_words: written.words(instrument.readability),
        wanted: plan.readings_of(&settings.quantity),
        nominal: crate::study::measured::nominal(&settings.quantity, plan),
        shape: shape(plan),
        material_density: plan.material.density_g_cm3.filter(|_| is_reference),
        body_name: settings.quantity.label().to_owned(),
        rules: plausibility::RULES,
        pieces: pieces
            .map(|found| piece(found, measured, settings))
            .collect(),
        settled: settled(record, settings),
        last: last(record, settings),
        checks: checks(record, settings),
        drying: drying(record, settings),
    })
}

/// As the guard of such a reading asks. What was read before anybody opened the study here is held to no rule.
fn drying(record: &StudyRecord, settings: &Settings) -> Option<DryingData> {
    let plan = plan_of(record)?;
    let drying = plan.drying.as_ref()?;
    let is_asked = settings.quantity == Quantity::Mass
        && settings.state == drying.final_state(plan.reference_state)
        && drying.asks_on(settings.occasion);
    (is_asked && !record.is_after_the_fact).then(|| drying_data::of(record))?
}

/// What known thing an instrument is checked with.
pub(super) fn check_name(dimension: Dimension) -> &'static str {
    match dimension {
        Dimension::Mass | Dimension::Force => "weight",
        Dimension::Length => "gauge",
    }
}

fn shape(plan: &Plan) -> &'static str {
    match plan.form.shape {
        Shape::Rectangular => "rectangular",
        Shape::Round => "round",
        Shape::Dumbbell | Shape::LoadOnly => "other",
    }
}

fn piece(found: &SpecimenRecord, measured: &Measured<'_>, settings: &Settings) -> Piece {
    let kind = settings.kind();
    let (code, state) = (&found.code, settings.state);
    let before = match settings.occasion {
        Occasion::Before => None,
        Occasion::After => {
            measured.mean(code, &(settings.quantity.clone(), Occasion::Before, state))
        }
    };
    let other = |name: &'static str| {
        let quantity = match name {
            "mass" => Quantity::Mass,
            _ => Quantity::Length(name.to_owned()),
        };
        let mean = measured.mean(code, &(quantity, settings.occasion, state));
        mean.map(|mean| (name, mean))
    };
    let readings = measured.readings(code, &kind).iter().map(|read| Read {
        entry: read.entry,
        repeat: read.reading.repeat,
        value: read.reading.value,
        text: read.reading.typed.text.clone(),
        unit: read.reading.typed.unit.symbol(),
    });
    Piece {
        code: code.clone(),
        origin: origin(found),
        before,
        before_checked: before.filter(|_| state != MoistureState::Wet),
        others: BODY.into_iter().filter_map(other).collect(),
        readings: readings.collect(),
    }
}

/// Where a piece comes from, in words.
pub(super) fn origin(piece: &SpecimenRecord) -> String {
    if piece.is_nameless {
        "found without its mark".to_owned()
    } else {
        format!("{}, no. {}", piece.build, piece.order)
    }
}

fn settled(record: &StudyRecord, settings: &Settings) -> Vec<EntryId> {
    let kind = settings.kind();
    let of_kind = record.readings.iter().filter(|found| {
        let reading = &found.reading;
        (&reading.quantity, reading.occasion, reading.state) == (&kind.0, kind.1, kind.2)
    });
    of_kind
        .filter(|found| found.standing != Standing::Current)
        .map(|found| found.entry)
        .collect()
}

fn last(record: &StudyRecord, settings: &Settings) -> Option<Last> {
    let found = super::round::last_of(record, settings)?;
    Some(Last {
        code: found.reading.specimen.clone(),
        entry: found.entry,
    })
}

/// The checks of the round's instrument, the latest few.
fn checks(record: &StudyRecord, settings: &Settings) -> Vec<Check> {
    let of_it = record.checks.iter();
    let of_it = of_it.filter(|found| found.check.instrument == settings.instrument.id);
    let mut checks: Vec<Check> = of_it
        .rev()
        .take(4)
        .map(|found| Check {
            entry: found.entry,
            at: found.taken_at,
            nominal: found.check.nominal,
            value: found.check.value,
            text: found.check.nominal_typed.text.clone(),
        })
        .collect();
    checks.reverse();
    checks
}
