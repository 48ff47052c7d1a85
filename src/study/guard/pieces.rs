//! Rules about specimens: making, reading, putting out, handling, taking in.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use super::allocation::allocated;
use super::{CLOCK_TOLERANCE, Refusal, drying};
use crate::study::allocation::{self, Place};
use crate::study::code::Code;
use crate::study::custody::{Handled, Handling, NamelessFound, PutOut, TakenIn};
use crate::study::entry::Entry;
use crate::study::plan::Plan;
use crate::study::reading::{Occasion, Reading};
use crate::study::record;
use crate::study::specimen::{Made, Whereabouts};
use crate::study::standing::{SpecimenStanding, Standing, StudyStanding};

/// The rules for entries that name specimens.
pub(super) fn check(
    entry: &Entry,
    standing: &Standing,
    study: &StudyStanding,
    now: DateTime<Utc>,
) -> Result<(), Refusal> {
    named_once(entry, standing)?;
    match entry {
        Entry::SpecimensMade { pieces } => made(pieces, standing, study),
        Entry::SpecimenRejected { specimen } => rejected(specimen, standing),
        Entry::ReadingTaken { reading } => first_read(reading, standing, study, now),
        Entry::ReadingCorrected { reading, .. } => {
            supersedes(standing, "reading", reading.specimen.as_str())?;
            read(reading, standing, study)
        }
        Entry::Voided { .. } => voided(standing),
        Entry::AllocationDrawn(drawn) => {
            let (version, plan) = study.plan.as_ref().ok_or(Refusal::NoPlan)?;
            if drawn.draw != study.draws + 1 || drawn.plan_version != *version {
                return Err(Refusal::WrongNumber);
            }
            if study.is_after_the_fact || !allocation::fits(plan, &drawn.rows) {
                return Err(Refusal::WrongAllocation);
            }
            allocated(&drawn.rows, standing, study)
        }
        Entry::GroupingReported { rows } if study.is_after_the_fact => {
            allocated(rows, standing, study)
        }
        Entry::GroupingReported { .. } => Err(Refusal::WrongAllocation),
        Entry::Waived { specimens } => all(specimens, standing, |code, piece| {
            is_at(
                code,
                piece,
                &[Whereabouts::Bench, Whereabouts::Out, Whereabouts::In],
            )
        }),
        Entry::PutOut(out) => put_out(out, standing, study, now),
        Entry::Handled(handled) => handle(handled, standing, study, now),
        Entry::TakenIn(taken) => take_in(taken, standing, now),
        Entry::NamelessFound(found) => nameless(found, standing, study, now),
        Entry::Incident(incident) => {
            let (_, plan) = study.plan.as_ref().ok_or(Refusal::NoPlan)?;
            if incident.until.is_some_and(|until| until < incident.from) {
                return Err(Refusal::OverBeforeItBegan);
            }
            let holders = std::iter::once(&incident.holder).chain(&incident.into_holder);
            all_holders(plan, holders.map(String::as_str))
        }
        other => drying::check(other, standing, study, now),
    }
}

fn rejected(specimen: &Code, standing: &Standing) -> Result<(), Refusal> {
    let piece = find(specimen, standing)?;
    is_at(specimen, piece, &[Whereabouts::Bench])?;
    if piece.place.is_some() {
        Err(Refusal::AllocationInUse)
    } else {
        Ok(())
    }
}

/// A reading that corrects none: there may not be one of its kind already.
fn first_read(
    reading: &Reading,
    standing: &Standing,
    study: &StudyStanding,
    now: DateTime<Utc>,
) -> Result<(), Refusal> {
    read(reading, standing, study)?;
    drying::dry_enough(reading, standing, study, now)?;
    let key = (
        reading.quantity.clone(),
        reading.occasion,
        reading.repeat,
        reading.state,
    );
    if find(&reading.specimen, standing)?.readings.contains(&key) {
        return Err(Refusal::AlreadyRead(reading.specimen.clone()));
    }
    Ok(())
}

fn named_once(entry: &Entry, standing: &Standing) -> Result<(), Refusal> {
    let mut seen = BTreeSet::new();
    for code in entry.specimens() {
        if !standing.specimens.contains_key(code) {
            return Err(Refusal::NoSuchSpecimen(code.clone()));
        }
        if !seen.insert(code) {
            return Err(Refusal::NamedTwice(code.clone()));
        }
    }
    Ok(())
}

pub(super) fn find<'s>(
    code: &Code,
    standing: &'s Standing,
) -> Result<&'s SpecimenStanding, Refusal> {
    standing
        .specimens
        .get(code)
        .ok_or_else(|| Refusal::NoSuchSpecimen(code.clone()))
}

