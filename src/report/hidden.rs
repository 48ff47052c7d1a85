//! What nobody may read yet in a public page or file, and whether words that somebody wrote name it.

use std::collections::BTreeSet;

use crate::study::allocation::Place;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::Whereabouts;

/// The codes of pieces that the findings do not tell of, and codes and ids of consignments that are still
/// blind. Spare and rejected pieces never come into findings; they are hidden only while something else is,
/// since an allocation names them all.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Hidden(BTreeSet<String>);

impl Hidden {
    /// What is hidden of a study while only the pieces of these codes may be looked at.
    #[must_use]
    pub fn of(record: &StudyRecord, told: &BTreeSet<&str>) -> Self {
        let is_apart = |piece: &SpecimenRecord| {
            let is_allocated = piece
                .place
                .as_ref()
                .is_some_and(|place| !matches!(place, Place::Spare));
            piece.whereabouts == Whereabouts::Rejected || !is_allocated
        };
        let untold = record.specimens.iter();
        let (apart, awaited): (Vec<&SpecimenRecord>, Vec<&SpecimenRecord>) = untold
            .filter(|piece| !told.contains(piece.code.as_str()))
            .partition(|piece| is_apart(piece));
        let mut hidden: BTreeSet<String> =
            awaited.iter().map(|piece| piece.code.to_string()).collect();
        for consignment in record.consignments.iter().filter(|c| c.is_blind()) {
            hidden.insert(consignment.id.to_string());
            hidden.extend(
                consignment
                    .pieces
                    .iter()
                    .map(|piece| piece.blind.to_string()),
            );
            hidden.extend(
                consignment
                    .pieces
                    .iter()
                    .map(|piece| piece.specimen.to_string()),
            );
        }
        if !hidden.is_empty() {
            hidden.extend(apart.iter().map(|piece| piece.code.to_string()));
        }
        Self(hidden.iter().map(|name| name.to_uppercase()).collect())
    }

    /// Whether these words name something hidden, in whatever letters.
    #[must_use]
    pub fn is_named_in(&self, words: &str) -> bool {
        let words = words.to_uppercase();
        self.0.iter().any(|secret| words.contains(secret))
    }
}
