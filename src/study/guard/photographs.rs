//! Rules about photographs: what one must be, and when the world may see it.

use super::Refusal;
use crate::study::entry::Entry;
use crate::study::photograph::is_frame;
use crate::study::record;
use crate::study::standing::{PhotographStanding, Standing, StudyStanding};

/// The rules for entries about photographs.
pub(super) fn check(
    entry: &Entry,
    standing: &Standing,
    study: &StudyStanding,
) -> Result<(), Refusal> {
    match entry {
        Entry::PhotographTaken { photograph } => {
            let described = &photograph.described;
            match &described.holder {
                None => {}
                Some(key) => {
                    let (_, plan) = study.plan.as_ref().ok_or(Refusal::NoPlan)?;
                    plan.holder(key).ok_or(Refusal::NoSuchHolder)?;
                }
            }
            if !described.is_sound() {
                return Err(Refusal::NoPieces);
            }
            if !photograph.files.is_sound() || !described.frame_mm.is_none_or(is_frame) {
                return Err(Refusal::Impossible);
            }
            Ok(())
        }
        Entry::PhotographScaled { frame_mm, .. } => {
            there(standing)?;
            if is_frame(*frame_mm) {
                Ok(())
            } else {
                Err(Refusal::Impossible)
            }
        }
        Entry::PhotographReleased { shows_no_piece, .. } => {
            let photo = there(standing)?;
            if photo.is_released {
                Err(Refusal::AlreadySuperseded)
            } else if photo.is_of_whole && !shows_no_piece {
                Err(Refusal::NotLookedAt)
            } else if photo.is_blind {
                Err(Refusal::StillBlind)
            } else {
                Ok(())
            }
        }
        Entry::PhotographWithheld { .. } => match there(standing)?.is_released {
            true => Ok(()),
            false => Err(Refusal::AlreadySuperseded),
        },
        Entry::PhotographErased { .. } => {
            let photo = standing.photograph.ok_or(Refusal::NoSuchEntry)?;
            if photo.is_erased {
                Err(Refusal::NothingToErase)
            } else {
                Ok(())
            }
        }
        _ => Ok(()),
    }
}

/// The photograph, when it can still be looked at.
fn there(standing: &Standing) -> Result<PhotographStanding, Refusal> {
    let photo = standing.photograph.ok_or(Refusal::NoSuchEntry)?;
    if photo.is_erased || photo.standing != record::Standing::Current {
        Err(Refusal::AlreadySuperseded)
    } else {
        Ok(photo)
    }
}