pub(super) fn is_at(
    code: &Code,
    piece: &SpecimenStanding,
    places: &[Whereabouts],
) -> Result<(), Refusal> {
    if places.contains(&piece.whereabouts) {
        Ok(())
    } else {
        Err(Refusal::Elsewhere(code.clone(), piece.whereabouts))
    }
}

pub(super) fn all(
    codes: &[Code],
    standing: &Standing,
    rule: impl Fn(&Code, &SpecimenStanding) -> Result<(), Refusal>,
) -> Result<(), Refusal> {
    if codes.is_empty() {
        return Err(Refusal::NoPieces);
    }
    codes
        .iter()
        .try_for_each(|code| rule(code, find(code, standing)?))
}

fn made(pieces: &[Made], standing: &Standing, study: &StudyStanding) -> Result<(), Refusal> {
    let (_, plan) = study.plan.as_ref().ok_or(Refusal::NoPlan)?;
    if pieces.is_empty() {
        return Err(Refusal::NoPieces);
    }
    let mut seen = BTreeSet::new();
    for piece in pieces {
        if standing.taken_codes.contains(&piece.code) || !seen.insert(&piece.code) {
            return Err(Refusal::CodeTaken(piece.code.clone()));
        }
        if !plan.lots.contains(&piece.lot) || !plan.builds.contains(&piece.build) {
            return Err(Refusal::PlanChanged);
        }
    }
    Ok(())
}

fn read(reading: &Reading, standing: &Standing, study: &StudyStanding) -> Result<(), Refusal> {
    let piece = find(&reading.specimen, standing)?;
    let (_, plan) = study.plan.as_ref().ok_or(Refusal::NoPlan)?;
    if plan.readings_of(&reading.quantity) == 0 || reading.repeat == 0 {
        return Err(Refusal::NotPlanned);
    }
    if !(reading.value.is_finite() && reading.value > 0.0 && reading.value < 1e9) {
        return Err(Refusal::Impossible);
    }
    let instrument = study.instruments.get(&reading.instrument);
    if instrument != Some(&reading.quantity.dimension()) {
        return Err(Refusal::WrongInstrument);
    }
    let code = &reading.specimen;
    match reading.occasion {
        // A correction of a baseline reading may come at any time; a first one only while the
        // piece is on the bench, or it would be no baseline reading.
        Occasion::Before if standing.target.is_some() || study.is_after_the_fact => Ok(()),
        Occasion::Before => is_at(code, piece, &[Whereabouts::Bench]),
        Occasion::After if standing.target.is_some() => Ok(()),
        Occasion::After => is_at(code, piece, &[Whereabouts::In, Whereabouts::Tested]),
    }
}

/// A correction names one current entry of its kind about the same piece.
pub(super) fn supersedes(standing: &Standing, kind: &str, subject: &str) -> Result<(), Refusal> {
    let target = standing.target.as_ref().ok_or(Refusal::NoSuchEntry)?;
    if !target.kind.starts_with(kind) {
        return Err(Refusal::NoSuchEntry);
    }
    if target.standing != record::Standing::Current {
        return Err(Refusal::AlreadySuperseded);
    }
    if target.subject == subject {
        Ok(())
    } else {
        Err(Refusal::OtherPiece)
    }
}

/// How the kinds of entries begin that can be declared void.
const CAN_BE_VOID: &str = "reading_ put_out taken_in handled incident waived drying_ series_ photograph_taken \
    figure_cited";

fn voided(standing: &Standing) -> Result<(), Refusal> {
    let target = standing.target.as_ref().ok_or(Refusal::NoSuchEntry)?;
    let mut kinds = CAN_BE_VOID.split_whitespace();
    if !kinds.any(|kind| target.kind.starts_with(kind)) {
        return Err(Refusal::CannotBeVoid);
    }
    if target.standing != record::Standing::Current {
        return Err(Refusal::AlreadySuperseded);
    }
    if target.is_rested_on {
        Err(Refusal::RestedOn)
    } else {
        Ok(())
    }
}

pub(super) fn not_ahead(
    at: DateTime<Utc>,
    now: DateTime<Utc>,
    is_confirmed: bool,
) -> Result<(), Refusal> {
    if at > now + CLOCK_TOLERANCE && !is_confirmed {
        Err(Refusal::InTheFuture)
    } else {
        Ok(())
    }
}

pub(super) fn in_order(
    code: &Code,
    piece: &SpecimenStanding,
    at: DateTime<Utc>,
    is_confirmed: bool,
) -> Result<(), Refusal> {
    let is_before = piece.last_event_at.is_some_and(|last| at < last);
    if is_before && !is_confirmed {
        Err(Refusal::BeforeLastEvent(code.clone()))
    } else {
        Ok(())
    }
}

