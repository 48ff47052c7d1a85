//! The chain of custody of a piece as one line of dates.

use chrono::{DateTime, NaiveTime, TimeZone, Utc};

use crate::study::code::Code;
use crate::study::consignment::{Arrival, ParcelState};
use crate::study::reading::{Occasion, Quantity};
use crate::study::record::{ConsignmentRecord, PieceRecord, SpecimenRecord, StudyRecord};
use crate::study::when;

/// One thing that the line names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// What happened, as a key for tables.
    pub key: &'static str,
    /// What happened, in words.
    pub what: String,
    /// When.
    pub at: DateTime<Utc>,
}

fn step(key: &'static str, what: impl Into<String>, at: DateTime<Utc>) -> Step {
    Step {
        key,
        what: what.into(),
        at,
    }
}

/// The line in words: "made 3 March 2026 · weighed 4 March 2026 · …".
#[must_use]
pub fn in_words(steps: &[Step], zone: &str) -> String {
    let words = steps
        .iter()
        .map(|step| format!("{} {}", step.what, when::day_in_words(step.at, zone)));
    words.collect::<Vec<_>>().join(" · ")
}

/// Everything about a piece. When it was tested stands there only for consignments that are unblinded.
#[must_use]
pub fn of(record: &StudyRecord, specimen: &SpecimenRecord) -> Vec<Step> {
    let mut steps = at_the_bench(record, specimen);
    for consignment in &record.consignments {
        let pieces = consignment.pieces.iter();
        for piece in pieces.filter(|piece| piece.specimen == specimen.code) {
            steps.extend(with_the_lab(consignment, piece, !consignment.is_blind()));
        }
    }
    steps
}

fn at_the_bench(record: &StudyRecord, specimen: &SpecimenRecord) -> Vec<Step> {
    let mut steps = Vec::new();
    if let Some(at) = specimen.made_at {
        let what = if specimen.is_nameless {
            "found without its mark"
        } else {
            "made"
        };
        steps.push(step("made", what, at));
    }
    if let Some(at) = weighed(record, &specimen.code, Occasion::Before) {
        steps.push(step("weighed", "weighed", at));
    }
    if let Some(at) = specimen.out_at {
        steps.push(step("put_out", "put out", at));
    }
    if let Some(at) = specimen.in_at {
        steps.push(step("taken_in", "taken in", at));
    }
    if let Some(at) = weighed(record, &specimen.code, Occasion::After) {
        steps.push(step("weighed_again", "weighed again", at));
    }
    steps
}

/// When its mass was first read on an occasion.
fn weighed(record: &StudyRecord, code: &Code, occasion: Occasion) -> Option<DateTime<Utc>> {
    let own = record
        .current_readings()
        .filter(|found| found.reading.specimen == *code && found.reading.occasion == occasion);
    let of_mass =
        |found: &&crate::study::record::ReadingRecord| found.reading.quantity == Quantity::Mass;
    own.filter(of_mass).map(|found| found.taken_at).min()
}

/// The part of the line that concerns the consignment. `tells_tests` is whether it may say when the
/// piece was tested: to its tester always, to others after unblinding.
#[must_use]
pub fn with_the_lab(
    consignment: &ConsignmentRecord,
    piece: &PieceRecord,
    tells_tests: bool,
) -> Vec<Step> {
    let mut steps = vec![step("packed", "packed", consignment.packed_at)];
    let mut after = Vec::new();
    let receipt = consignment.custody.receipt.as_ref();
    for (state, at) in &consignment.way {
        match state {
            ParcelState::Packed => {}
            // The lab's own word on it counts for more.
            ParcelState::Received if receipt.is_some() => {}
            ParcelState::Received => steps.push(received(piece, *at)),
            ParcelState::HandedOver | ParcelState::Held | ParcelState::Lost => {
                steps.push(step(state.key(), state.label(), *at));
            }
            ParcelState::Returned | ParcelState::Discarded => {
                after.push(step(state.key(), state.label(), *at));
            }
        }
    }
    steps.extend(receipt.map(|receipt| received(piece, receipt.at)));
    let test = consignment.test_of(&piece.blind).filter(|_| tells_tests);
    if let Some(test) = test {
        let day = consignment
            .session_of(test)
            .map(|session| session.tested_on);
        let noon = day.map(|day| Utc.from_utc_datetime(&day.and_time(NOON)));
        steps.push(step("tested", "tested", noon.unwrap_or(test.received_at)));
    }
    let is_there = piece.arrival != Some(Arrival::Missing);
    steps.extend(after.into_iter().filter(|_| is_there));
    steps
}

/// A day without an hour counts from noon.
const NOON: NaiveTime = match NaiveTime::from_hms_opt(12, 0, 0) {
    Some(noon) => noon,
    None => NaiveTime::MIN,
};

fn received(piece: &PieceRecord, at: DateTime<Utc>) -> Step {
    match piece.arrival {
        Some(Arrival::Missing) => step("not_received", "not in the box", at),
        _ => step("received", "received", at),
    }
}
