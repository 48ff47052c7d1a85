//! The figures that others published, as the record holds them.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::{Standing, StudyRecord};
use crate::study::ids::EntryId;
use crate::study::literature::CitedFigure;

/// A published figure as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CitedRecord {
    /// Its entry.
    pub entry: EntryId,
    /// The figure.
    pub figure: CitedFigure,
    /// When the server received it.
    pub received_at: DateTime<Utc>,
    /// Whether it counts.
    pub standing: Standing,
}

impl StudyRecord {
    /// The published figures that count, in the order in which they were entered.
    pub fn current_cited(&self) -> impl Iterator<Item = &CitedRecord> {
        let all = self.cited.iter();
        all.filter(|cited| cited.standing == Standing::Current)
    }
}
