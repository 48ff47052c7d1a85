//! What is on record about drying.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::{Standing, StudyRecord};
use crate::study::code::Code;
use crate::study::drying::{DryingState, DryingWeighing, Weighing, judge};
use crate::study::ids::EntryId;
use crate::study::reading::Occasion;

/// The drying of a study's pieces.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct DryingRecord {
    /// Every weighing, also void ones, in the order of their times.
    pub weighings: Vec<WeighingRecord>,
    /// Every override that counts.
    pub overrides: Vec<OverrideRecord>,
}

/// A weighing as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WeighingRecord {
    /// Its entry.
    pub entry: EntryId,
    /// The weighing.
    pub weighing: DryingWeighing,
    /// Whether it counts.
    pub standing: Standing,
    /// The remark.
    pub note: Option<String>,
}

/// An override for one piece.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OverrideRecord {
    /// Its entry.
    pub entry: EntryId,
    /// The piece.
    pub specimen: Code,
    /// For its mass before or after the exposure.
    pub occasion: Occasion,
    /// Why.
    pub reason: String,
    /// When.
    pub at: DateTime<Utc>,
}

impl StudyRecord {
    /// The weighings of a piece that count, in the order of their times.
    pub fn drying_of(
        &self,
        code: &Code,
        occasion: Occasion,
    ) -> impl Iterator<Item = &WeighingRecord> {
        self.drying.weighings.iter().filter(move |found| {
            found.standing == Standing::Current
                && found.weighing.specimen == *code
                && found.weighing.occasion == occasion
        })
    }

    /// The same as the rule needs them.
    #[must_use]
    pub fn weighings_of(&self, code: &Code, occasion: Occasion) -> Vec<Weighing> {
        let found = self.drying_of(code, occasion);
        let weighing = |found: &WeighingRecord| {
            let weighing = &found.weighing;
            let balance = self
                .instruments
                .iter()
                .find(|i| i.id == weighing.instrument);
            Weighing {
                at: weighing.at,
                mass_g: weighing.mass_g,
                readability_g: balance.map_or(0.0, |balance| balance.readability),
            }
        };
        found.map(weighing).collect()
    }

    /// Where the drying of a piece stands; `None` when the plan has no drying round.
    #[must_use]
    pub fn drying_state(
        &self,
        code: &Code,
        occasion: Occasion,
        now: DateTime<Utc>,
    ) -> Option<DryingState> {
        let plan = &self.plan()?.plan;
        let rule = &plan.drying.as_ref()?.rule;
        let weighings = self.weighings_of(code, occasion);
        Some(judge(rule, plan.mass.margin_percent, &weighings, now))
    }

    /// The override that holds for a piece.
    #[must_use]
    pub fn drying_override(&self, code: &Code, occasion: Occasion) -> Option<&OverrideRecord> {
        let mut overrides = self.drying.overrides.iter();
        overrides.find(|found| found.specimen == *code && found.occasion == occasion)
    }
}
