//! Rules about packing: which pieces may go together, and which spare may stand for an invalid test.

use super::Refusal;
use crate::study::allocation::Place;
use crate::study::consignment::{Consigned, Contents, Packed};
use crate::study::specimen::Whereabouts;
use crate::study::standing::{SpecimenStanding, Standing};

pub(super) fn consigned(packed: &Consigned, standing: &Standing) -> Result<(), Refusal> {
    if packed.pieces.is_empty() {
        return Err(Refusal::NoPieces);
    }
    let mut blinds: Vec<_> = packed.pieces.iter().map(|piece| &piece.blind).collect();
    blinds.sort();
    blinds.dedup();
    let mut repeated: Vec<_> = packed
        .pieces
        .iter()
        .filter_map(|p| p.retest_of.as_ref())
        .collect();
    let all = repeated.len();
    repeated.sort();
    repeated.dedup();
    if blinds.len() != packed.pieces.len() || repeated.len() != all {
        return Err(Refusal::WrongAllocation);
    }
    for piece in &packed.pieces {
        let specimen = standing.specimens.get(&piece.specimen);
        let specimen = specimen.ok_or_else(|| Refusal::NoSuchSpecimen(piece.specimen.clone()))?;
        let place = match &piece.retest_of {
            Some(_) => retested(piece, specimen, standing)?,
            None => specimen
                .place
                .as_ref()
                .ok_or_else(|| Refusal::NotAllocated(piece.specimen.clone()))?,
        };
        if !packed.contents.holds(place) {
            return Err(Refusal::MixedContents);
        }
        let is_from_stage = matches!(packed.contents, Contents::Stage { .. });
        let whereabouts = match is_from_stage && piece.retest_of.is_none() {
            true => Whereabouts::In,
            false => Whereabouts::Bench,
        };
        if specimen.whereabouts != whereabouts {
            return Err(Refusal::Elsewhere(
                piece.specimen.clone(),
                specimen.whereabouts,
            ));
        }
    }
    Ok(())
}

/// The place at which a spare stands for an invalid test, when the plan's rule lets it.
fn retested<'s>(
    piece: &Packed,
    spare: &SpecimenStanding,
    standing: &'s Standing,
) -> Result<&'s Place, Refusal> {
    let refused = |why| Refusal::NoRetest(piece.specimen.clone(), why);
    let plan = standing
        .study
        .as_ref()
        .and_then(|study| study.plan.as_ref());
    let (_, plan) = plan.ok_or(Refusal::NoPlan)?;
    let rule = plan.retests;
    let rule = rule.ok_or_else(|| refused("by the plan no test is repeated"))?;
    let of = standing.retests.get(&piece.specimen);
    let of = of.ok_or_else(|| refused("there is no such piece"))?;
    let place = of.place.as_ref().filter(|place| rule.allows(plan, place));
    let place = place.ok_or_else(|| refused("the plan repeats no test of that set"))?;
    let (one, other) = (&of.batch, &of.spare_batch);
    if spare.place != Some(Place::Spare) {
        Err(refused("it is no spare"))
    } else if !of.is_invalid || !of.has_ended {
        Err(refused(
            "that piece has no invalid test in a finished consignment",
        ))
    } else if of.is_replaced {
        Err(refused("another spare stands where that piece stood"))
    } else if of.is_repeated {
        Err(refused("that test was repeated already"))
    } else if !rule.is_one_batch((&one.0, &one.1), (&other.0, &other.1)) {
        Err(refused("they are not of one batch"))
    } else {
        Ok(place)
    }
}
