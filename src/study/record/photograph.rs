//! A study's photographs as they stand, and which of them the world may see.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::{Standing, StudyRecord};
use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::ids::EntryId;
use crate::study::photograph::{Photograph, View};
use crate::study::specimen::Whereabouts;

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

    /// Whether it shows a holder.
    #[must_use]
    pub fn shows_holder(&self, key: &str) -> bool {
        self.photograph.described.holder.as_deref() == Some(key)
    }

    /// Whether it shows the study as a whole: attached to no piece and no holder.
    #[must_use]
    pub fn is_of_whole(&self) -> bool {
        self.photograph.described.is_of_whole()
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

    /// The photographs of a holder that can be looked at, oldest first.
    pub fn photographs_of_holder(&self, key: &str) -> impl Iterator<Item = &PhotographRecord> {
        let shown = self.photographs.iter().filter(|photo| photo.is_there());
        shown.filter(move |photo| photo.shows_holder(key))
    }

    /// The photographs of the study as a whole that can be looked at, oldest first.
    pub fn photographs_of_whole(&self) -> impl Iterator<Item = &PhotographRecord> {
        let shown = self.photographs.iter().filter(|photo| photo.is_there());
        shown.filter(|photo| photo.is_of_whole())
    }

    /// Those of them that the world may see, also before there are results: their release rests on the
    /// steward's word that no piece can be told in them.
    pub fn public_photographs_of_whole(&self) -> impl Iterator<Item = &PhotographRecord> {
        let released = self.public_photographs();
        released.filter(|photo| photo.is_of_whole())
    }

    /// What the steward wrote of a photograph of the study as a whole, to stand beside it in public; plain
    /// words where that would name a piece, or nothing was written.
    #[must_use]
    pub fn words_of_whole<'r>(&'r self, photo: &'r PhotographRecord) -> &'r str {
        let plain = photo.view().label();
        let note = photo.note.as_deref().map(str::trim).unwrap_or_default();
        let high = note.to_uppercase();
        let packed = self.consignments.iter().flat_map(|one| &one.pieces);
        let names_one = self
            .specimens
            .iter()
            .any(|piece| high.contains(piece.code.as_str()))
            || packed
                .into_iter()
                .any(|piece| high.contains(piece.blind.as_str()));
        match note.is_empty() || names_one {
            true => plain,
            false => note,
        }
    }

    /// Whether showing a photograph would keep everybody blind: each of its pieces was in a
    /// consignment that is unblinded, and none is in one that is not. A holder's photograph shows
    /// whatever was in it, and pieces are moved among the holders of a condition: so it waits for every
    /// piece of the condition that can still be tested.
    #[must_use]
    pub fn is_unblinded(&self, photo: &PhotographRecord) -> bool {
        let described = &photo.photograph.described;
        let holder = described.holder.as_deref();
        let is_open = |code: &Code| self.is_piece_open(code);
        described.specimens.iter().all(is_open) && holder.is_none_or(|key| self.is_holder_open(key))
    }

    fn is_piece_open(&self, code: &Code) -> bool {
        let open = self.consignments.iter().filter(|one| !one.is_blind());
        let mut pieces = open.flat_map(|one| &one.pieces);
        pieces.any(|piece| piece.specimen == *code) && !self.blind_specimens().contains(code)
    }

    fn is_holder_open(&self, key: &str) -> bool {
        use Whereabouts::{Destroyed, Lost, Rejected};
        let plan = self.plan().map(|version| &version.plan);
        let Some((condition, _)) = plan.and_then(|plan| plan.holder(key)) else {
            return false;
        };
        let blind = self.blind_specimens();
        let is_in = |place: Option<&Place>| matches!(place, Some(Place::Exposed { condition: own, .. }) if *own == condition.key);
        let mut pieces = self
            .specimens
            .iter()
            .filter(|piece| is_in(piece.place.as_ref()));
        let is_open = |piece: &super::SpecimenRecord| {
            let is_gone = matches!(piece.whereabouts, Lost | Destroyed | Rejected);
            self.is_piece_open(&piece.code) || (is_gone && !blind.contains(&piece.code))
        };
        let has_any = pieces.clone().next().is_some();
        has_any && pieces.all(is_open)
    }

    /// The photographs that the world may see: released, and not before their pieces' results.
    pub fn public_photographs(&self) -> impl Iterator<Item = &PhotographRecord> {
        let released = self.photographs.iter().filter(|photo| photo.is_released);
        released.filter(|photo| photo.is_there() && self.is_unblinded(photo))
    }
}
