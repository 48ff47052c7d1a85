//! When places may be dealt to pieces, and whether they fit the plan.

use super::Refusal;
use super::pieces::{find, is_at};
use crate::study::allocation::{Place, Placed};
use crate::study::specimen::Whereabouts;
use crate::study::standing::{Standing, StudyStanding};

/// The rows of a draw, or of a grouping that was reported.
pub(super) fn allocated(
    rows: &[Placed],
    standing: &Standing,
    study: &StudyStanding,
) -> Result<(), Refusal> {
    let (_, plan) = study.plan.as_ref().ok_or(Refusal::NoPlan)?;
    if rows.is_empty() {
        return Err(Refusal::NoPieces);
    }
    if !study.is_after_the_fact && (study.is_sealed || study.is_out || study.is_consigned) {
        return Err(Refusal::AllocationInUse);
    }
    for row in rows {
        let piece = find(&row.specimen, standing)?;
        if !study.is_after_the_fact {
            is_at(&row.specimen, piece, &[Whereabouts::Bench])?;
        } else if piece.whereabouts != Whereabouts::Bench && piece.place.is_some() {
            return Err(Refusal::AllocationInUse);
        }
        if let Place::Exposed {
            condition,
            stage_days,
            holder,
        } = &row.place
        {
            let fits = plan.stage(*stage_days).is_some()
                && plan
                    .holder(holder)
                    .is_some_and(|(c, _)| c.key == *condition);
            if !fits {
                return Err(Refusal::WrongAllocation);
            }
        }
    }
    Ok(())
}
