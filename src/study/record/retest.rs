//! Spares that took the place of pieces whose test was invalid, as the plan's rule lets them.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{ConsignmentRecord, PieceRecord, SpecimenRecord, StudyRecord};
use crate::study::allocation::Place;
use crate::study::break_test::Outcome;
use crate::study::code::Code;
use crate::study::consignment::{Arrival, ParcelState};

/// In whose place a spare was tested.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RetestRecord {
    /// The piece whose test was invalid.
    pub of: Code,
    /// The place that the allocation gave that piece.
    pub place: Place,
    /// Whether that test, and every one before it in whose place that piece stood, is still called invalid: a
    /// spare stands for nothing else.
    pub is_needed: bool,
    /// The spare that was drawn after this one was lost before its test: from then on that one stands there,
    /// also should this one turn up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaced_by: Option<Code>,
    /// Whether it was decided after that piece's results were unblinded.
    pub is_knowing_group: bool,
}

impl RetestRecord {
    /// Whether the spare's result counts in the place of that piece.
    #[must_use]
    pub fn counts(&self) -> bool {
        self.is_needed && self.replaced_by.is_none()
    }

    /// Which of the two pieces counts, in words.
    #[must_use]
    pub fn in_words(&self) -> String {
        let of = &self.of;
        match (&self.replaced_by, self.is_needed) {
            (Some(next), _) => format!(
                "in the place of {of}, but lost before its test: {next} stands there now, also should this one \
                 turn up"
            ),
            (None, true) => {
                format!("in the place of {of}, whose test is invalid: this one counts there")
            }
            (None, false) => format!(
                "nowhere: it was tested in the place of {of}, which counts itself now that no invalid test stands \
                 before this one"
            ),
        }
    }
}

impl SpecimenRecord {
    /// The place for which its results count: for a spare that of the piece for which it stands.
    #[must_use]
    pub fn counts_at(&self) -> Option<&Place> {
        match self.retest.as_ref().filter(|retest| retest.counts()) {
            Some(retest) => Some(&retest.place),
            None => self.place.as_ref(),
        }
    }
}

/// Every packed piece in the order of packing.
type Packed<'r> = Vec<(&'r ConsignmentRecord, &'r PieceRecord)>;

/// Says of each spare that was packed for it in whose place it was tested.
pub fn settle(specimens: &mut [SpecimenRecord], consignments: &[ConsignmentRecord]) {
    let pieces = consignments
        .iter()
        .flat_map(|one| one.pieces.iter().map(move |piece| (one, piece)));
    let packed: Packed<'_> = pieces.collect();
    let places: BTreeMap<Code, Place> = specimens
        .iter()
        .filter_map(|piece| Some((piece.code.clone(), piece.place.clone()?)))
        .collect();
    let by_code: BTreeMap<&Code, usize> = packed
        .iter()
        .enumerate()
        .map(|(at, (_, piece))| (&piece.specimen, at))
        .collect();
    for piece in specimens {
        let at = by_code.get(&piece.code);
        piece.retest = at.and_then(|at| retest(*at, (&packed, &by_code), &places));
    }
}

fn retest(
    at: usize,
    (packed, by_code): (&Packed<'_>, &BTreeMap<&Code, usize>),
    places: &BTreeMap<Code, Place>,
) -> Option<RetestRecord> {
    let found = |code: &Code| by_code.get(code).and_then(|at| packed.get(*at)).copied();
    let (own, piece) = *packed.get(at)?;
    let of = piece.retest_of.as_ref()?;
    let (first, _) = found(of)?;
    // A spare whose own test was invalid may have been repeated as well: the place is that of the first, and
    // only while every test up to it is invalid does this one stand there.
    let (mut root, mut is_needed) = (of, true);
    for _ in 0..packed.len() {
        let Some((one, before)) = found(root) else {
            break;
        };
        let test = one.test_of(&before.blind);
        is_needed &= test.is_some_and(|test| test.test.outcome == Outcome::Invalid);
        match &before.retest_of {
            Some(earlier) => root = earlier,
            None => break,
        }
    }
    let mut later = packed.iter().skip(at + 1);
    let next = later.find(|(_, other)| other.retest_of.as_ref() == Some(of));
    Some(RetestRecord {
        of: of.clone(),
        place: places.get(root)?.clone(),
        is_needed,
        replaced_by: next.map(|(_, next)| next.specimen.clone()),
        is_knowing_group: first.unblinded_at.is_some_and(|at| at <= own.packed_at),
    })
}

impl StudyRecord {
    /// The spares that took the place of an invalid test, with what is known of it.
    pub fn retests(&self) -> impl Iterator<Item = (&SpecimenRecord, &RetestRecord)> {
        let all = self.specimens.iter();
        all.filter_map(|piece| Some((piece, piece.retest.as_ref()?)))
    }

    /// The spare that stands in the place of a piece; `None` while there is none or the last one was lost before
    /// its test.
    #[must_use]
    pub fn repeated_on(&self, of: &Code) -> Option<&SpecimenRecord> {
        let mut own = self.retests().filter(|(_, retest)| retest.of == *of);
        let last = own.find(|(_, retest)| retest.replaced_by.is_none());
        let spare = last.map(|(spare, _)| spare);
        spare.filter(|spare| !self.is_lost_untested(&spare.code))
    }

    /// Whether a packed piece is lost before its test: its parcel was, or it was not in the box.
    fn is_lost_untested(&self, code: &Code) -> bool {
        let pieces = self
            .consignments
            .iter()
            .flat_map(|one| one.pieces.iter().map(move |piece| (one, piece)));
        let mut own = pieces.filter(|(_, piece)| piece.specimen == *code);
        own.next_back().is_some_and(|(one, piece)| {
            let has_ended = one.finished_at.is_some() || one.unblinded_at.is_some();
            let is_missing = piece.arrival == Some(Arrival::Missing) && has_ended;
            one.test_of(&piece.blind).is_none() && (is_missing || one.parcel == ParcelState::Lost)
        })
    }
}
