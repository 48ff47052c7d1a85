//! Rules about consignments: arriving, testing, finishing, unblinding.

use super::{Refusal, custody, packing, pieces};
use crate::study::break_test::{BreakTest, Outcome};
use crate::study::code::BlindCode;
use crate::study::consignment::Arrival;
use crate::study::entry::{Actor, Entry, Envelope};
use crate::study::standing::{ConsignmentStanding, PieceStanding, Standing};

/// The rules for entries that name a consignment.
pub(super) fn check(envelope: &Envelope, standing: &Standing) -> Result<(), Refusal> {
    let entry = &envelope.entry;
    match entry {
        Entry::Consigned(packed) => return packing::consigned(packed, standing),
        Entry::LinkExtended { .. } | Entry::LinkRevoked { .. } => {
            return standing
                .link
                .as_ref()
                .map(|_| ())
                .ok_or(Refusal::NoSuchLink);
        }
        _ if entry.consignment().is_none() => return Ok(()),
        _ => {}
    }
    let consignment = standing
        .consignment
        .as_ref()
        .ok_or(Refusal::NoSuchConsignment)?;
    if let Some(answer) = custody::check(envelope, consignment) {
        return answer;
    }
    match entry {
        Entry::Arrived { blind, arrival, .. } => {
            open(consignment)?;
            let piece = consignment.pieces.get(blind).ok_or(Refusal::NoSuchPiece)?;
            let is_contrary = *arrival == Arrival::Missing && piece.test.is_some();
            if is_contrary {
                Err(Refusal::AlreadyTested)
            } else {
                Ok(())
            }
        }
        Entry::SessionSet(session) => {
            open(consignment)?;
            custody::used(&session.used, consignment)
        }
        Entry::Guessed { blind, .. } => known_piece(consignment, blind),
        Entry::CurveKept(curve) => known_piece(consignment, &curve.blind),
        Entry::BreakTested(test) => {
            open(consignment)?;
            let piece = tested_piece(test, consignment)?;
            if piece.test.is_some() {
                return Err(Refusal::AlreadyTested);
            }
            in_order(test, piece, consignment)
        }
        Entry::BreakTestCorrected { test, .. } => corrected(envelope, test, consignment, standing),
        Entry::Finished { .. } => finished(consignment),
        Entry::Reopened { .. } if consignment.is_unblinded => Err(Refusal::AlreadyUnblinded),
        Entry::Reopened { .. } if !consignment.is_finished => Err(Refusal::NotFinished),
        Entry::Unblinded { .. } if consignment.is_unblinded => Err(Refusal::AlreadyUnblinded),
        Entry::Unblinded { .. } if !consignment.is_finished && envelope.note.is_none() => {
            Err(Refusal::NotFinished)
        }
        _ => Ok(()),
    }
}

/// Whether the tester may still write.
pub(super) fn open(consignment: &ConsignmentStanding) -> Result<(), Refusal> {
    match (consignment.is_unblinded, consignment.is_finished) {
        (true, _) => Err(Refusal::AlreadyUnblinded),
        (false, true) => Err(Refusal::AlreadyFinished),
        (false, false) => Ok(()),
    }
}

/// What may be said of any piece of an open consignment.
fn known_piece(consignment: &ConsignmentStanding, blind: &BlindCode) -> Result<(), Refusal> {
    open(consignment)?;
    let piece = consignment.pieces.get(blind);
    piece.map(|_| ()).ok_or(Refusal::NoSuchPiece)
}

fn tested_piece<'c>(
    test: &BreakTest,
    consignment: &'c ConsignmentStanding,
) -> Result<&'c PieceStanding, Refusal> {
    let piece = consignment
        .pieces
        .get(&test.blind)
        .ok_or(Refusal::NoSuchPiece)?;
    if piece.is_missing {
        return Err(Refusal::NotArrived);
    }
    let needs_load = matches!(test.outcome, Outcome::Valid | Outcome::LowerBound);
    let read = [test.max_load_n, test.energy_j];
    let is_possible = |value: &f64| value.is_finite() && (0.0..1e9).contains(value);
    if !read.iter().flatten().all(is_possible) {
        Err(Refusal::Impossible)
    } else if test.failure.as_ref().is_some_and(|f| !f.is_whole()) {
        Err(Refusal::SharesNotWhole)
    } else if needs_load && read.iter().all(Option::is_none) {
        Err(Refusal::LoadMissing)
    } else {
        Ok(piece)
    }
}

fn in_order(
    test: &BreakTest,
    piece: &PieceStanding,
    consignment: &ConsignmentStanding,
) -> Result<(), Refusal> {
    let is_passed_over = consignment
        .pieces
        .values()
        .any(|other| other.position < piece.position && other.test.is_none() && !other.is_missing);
    if is_passed_over && !test.is_out_of_order {
        Err(Refusal::OutOfOrder)
    } else {
        Ok(())
    }
}

/// Until it is finished the tester corrects; after unblinding only a steward, and the correction
/// carries that it was made knowing the group.
fn corrected(
    envelope: &Envelope,
    test: &BreakTest,
    consignment: &ConsignmentStanding,
    standing: &Standing,
) -> Result<(), Refusal> {
    if matches!(envelope.actor, Actor::Link(_)) || !consignment.is_unblinded {
        open(consignment)?;
    }
    tested_piece(test, consignment)?;
    pieces::supersedes(standing, "break_test", test.blind.as_str())
}

fn finished(consignment: &ConsignmentStanding) -> Result<(), Refusal> {
    open(consignment)?;
    let present = || {
        consignment
            .pieces
            .values()
            .filter(|piece| !piece.is_missing)
    };
    let untested = present().filter(|piece| piece.test.is_none()).count();
    if untested > 0 {
        return Err(Refusal::TestsMissing(untested));
    }
    let unseen = present().filter(|piece| !piece.is_guessed).count();
    if unseen > 0 {
        Err(Refusal::LooksMissing(unseen))
    } else {
        Ok(())
    }
}
