//! A reading: one number that somebody read off an instrument for one specimen.

use serde::{Deserialize, Serialize};

use super::choice::choice;
use super::code::Code;
use super::ids::InstrumentId;
use super::units::{AsTyped, Dimension, Unit};

/// What was read.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Quantity {
    /// Mass, in grams.
    Mass,
    /// A named dimension of the plan (width, thickness …), in millimetres.
    Length(String),
}

impl Quantity {
    /// Which units it takes.
    #[must_use]
    pub fn dimension(&self) -> Dimension {
        match self {
            Self::Mass => Dimension::Mass,
            Self::Length(_) => Dimension::Length,
        }
    }

    /// In words: `mass`, or the dimension's name.
    #[must_use]
    pub fn label(&self) -> &str {
        match self {
            Self::Mass => "mass",
            Self::Length(name) => name,
        }
    }

    /// The unit in which it is kept.
    #[must_use]
    pub fn si_unit(&self) -> Unit {
        match self {
            Self::Mass => Unit::Gram,
            Self::Length(_) => Unit::Millimetre,
        }
    }
}

impl From<Quantity> for String {
    fn from(quantity: Quantity) -> Self {
        match quantity {
            Quantity::Mass => "mass".to_owned(),
            Quantity::Length(name) => format!("length:{name}"),
        }
    }
}

impl TryFrom<String> for Quantity {
    type Error = String;
    fn try_from(text: String) -> Result<Self, String> {
        match text.split_once(':') {
            None if text == "mass" => Ok(Self::Mass),
            Some(("length", name)) if !name.is_empty() => Ok(Self::Length(name.to_owned())),
            _ => Err(format!("{text:?} is neither mass nor a length")),
        }
    }
}

choice! {
    /// The state of moisture in which a piece was when it was read.
    pub enum MoistureState {
        /// As it came, neither dried nor conditioned.
        AsReceived = "as_received", "as received";
        /// Conditioned in a stated atmosphere.
        Conditioned = "conditioned", "conditioned";
        /// Wet, blotted, as taken out.
        Wet = "wet", "wet";
        /// Dried (again) to constant mass.
        ReDried = "re_dried", "dried to constant mass";
    }
}

choice! {
    /// Whether a reading was taken before the exposure or after it.
    pub enum Occasion {
        /// Before the piece went out (baseline reading).
        Before = "before", "before exposure";
        /// After it was taken in.
        After = "after", "after exposure";
    }
}

/// One reading as it enters the journal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// The piece.
    pub specimen: Code,
    /// What was read.
    pub quantity: Quantity,
    /// Before or after the exposure.
    pub occasion: Occasion,
    /// Which repeat of the same reading this is, from 1 (several weighings, several places).
    pub repeat: u8,
    /// The piece's moisture state.
    pub state: MoistureState,
    /// In grams or millimetres.
    pub value: f64,
    /// What was typed, with its unit.
    pub typed: AsTyped,
    /// What it was read off.
    pub instrument: InstrumentId,
    /// The value looked doubtful, was asked about, and was confirmed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub is_confirmed_doubt: bool,
}

/// A known weight or gauge read before or after a round: whether the instrument still says what it
/// should.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InstrumentCheck {
    /// What was checked.
    pub instrument: InstrumentId,
    /// What the weight or gauge is, in grams, millimetres or newtons.
    pub nominal: f64,
    /// The same as typed.
    pub nominal_typed: AsTyped,
    /// What the instrument showed, in grams, millimetres or newtons.
    pub value: f64,
    /// The same as typed.
    pub typed: AsTyped,
}

impl InstrumentCheck {
    /// So many steps of its display may an instrument be off before something must be done (common
    /// practice, no source: `trade.md` 2.5).
    pub const ACTION_STEPS: f64 = 3.0;

    /// How far it was off, in grams, millimetres or newtons.
    #[must_use]
    pub fn off(&self) -> f64 {
        self.value - self.nominal
    }

    /// Whether that is beyond the action limit of an instrument that shows steps of `readability`.
    #[must_use]
    pub fn is_beyond(&self, readability: f64) -> bool {
        // A hair of tolerance: 100.003 − 100 is a little more than 0.003 in binary.
        self.off().abs() > Self::ACTION_STEPS * readability * (1.0 + 1e-6)
    }
}

/// An instrument of a study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Instrument {
    /// Its id.
    pub id: InstrumentId,
    /// What people call it.
    pub name: String,
    /// What it measures.
    pub dimension: Dimension,
    /// The smallest step it shows, in g, mm or N.
    pub readability: f64,
    /// Expanded uncertainty of one reading (k = 2) from its certificate, in g, mm or N, when known.
    pub uncertainty: Option<f64>,
}
