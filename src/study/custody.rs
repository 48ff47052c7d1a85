//! What happens to pieces and holders while they are out, and when they come back. A piece's whole way
//! as one line of dates is in [`line`].

pub mod line;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

use super::choice::choice;
use super::code::Code;
use super::ids::EntryId;
use super::specimen::{Identity, Recovery};

choice! {
    /// Something done to, or found about, pieces.
    pub enum Handling {
        /// Looked at.
        Inspected = "inspected", "inspected";
        /// Water or medium topped up or renewed.
        ToppedUp = "topped_up", "topped up or renewed";
        /// Put into another holder of the same condition.
        Moved = "moved", "moved to another holder";
        /// Cleaned by the plan's protocol.
        Cleaned = "cleaned", "cleaned";
        /// Dried by the plan's protocol.
        Dried = "dried", "dried";
        /// Damaged, but still a piece.
        Damaged = "damaged", "damaged";
        /// Not found.
        Lost = "lost", "lost";
        /// Destroyed before its test.
        Destroyed = "destroyed", "destroyed before its test";
    }
}

impl Handling {
    /// Whether it needs a reason in words.
    #[must_use]
    pub fn needs_reason(self) -> bool {
        matches!(self, Self::Damaged | Self::Lost | Self::Destroyed)
    }
}

/// Several pieces put out at one time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PutOut {
    /// The pieces.
    pub specimens: Vec<Code>,
    /// When they were put out; it starts their clock.
    pub at: DateTime<Utc>,
    /// The date looked doubtful, was asked about, and was confirmed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub is_confirmed_doubt: bool,
}

/// One thing done to several pieces.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Handled {
    /// What was done or found.
    pub what: Handling,
    /// To which pieces.
    pub specimens: Vec<Code>,
    /// When.
    pub at: DateTime<Utc>,
    /// Into which holder (key of the plan), for a move.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub into_holder: Option<String>,
    /// The date looked doubtful, was asked about, and was confirmed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub is_confirmed_doubt: bool,
}

/// One recovered piece.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Recovered {
    /// Which piece.
    pub specimen: Code,
    /// In which state.
    pub recovery: Recovery,
    /// How it was identified.
    pub identity: Identity,
}

/// Several pieces taken in at one time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TakenIn {
    /// The pieces.
    pub pieces: Vec<Recovered>,
    /// When they were taken out of their condition; it stops their clock.
    pub at: DateTime<Utc>,
    /// The date looked doubtful, was asked about, and was confirmed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub is_confirmed_doubt: bool,
}

/// A piece whose mark is gone: only its holder, and so its condition and stage, is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NamelessFound {
    /// A new code given to it now.
    pub code: Code,
    /// The condition it was in (key of the plan).
    pub condition: String,
    /// The holder it was in (key of the plan).
    pub holder: String,
    /// The stage at which it was taken in, in days.
    pub stage_days: u32,
    /// In which state.
    pub recovery: Recovery,
    /// When.
    pub at: DateTime<Utc>,
}

impl NamelessFound {
    /// What is written on the bag of such a piece until its code is known: a question mark, which no
    /// code holds, and the last five hexadecimal digits of its entry's id.
    #[must_use]
    pub fn mark(entry: EntryId) -> String {
        let id = entry.0.as_simple().to_string().to_uppercase();
        let digits: String = id.chars().skip(27).collect();
        format!("?{digits}")
    }
}

/// What the steward decides about the pieces of a holder that something happened to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Decision {
    /// They stay in the study.
    Keep,
    /// Their exposure ends early.
    EndEarly,
}

/// Something that happened to a holder and so to every piece in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Incident {
    /// The holder (key of the plan).
    pub holder: String,
    /// From which day.
    pub from: NaiveDate,
    /// Until which day, when it is over.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<NaiveDate>,
    /// Into which holder the pieces went (key of the plan).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub into_holder: Option<String>,
    /// What the steward decided.
    pub decision: Decision,
}
