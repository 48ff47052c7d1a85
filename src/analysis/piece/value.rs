//! The value that a piece gives for a response, and what it says.

use serde::{Deserialize, Serialize};

use super::{Fate, Pair, Piece};
use crate::analysis::property::PieceProperty;
use crate::study::plan::Response;
use crate::study::property::Property;
use crate::study::reading::Quantity;
use crate::study::specimen::Recovery;

/// What a value says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ValueKind {
    /// The value itself.
    Valid,
    /// At least this.
    LowerBound,
    /// Counted as zero: the piece could not carry load.
    TotalLoss,
}

/// One value of one response.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Value {
    /// In N, MPa or %.
    pub value: f64,
    /// What it says.
    pub kind: ValueKind,
}

impl Piece {
    /// The readings of a quantity.
    #[must_use]
    pub fn pair(&self, quantity: &Quantity) -> Option<&Pair> {
        self.pairs.iter().find(|pair| pair.quantity == *quantity)
    }

    /// Its value of a response, when there is one.
    #[must_use]
    pub fn value(&self, response: &Response) -> Option<Value> {
        match response {
            Response::MaxLoad => load(self.fate, self.max_load_n),
            Response::Strength => self.strength(),
            Response::Read(property) => self.read(*property),
            Response::MassChange => self.change(&Quantity::Mass),
            Response::LengthChange(name) => self.change(&Quantity::Length(name.clone())),
        }
    }

    /// A property that was read off its test.
    #[must_use]
    pub fn property(&self, property: Property) -> Option<&PieceProperty> {
        self.properties.iter().find(|one| one.property == property)
    }

    /// The area over which its load is a stress, mm².
    #[must_use]
    pub fn stress_area(&self) -> Option<f64> {
        let area = self.stress_area_mm2.or(self.section_mm2);
        area.filter(|mm2| *mm2 > 0.0)
    }

    /// The first maximum of the stress: at yield where the curve has one, else the load over its area.
    fn strength(&self) -> Option<Value> {
        let curve = self.property(Property::Strength);
        if let Some(found) = curve.filter(|_| self.fate == Fate::Valid) {
            return Some(Value {
                value: found.value,
                kind: ValueKind::Valid,
            });
        }
        let area = self.stress_area()?;
        load(self.fate, self.max_load_n).map(|load| Value {
            value: load.value / area,
            ..load
        })
    }

    fn read(&self, property: Property) -> Option<Value> {
        let value = self.property(property).map(|found| found.value);
        let (value, kind) = match self.fate {
            Fate::Valid => (value?, ValueKind::Valid),
            Fate::LowerBound if property.is_before_maximum() => (value?, ValueKind::Valid),
            Fate::LowerBound => (value?, ValueKind::LowerBound),
            Fate::TotalLoss if property.is_zero_at_total_loss() => (0.0, ValueKind::TotalLoss),
            _ => return None,
        };
        Some(Value { value, kind })
    }

    fn change(&self, quantity: &Quantity) -> Option<Value> {
        let is_whole = self.recovery != Some(Recovery::Fragments) && self.fate != Fate::InError;
        let value = self.pair(quantity)?.change_percent?;
        is_whole.then_some(Value {
            value,
            kind: ValueKind::Valid,
        })
    }

    /// The piece as it was before its test was changed by somebody who knew its group.
    #[must_use]
    pub fn unknowing(&self) -> Self {
        let mut piece = self.clone();
        if let Some(test) = self.unknowing {
            piece.fate = test.fate;
            piece.max_load_n = test.max_load_n;
            // What the curve says of the strength was kept for the test that counts now.
            piece
                .properties
                .retain(|one| one.property != Property::Strength);
        }
        piece
    }
}

fn load(fate: Fate, max_load_n: Option<f64>) -> Option<Value> {
    let kind = match fate {
        Fate::Valid => ValueKind::Valid,
        Fate::LowerBound => ValueKind::LowerBound,
        Fate::TotalLoss => {
            return Some(Value {
                value: 0.0,
                kind: ValueKind::TotalLoss,
            });
        }
        _ => return None,
    };
    max_load_n.map(|value| Value { value, kind })
}
