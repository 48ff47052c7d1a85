//! May this entry be appended to the study as it stands? Each rule answers with the reason, never
//! with a bare no. Facts and decisions are both refused here; what a device does with a refused fact
//! (keep it, show how to mend it) is the device's part.
//!
//! The rules for pieces are in [`pieces`], those for a draw in [`allocation`], those for drying them in [`drying`], those for photographs in
//! [`photographs`], those for consignments in [`lab`] and
//! [`packing`], those for what the lab works with and for what came
//! of a parcel in [`custody`]; which days may be named at all stands in [`calendar`].

mod allocation;
mod calendar;
mod custody;
mod drying;
mod lab;
mod packing;
mod photographs;
mod pieces;
mod refusal;
#[cfg(test)]
mod tests;

use chrono::{DateTime, Duration, Utc};

pub use calendar::{YEARS, check as has_countable_days};
pub use refusal::Refusal;

use super::entry::{Actor, Chain, Entry, Envelope};
use super::reading::InstrumentCheck;
use super::standing::{Standing, StudyStanding};

/// How far ahead of the server a device's clock may say that something happened.
const CLOCK_TOLERANCE: Duration = Duration::hours(26);

/// Decides whether an entry may be appended.
///
/// # Errors
/// The first rule that it breaks.
pub fn check(envelope: &Envelope, standing: &Standing, now: DateTime<Utc>) -> Result<(), Refusal> {
    calendar::check(envelope)?;
    let has_note = envelope
        .note
        .as_deref()
        .is_some_and(|note| !note.trim().is_empty());
    if envelope.entry.needs_reason() && !has_note {
        return Err(Refusal::ReasonMissing);
    }
    match (&envelope.entry, envelope.chain) {
        (
            Entry::AccountMade { .. } | Entry::AccountClosed { .. } | Entry::StudyOpened { .. },
            chain,
        ) => {
            if chain == Chain::Server {
                Ok(())
            } else {
                Err(Refusal::WrongChain)
            }
        }
        (_, Chain::Server) => Err(Refusal::WrongChain),
        (Entry::StudyStarted(_), Chain::Study(_)) if standing.study.is_some() => {
            Err(Refusal::StudyExists)
        }
        (Entry::StudyStarted(_), Chain::Study(_)) if standing.is_address_taken => {
            Err(Refusal::AddressTaken)
        }
        (Entry::StudyStarted(_), Chain::Study(_)) => Ok(()),
        (entry, Chain::Study(_)) => {
            let study = standing.study.as_ref().ok_or(Refusal::NoSuchStudy)?;
            may_act(envelope, standing, study)?;
            study_rules(entry, standing, study)?;
            pieces::check(entry, standing, study, now)?;
            photographs::check(entry, standing, study)?;
            lab::check(envelope, standing)
        }
    }
}

/// Who may record what: stewards everything, a lab link what belongs to its own consignment.
fn may_act(envelope: &Envelope, standing: &Standing, study: &StudyStanding) -> Result<(), Refusal> {
    match envelope.actor {
        Actor::Keeper => Ok(()),
        Actor::Account(account) if study.stewards.contains(&account) => Ok(()),
        Actor::Account(_) => Err(Refusal::NotYours),
        Actor::Link(id) => {
            let link = standing.link.as_ref().filter(|link| link.id == id);
            let link = link.ok_or(Refusal::NotYours)?;
            let is_own = link.is_for_consignment && envelope.entry.tester_consignment().is_some();
            match (is_own, link.is_open) {
                (false, _) => Err(Refusal::NotYours),
                (true, false) => Err(Refusal::LinkEnded),
                (true, true) => Ok(()),
            }
        }
    }
}

