//! Rules about the lab's own record and about what came of a parcel.

use super::Refusal;
use crate::study::entry::{Actor, Entry, Envelope};
use crate::study::equipment::{EquipmentKept, Used};
use crate::study::ids::ConsignmentId;
use crate::study::receipt::{About, ArrivalPhotograph};
use crate::study::standing::ConsignmentStanding;

/// More pieces than a parcel holds.
const MOST_COUNTED: u32 = 9999;
/// The longest number of a seal, in characters.
const LONGEST_NUMBER: usize = 300;

/// The rules for entries about equipment and arrival; `None` when the entry is another kind.
pub(super) fn check(
    envelope: &Envelope,
    consignment: &ConsignmentStanding,
) -> Option<Result<(), Refusal>> {
    Some(match &envelope.entry {
        Entry::LabLinked {
            consignment: this,
            same_as,
        } => linked(*this, *same_as, consignment),
        Entry::ParcelSealed { number, .. } => {
            let length = number.trim().chars().count();
            if (1..=LONGEST_NUMBER).contains(&length) {
                Ok(())
            } else {
                Err(Refusal::Impossible)
            }
        }
        Entry::EquipmentKept(kept) => {
            let is_tester = matches!(envelope.actor, Actor::Link(_));
            if is_tester && kept.origin.is_some() {
                return Some(Err(Refusal::NotYours));
            }
            writable(envelope, consignment).and_then(|()| equipment(kept, consignment))
        }
        Entry::SetUpBrought(brought) => used(&brought.session.used, consignment),
        Entry::ReceiptNoted(receipt) => writable(envelope, consignment).and_then(|()| {
            if receipt.count <= MOST_COUNTED
                && receipt.seal_number.chars().count() <= LONGEST_NUMBER
            {
                Ok(())
            } else {
                Err(Refusal::Impossible)
            }
        }),
        Entry::ArrivalPhotographed(photograph) => {
            writable(envelope, consignment).and_then(|()| photographed(photograph, consignment))
        }
        Entry::TransitLogged(transit) => writable(envelope, consignment).and_then(|()| {
            if transit.is_sound() {
                Ok(())
            } else {
                Err(Refusal::Impossible)
            }
        }),
        Entry::DifferenceSettled { about, .. } => {
            writable(envelope, consignment).and_then(|()| differs(about, consignment))
        }
        _ => return None,
    })
}

/// The steward writes at any time, the tester until the end.
fn writable(envelope: &Envelope, consignment: &ConsignmentStanding) -> Result<(), Refusal> {
    match envelope.actor {
        Actor::Link(_) => super::lab::open(consignment),
        _ => Ok(()),
    }
}

fn linked(
    this: ConsignmentId,
    same_as: Option<ConsignmentId>,
    consignment: &ConsignmentStanding,
) -> Result<(), Refusal> {
    let Some(other) = same_as else {
        return Ok(());
    };
    let root = consignment.labs.get(&other);
    let root = root.ok_or(Refusal::NoSuchConsignment)?;
    // Where the other's lab is known by this very one, they are the same already.
    if other == this || *root == this {
        Err(Refusal::SameLab)
    } else {
        Ok(())
    }
}

fn equipment(kept: &EquipmentKept, consignment: &ConsignmentStanding) -> Result<(), Refusal> {
    if !kept.equipment.is_sound() || kept.replaces.is_some() != kept.change.is_some() {
        return Err(Refusal::Impossible);
    }
    let Some(before) = kept.replaces else {
        return Ok(());
    };
    let before = consignment.equipment.get(&before);
    let before = before.ok_or(Refusal::NoSuchEquipment)?;
    if before.is_current {
        Ok(())
    } else {
        Err(Refusal::AlreadySuperseded)
    }
}

/// A session uses what is in its lab's record.
pub(super) fn used(used: &Used, consignment: &ConsignmentStanding) -> Result<(), Refusal> {
    let is_there = |item| consignment.equipment.values().any(|one| one.item == item);
    if used.items().all(is_there) {
        Ok(())
    } else {
        Err(Refusal::NoSuchEquipment)
    }
}

fn photographed(
    photograph: &ArrivalPhotograph,
    consignment: &ConsignmentStanding,
) -> Result<(), Refusal> {
    let is_known = |blind| consignment.pieces.contains_key(blind);
    if !photograph.files.is_sound() {
        Err(Refusal::Impossible)
    } else if photograph.blinds.iter().all(is_known) {
        Ok(())
    } else {
        Err(Refusal::NoSuchPiece)
    }
}

fn differs(about: &About, consignment: &ConsignmentStanding) -> Result<(), Refusal> {
    match about {
        About::Count | About::Seal if consignment.has_receipt => Ok(()),
        About::Count | About::Seal => Err(Refusal::NothingDiffers),
        About::Piece(blind) => {
            let piece = consignment.pieces.get(blind).ok_or(Refusal::NoSuchPiece)?;
            if piece.arrived_otherwise {
                Ok(())
            } else {
                Err(Refusal::NothingDiffers)
            }
        }
    }
}
