//! The readings that count, by piece: what is on record, what the plan still calls for, how siblings
//! came out. Built once for a page.

use std::collections::BTreeMap;

use super::code::Code;
use super::plan::Plan;
use super::plausibility::{Body, Expected, Spread};
use super::reading::{Instrument, MoistureState, Occasion, Quantity};
use super::record::{ReadingRecord, StudyRecord};

/// What tells one reading of a piece from another, but for the repeat.
pub type Kind = (Quantity, Occasion, MoistureState);

/// The current readings of a study.
pub struct Measured<'r> {
    by_kind: BTreeMap<Kind, BTreeMap<&'r Code, Vec<&'r ReadingRecord>>>,
}

impl<'r> Measured<'r> {
    /// Of a study.
    #[must_use]
    pub fn of(record: &'r StudyRecord) -> Self {
        let mut by_kind: BTreeMap<Kind, BTreeMap<&Code, Vec<&ReadingRecord>>> = BTreeMap::new();
        for found in record.current_readings() {
            let reading = &found.reading;
            let kind = (reading.quantity.clone(), reading.occasion, reading.state);
            let pieces = by_kind.entry(kind).or_default();
            pieces.entry(&reading.specimen).or_default().push(found);
        }
        Self { by_kind }
    }

    /// The readings of one kind of a piece, in the journal's order.
    #[must_use]
    pub fn readings(&self, code: &Code, kind: &Kind) -> &[&'r ReadingRecord] {
        let pieces = self.by_kind.get(kind);
        pieces
            .and_then(|pieces| pieces.get(code))
            .map_or(&[], Vec::as_slice)
    }

    /// How many readings of a piece count, of every kind.
    #[must_use]
    pub fn count(&self, code: &Code) -> usize {
        let kinds = self.by_kind.values();
        kinds
            .filter_map(|pieces| pieces.get(code))
            .map(Vec::len)
            .sum()
    }

    /// The mean of those readings, in g or mm.
    #[must_use]
    pub fn mean(&self, code: &Code, kind: &Kind) -> Option<f64> {
        mean(self.readings(code, kind))
    }

    /// The lowest repeat number that is free, up to what the plan calls for.
    #[must_use]
    pub fn free_repeat(&self, code: &Code, kind: &Kind, plan: &Plan) -> Option<u8> {
        let there = self.readings(code, kind);
        (1..=plan.readings_of(&kind.0)).find(|n| there.iter().all(|r| r.reading.repeat != *n))
    }

    /// What the plan calls for on an occasion, in its reference state, and is not on record: quantity
    /// and how many.
    #[must_use]
    pub fn missing(&self, code: &Code, occasion: Occasion, plan: &Plan) -> Vec<(Quantity, u8)> {
        let missing = |quantity: Quantity| {
            let kind = (quantity, occasion, plan.reference_state);
            let there = u8::try_from(self.readings(code, &kind).len()).unwrap_or(u8::MAX);
            let wanted = plan.readings_of(&kind.0);
            (kind.0, wanted.saturating_sub(there))
        };
        plan.quantities()
            .into_iter()
            .map(missing)
            .filter(|(_, count)| *count > 0)
            .collect()
    }

    /// How the same kind came out on all pieces but this one.
    #[must_use]
    pub fn siblings(&self, code: Option<&Code>, kind: &Kind) -> Option<Spread> {
        let pieces = self.by_kind.get(kind)?;
        let others = pieces.iter().filter(|(other, _)| Some(**other) != code);
        let means: Vec<f64> = others.filter_map(|(_, readings)| mean(readings)).collect();
        Spread::of(&means)
    }

    /// What a value of a piece is held against. `value` in g or mm enters the density.
    #[must_use]
    pub fn expected(
        &self,
        (code, kind): (&Code, &Kind),
        value: f64,
        plan: &Plan,
        instrument: &Instrument,
    ) -> Expected {
        let (quantity, occasion, state) = kind;
        let before = (quantity.clone(), Occasion::Before, *state);
        let own_before = match occasion {
            Occasion::Before => None,
            // Two moisture states are never compared, and a wet piece may weigh what it likes.
            Occasion::After if *state == MoistureState::Wet => None,
            Occasion::After => self.mean(code, &before),
        };
        Expected {
            siblings: self.siblings(Some(code), kind),
            readability: instrument.readability,
            nominal: nominal(quantity, plan),
            own_before,
            density: self.density((code, kind), value, plan),
        }
    }

    /// The piece's density with this value, and its material's.
    fn density(&self, (code, kind): (&Code, &Kind), value: f64, plan: &Plan) -> Option<(f64, f64)> {
        let (quantity, occasion, state) = kind;
        let material = plan.material.density_g_cm3?;
        if *state != plan.reference_state {
            return None;
        }
        let read = |other: Quantity| {
            if other == *quantity {
                return Some(value);
            }
            self.mean(code, &(other, *occasion, *state))
        };
        let size = |name: &str| read(Quantity::Length(name.to_owned()));
        let body = Body {
            mass_g: read(Quantity::Mass),
            width_mm: size("width"),
            thickness_mm: size("thickness"),
            diameter_mm: size("diameter"),
            length_mm: size("length"),
        };
        Some((body.density_g_cm3(plan.form.shape)?, material))
    }
}

fn mean(readings: &[&ReadingRecord]) -> Option<f64> {
    let n = u32::try_from(readings.len()).ok().filter(|n| *n > 0)?;
    let sum: f64 = readings.iter().map(|r| r.reading.value).sum();
    Some(sum / f64::from(n))
}

/// The plan's nominal value of a quantity, in g or mm.
#[must_use]
pub fn nominal(quantity: &Quantity, plan: &Plan) -> Option<f64> {
    match quantity {
        Quantity::Mass => plan.mass.nominal_g,
        Quantity::Length(name) => {
            let found = plan.dimensions.iter().find(|d| d.name == *name);
            found.and_then(|d| d.nominal_mm)
        }
    }
}

/// Missing readings in words: `mass, width (3 readings)`.
#[must_use]
pub fn missing_words(missing: &[(Quantity, u8)]) -> String {
    let words = missing.iter().map(|(quantity, count)| match count {
        1 => quantity.label().to_owned(),
        n => format!("{} ({n} readings)", quantity.label()),
    });
    words.collect::<Vec<_>>().join(", ")
}