fn put_out(
    out: &PutOut,
    standing: &Standing,
    study: &StudyStanding,
    now: DateTime<Utc>,
) -> Result<(), Refusal> {
    let (_, plan) = study.plan.as_ref().ok_or(Refusal::NoPlan)?;
    if !study.is_sealed && !study.is_after_the_fact {
        return Err(Refusal::NotSealed);
    }
    not_ahead(out.at, now, out.is_confirmed_doubt)?;
    all(&out.specimens, standing, |code, piece| {
        is_at(code, piece, &[Whereabouts::Bench])?;
        if !matches!(piece.place, Some(Place::Exposed { .. })) {
            return Err(Refusal::NotAllocated(code.clone()));
        }
        in_order(code, piece, out.at, out.is_confirmed_doubt)?;
        measured(code, piece, plan)
    })
}

/// Promise 1: nothing goes out unmeasured, unless waived with a reason.
fn measured(code: &Code, piece: &SpecimenStanding, plan: &Plan) -> Result<(), Refusal> {
    let missing = piece.missing_before(plan);
    if missing.is_empty() || piece.is_waived {
        return Ok(());
    }
    let words: Vec<String> = missing
        .iter()
        .map(|(quantity, count)| match count {
            1 => quantity.label().to_owned(),
            n => format!("{} ({n} readings)", quantity.label()),
        })
        .collect();
    Err(Refusal::Unmeasured(code.clone(), words.join(", ")))
}

fn handle(
    handled: &Handled,
    standing: &Standing,
    study: &StudyStanding,
    now: DateTime<Utc>,
) -> Result<(), Refusal> {
    not_ahead(handled.at, now, handled.is_confirmed_doubt)?;
    if handled.what == Handling::Moved {
        let (_, plan) = study.plan.as_ref().ok_or(Refusal::NoPlan)?;
        let into = handled
            .into_holder
            .as_deref()
            .ok_or(Refusal::NoSuchHolder)?;
        let (condition, _) = plan.holder(into).ok_or(Refusal::NoSuchHolder)?;
        all(&handled.specimens, standing, |code, piece| {
            match &piece.place {
                Some(Place::Exposed { condition: own, .. }) if *own == condition.key => Ok(()),
                _ => Err(Refusal::NotAllocated(code.clone())),
            }
        })?;
    }
    let places: &[Whereabouts] = match handled.what {
        Handling::Inspected | Handling::ToppedUp | Handling::Moved => &[Whereabouts::Out],
        Handling::Cleaned | Handling::Dried => &[Whereabouts::In, Whereabouts::Bench],
        Handling::Damaged => &[Whereabouts::Out, Whereabouts::In, Whereabouts::Bench],
        Handling::Lost | Handling::Destroyed => &[
            Whereabouts::Out,
            Whereabouts::In,
            Whereabouts::Bench,
            Whereabouts::Consigned,
        ],
    };
    all(&handled.specimens, standing, |code, piece| {
        is_at(code, piece, places)?;
        in_order(code, piece, handled.at, handled.is_confirmed_doubt)
    })
}

fn take_in(taken: &TakenIn, standing: &Standing, now: DateTime<Utc>) -> Result<(), Refusal> {
    not_ahead(taken.at, now, taken.is_confirmed_doubt)?;
    if taken.pieces.is_empty() {
        return Err(Refusal::NoPieces);
    }
    taken.pieces.iter().try_for_each(|recovered| {
        let piece = find(&recovered.specimen, standing)?;
        is_at(&recovered.specimen, piece, &[Whereabouts::Out])?;
        in_order(
            &recovered.specimen,
            piece,
            taken.at,
            taken.is_confirmed_doubt,
        )
    })
}

fn nameless(
    found: &NamelessFound,
    standing: &Standing,
    study: &StudyStanding,
    now: DateTime<Utc>,
) -> Result<(), Refusal> {
    let (_, plan) = study.plan.as_ref().ok_or(Refusal::NoPlan)?;
    not_ahead(found.at, now, false)?;
    let (condition, _) = plan.holder(&found.holder).ok_or(Refusal::NoSuchHolder)?;
    if condition.key != found.condition || plan.stage(found.stage_days).is_none() {
        return Err(Refusal::WrongAllocation);
    }
    if standing.taken_codes.contains(&found.code) {
        return Err(Refusal::CodeTaken(found.code.clone()));
    }
    Ok(())
}

fn all_holders<'h>(plan: &Plan, mut keys: impl Iterator<Item = &'h str>) -> Result<(), Refusal> {
    if keys.all(|key| plan.holder(key).is_some()) {
        Ok(())
    } else {
        Err(Refusal::NoSuchHolder)
    }
}