/// Rules about the study as a whole: plan, seal, draws, stewards, editions.
fn study_rules(entry: &Entry, standing: &Standing, study: &StudyStanding) -> Result<(), Refusal> {
    match entry {
        Entry::PlanWritten { .. } if study.is_sealed => Err(Refusal::AlreadySealed),
        // A draw is made anew for another plan; what was reported stays, and must keep its places.
        Entry::PlanWritten { plan } if study.is_after_the_fact && study.is_placed => {
            keeps_what_is_in_use(plan, study)
        }
        Entry::Amended { .. } if !study.is_sealed => Err(Refusal::NotSealed),
        Entry::Amended { plan } => keeps_what_is_in_use(plan, study),
        Entry::Sealed {
            plan_version,
            plan_sha256,
        } => seal(*plan_version, plan_sha256, study),
        Entry::StewardAdded { account } if study.stewards.contains(account) => {
            Err(Refusal::StewardAlready)
        }
        Entry::StewardRemoved { account } if !study.stewards.contains(account) => {
            Err(Refusal::NoSteward)
        }
        Entry::StewardRemoved { .. } if study.stewards.len() < 2 => Err(Refusal::LastSteward),
        Entry::InstrumentAdded { instrument } if study.instruments.contains_key(&instrument.id) => {
            Err(Refusal::InstrumentExists)
        }
        Entry::InstrumentChecked { check } => checked(check, study),
        Entry::FigureCited(figure) if !figure.is_cited() => Err(Refusal::NoCitation),
        Entry::FigureCited(figure) if !figure.is_possible() => Err(Refusal::NoShare),
        Entry::MadePrivate {} if study.editions > 0 => Err(Refusal::EditionsStand),
        Entry::EditionPublished(edition) if edition.number != study.editions + 1 => {
            Err(Refusal::WrongNumber)
        }
        Entry::EditionPublished(_) if !study.is_public => Err(Refusal::StillPrivate),
        Entry::EditionWithdrawn { number } if *number == 0 || *number > study.editions => {
            Err(Refusal::NoSuchEdition)
        }
        Entry::NoteErased { .. } => {
            let target = standing.target.as_ref().ok_or(Refusal::NoSuchEntry)?;
            if target.has_note {
                Ok(())
            } else {
                Err(Refusal::NothingToErase)
            }
        }
        _ => Ok(()),
    }
}

/// A check names an instrument of the study and what such an instrument can show.
fn checked(check: &InstrumentCheck, study: &StudyStanding) -> Result<(), Refusal> {
    let dimension = study.instruments.get(&check.instrument);
    let units = [check.typed.unit, check.nominal_typed.unit];
    if !units
        .iter()
        .all(|unit| dimension == Some(&unit.dimension()))
    {
        return Err(Refusal::WrongInstrument);
    }
    let is_possible = |value: f64| value.is_finite() && value > 0.0 && value < 1e9;
    if is_possible(check.nominal) && is_possible(check.value) {
        Ok(())
    } else {
        Err(Refusal::Impossible)
    }
}

fn seal(version: u32, sha256: &str, study: &StudyStanding) -> Result<(), Refusal> {
    if study.is_sealed {
        return Err(Refusal::AlreadySealed);
    }
    let Some((current, plan)) = &study.plan else {
        return Err(Refusal::NoPlan);
    };
    let bytes = plan.to_bytes().map_err(|_| Refusal::NoPlan)?;
    if version != *current || super::plan::sha256_hex(&bytes) != sha256 {
        return Err(Refusal::PlanChanged);
    }
    if !study.is_after_the_fact && study.draw_plan_version != Some(*current) {
        return Err(Refusal::NotDrawn);
    }
    Ok(())
}

/// Conditions, holders and stages that pieces may stand in keep their keys.
fn keeps_what_is_in_use(plan: &super::plan::Plan, study: &StudyStanding) -> Result<(), Refusal> {
    let Some((_, before)) = &study.plan else {
        return Err(Refusal::NoPlan);
    };
    let keeps_conditions = before.conditions.iter().all(|old| {
        plan.condition(&old.key).is_some_and(|new| {
            new.is_storage_control == old.is_storage_control
                && old
                    .holders
                    .iter()
                    .all(|h| new.holders.iter().any(|kept| kept.key == h.key))
        })
    });
    let keeps_stages = before
        .stages
        .iter()
        .all(|old| plan.stage(old.days).is_some());
    if keeps_conditions && keeps_stages {
        Ok(())
    } else {
        Err(Refusal::StillInUse)
    }
}
