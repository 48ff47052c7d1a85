//! Rules about drying: weighings on the way, the final dry mass, overriding the plan's rule; and about
//! series of the environment.

use chrono::{DateTime, Utc};

use super::Refusal;
use super::pieces::{all, find, in_order, is_at, not_ahead};
use crate::study::code::Code;
use crate::study::drying::{DryingWeighing, judge};
use crate::study::entry::Entry;
use crate::study::plan::Plan;
use crate::study::reading::{Occasion, Reading};
use crate::study::specimen::Whereabouts;
use crate::study::standing::{SpecimenStanding, Standing, StudyStanding};
use crate::study::units::Dimension;

/// Where a piece dries before or after its exposure.
fn place(occasion: Occasion) -> Whereabouts {
    match occasion {
        Occasion::Before => Whereabouts::Bench,
        Occasion::After => Whereabouts::In,
    }
}

fn planned(study: &StudyStanding, occasion: Occasion) -> Result<&Plan, Refusal> {
    let (_, plan) = study.plan.as_ref().ok_or(Refusal::NoPlan)?;
    let is_asked = plan.drying.as_ref().is_some_and(|d| d.asks_on(occasion));
    if is_asked && plan.mass.readings > 0 {
        Ok(plan)
    } else {
        Err(Refusal::NotPlanned)
    }
}

/// The rules for the entries of drying and of the environment.
pub(super) fn check(
    entry: &Entry,
    standing: &Standing,
    study: &StudyStanding,
    now: DateTime<Utc>,
) -> Result<(), Refusal> {
    match entry {
        Entry::DryingWeighed(weighing) => weighed(weighing, standing, study, now),
        Entry::DryingOverridden {
            specimens,
            occasion,
        } => overridden(specimens, *occasion, standing, study),
        Entry::SeriesAdded(series) => {
            let (_, plan) = study.plan.as_ref().ok_or(Refusal::NoPlan)?;
            match (series.place.is_in(plan), series.is_sound()) {
                (false, _) => Err(Refusal::NoSuchHolder),
                (true, false) => Err(Refusal::Impossible),
                (true, true) => Ok(()),
            }
        }
        _ => Ok(()),
    }
}

fn weighed(
    weighing: &DryingWeighing,
    standing: &Standing,
    study: &StudyStanding,
    now: DateTime<Utc>,
) -> Result<(), Refusal> {
    planned(study, weighing.occasion)?;
    let (code, piece) = (&weighing.specimen, find(&weighing.specimen, standing)?);
    is_at(code, piece, &[place(weighing.occasion)])?;
    if !(weighing.mass_g.is_finite() && weighing.mass_g > 0.0 && weighing.mass_g < 1e9) {
        return Err(Refusal::Impossible);
    }
    if study.instruments.get(&weighing.instrument) != Some(&Dimension::Mass) {
        return Err(Refusal::WrongInstrument);
    }
    not_ahead(weighing.at, now, weighing.is_confirmed_doubt)?;
    in_order(code, piece, weighing.at, weighing.is_confirmed_doubt)
}

fn overridden(
    specimens: &[Code],
    occasion: Occasion,
    standing: &Standing,
    study: &StudyStanding,
) -> Result<(), Refusal> {
    planned(study, occasion)?;
    all(specimens, standing, |code, piece| {
        is_at(code, piece, &[place(occasion)])
    })
}

/// A final dry mass is taken when the plan's rule is met, or overridden. What was read before anybody
/// opened the study here cannot be held to a rule of drying.
pub(super) fn dry_enough(
    reading: &Reading,
    standing: &Standing,
    study: &StudyStanding,
    now: DateTime<Utc>,
) -> Result<(), Refusal> {
    let (_, plan) = study.plan.as_ref().ok_or(Refusal::NoPlan)?;
    let Some(drying) = &plan.drying else {
        return Ok(());
    };
    if study.is_after_the_fact || !drying.asks_of(reading, plan.reference_state) {
        return Ok(());
    }
    let piece: &SpecimenStanding = find(&reading.specimen, standing)?;
    let own = piece.drying.iter();
    let own = own.filter(|(occasion, _)| *occasion == reading.occasion);
    let weighings: Vec<_> = own.map(|(_, weighing)| *weighing).collect();
    let state = judge(&drying.rule, plan.mass.margin_percent, &weighings, now);
    if state.is_constant() || piece.is_overridden.contains(&reading.occasion) {
        Ok(())
    } else {
        Err(Refusal::NotConstant(reading.specimen.clone()))
    }
}
