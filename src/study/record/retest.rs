//! Spares that took the place of pieces whose test was invalid, as the plan's rule lets them.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{ConsignmentRecord, PieceRecord, SpecimenRecord, StudyRecord};
use crate::study::allocation::Place;
use crate::study::break_test::Outcome;
use crate::study::code::Code;

/// In whose place a spare was tested.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RetestRecord {
    /// The piece whose test was invalid.
    pub of: Code,
    /// The place that the allocation gave that piece.
    pub place: Place,
    /// Whether that test is still called invalid: a spare stands for nothing else.
    pub is_needed: bool,
    /// Whether it was decided after that piece's results were unblinded.
    pub is_knowing_group: bool,
}

impl SpecimenRecord {
    /// The place for which its results count: for a spare that of the piece for which it stands.
    #[must_use]
    pub fn counts_at(&self) -> Option<&Place> {
        match self.retest.as_ref().filter(|retest| retest.is_needed) {
            Some(retest) => Some(&retest.place),
            None => self.place.as_ref(),
        }
    }
}

type Packed<'r> = BTreeMap<&'r Code, (&'r ConsignmentRecord, &'r PieceRecord)>;

/// Says of each spare that was packed for it in whose place it was tested.
pub fn settle(specimens: &mut [SpecimenRecord], consignments: &[ConsignmentRecord]) {
    let pieces = consignments
        .iter()
        .flat_map(|one| one.pieces.iter().map(move |piece| (one, piece)));
    let packed: Packed<'_> = pieces
        .map(|(one, piece)| (&piece.specimen, (one, piece)))
        .collect();
    let places: BTreeMap<Code, Place> = specimens
        .iter()
        .filter_map(|piece| Some((piece.code.clone(), piece.place.clone()?)))
        .collect();
    for piece in specimens {
        let found = packed.get(&piece.code).copied();
        piece.retest = found.and_then(|found| retest(found, &packed, &places));
    }
}

fn retest(
    (own, piece): (&ConsignmentRecord, &PieceRecord),
    packed: &Packed<'_>,
    places: &BTreeMap<Code, Place>,
) -> Option<RetestRecord> {
    let of = piece.retest_of.as_ref()?;
    let (first, tested) = packed.get(of)?;
    let test = first.test_of(&tested.blind);
    // A spare whose own test was invalid may have been repeated as well: the place is that of the first.
    let mut root = of;
    for _ in 0..packed.len() {
        match packed.get(root).and_then(|(_, p)| p.retest_of.as_ref()) {
            Some(earlier) => root = earlier,
            None => break,
        }
    }
    Some(RetestRecord {
        of: of.clone(),
        place: places.get(root)?.clone(),
        is_needed: test.is_some_and(|test| test.test.outcome == Outcome::Invalid),
        is_knowing_group: first.unblinded_at.is_some_and(|at| at <= own.packed_at),
    })
}

impl StudyRecord {
    /// The spares that took the place of an invalid test, with what is known of it.
    pub fn retests(&self) -> impl Iterator<Item = (&SpecimenRecord, &RetestRecord)> {
        let all = self.specimens.iter();
        all.filter_map(|piece| Some((piece, piece.retest.as_ref()?)))
    }
}
