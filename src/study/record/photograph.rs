//! A study's photographs as they stand, and which of them the world may see.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::{Standing, StudyRecord};
use crate::study::code::Code;
use crate::study::ids::EntryId;
use crate::study::photograph::{Photograph, View};

/// A photograph as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PhotographRecord {
    /// Its entry.
    pub entry: EntryId,
    /// What it shows, and its files. The frame is the one that was said last.
    pub photograph: Photograph,
    /// When it was taken, by the device's clock.
    pub taken_at: DateTime<Utc>,
    /// Whether it counts.
    pub standing: Standing,
    /// Whether the steward released it for the public page.
    pub is_released: bool,
    /// Whether its files were erased.
    pub is_erased: bool,
    /// The remark.
    pub note: Option<String>,
}

impl PhotographRecord {
    /// Whether there is something to look at.
    #[must_use]
    pub fn is_there(&self) -> bool {
        self.standing == Standing::Current && !self.is_erased
    }

    /// Whether it shows a piece.
    #[must_use]
    pub fn shows(&self, code: &Code) -> bool {
        self.photograph.described.specimens.contains(code)
    }

    /// When in the piece's life.
    #[must_use]
    pub fn view(&self) -> View {
        self.photograph.described.view
    }
}

impl StudyRecord {
    /// A photograph.
    #[must_use]
    pub fn photograph(&self, entry: EntryId) -> Option<&PhotographRecord> {
        self.photographs.iter().find(|photo| photo.entry == entry)
    }

    /// The photographs of a piece that can be looked at, oldest first.
    pub fn photographs_of(&self, code: &Code) -> impl Iterator<Item = &PhotographRecord> {
        let shown = self.photographs.iter().filter(|photo| photo.is_there());
        shown.filter(|photo| photo.shows(code))
    }

    /// Whether showing a photograph would keep everybody blind: each of its pieces was in a
    /// consignment that is unblinded, and none is in one that is not.
    #[must_use]
    pub fn is_unblinded(&self, photo: &PhotographRecord) -> bool {
        let blind = self.blind_specimens();
        let is_open = |code: &Code| {
            let open = self.consignments.iter().filter(|one| !one.is_blind());
            let mut pieces = open.flat_map(|one| &one.pieces);
            pieces.any(|piece| piece.specimen == *code) && !blind.contains(code)
        };
        photo.photograph.described.specimens.iter().all(is_open)
    }

    /// The photographs that the world may see: released, and not before their pieces' results.
    pub fn public_photographs(&self) -> impl Iterator<Item = &PhotographRecord> {
        let released = self.photographs.iter().filter(|photo| photo.is_released);
        released.filter(|photo| photo.is_there() && self.is_unblinded(photo))
    }
}
