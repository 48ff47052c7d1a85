//! The drying of pieces in words, for its pages: which pieces dry, how each stands, what is wanting.

use super::piece_words::plan_of;
use crate::study::allocation::Place;
use crate::study::drying::DryingState;
pub(super) use crate::study::drying::words::{state, wanting};
use crate::study::plan::{DryingPlan, Environment, Plan};
use crate::study::reading::{MoistureState, Occasion, Quantity};
use crate::study::record::{EventKind, SpecimenRecord, Standing, StudyRecord};
use crate::study::round;
use crate::study::specimen::Whereabouts;
use crate::study::when;
use chrono::{DateTime, Utc};

/// The plan and its drying rule, when it has one and weighs pieces.
pub(super) fn planned(record: &StudyRecord) -> Option<(&Plan, &DryingPlan)> {
    let plan = plan_of(record).filter(|plan| plan.mass.readings > 0)?;
    plan.drying.as_ref().map(|drying| (plan, drying))
}

/// The pieces that dry, with the occasion of their mass: on the bench before exposure, taken in after
/// it.
pub(super) fn drying(record: &StudyRecord) -> Vec<(Occasion, &SpecimenRecord)> {
    let Some((_, drying)) = planned(record) else {
        return Vec::new();
    };
    let asked = Occasion::ALL.into_iter().filter(|o| drying.asks_on(*o));
    asked
        .flat_map(|occasion| {
            round::pool(record, occasion)
                .into_iter()
                .map(move |piece| (occasion, piece))
        })
        .collect()
}

/// The pieces that will dry when they are taken in.
pub(super) fn out(record: &StudyRecord) -> Vec<&SpecimenRecord> {
    let asks = planned(record).is_some_and(|(_, drying)| drying.asks_on(Occasion::After));
    let pieces = record.specimens.iter();
    pieces
        .filter(|piece| asks && piece.whereabouts == Whereabouts::Out)
        .collect()
}

/// The occasion on which a piece would dry now.
pub(super) fn occasion(record: &StudyRecord, piece: &SpecimenRecord) -> Option<Occasion> {
    let found = drying(record).into_iter();
    found
        .filter(|(_, other)| other.code == piece.code)
        .map(|(occasion, _)| occasion)
        .next()
}

/// Whether a weighing now can bring it to an end.
pub(super) fn is_due(state: &DryingState, now: DateTime<Utc>) -> bool {
    match state {
        DryingState::NotBegun => true,
        DryingState::Going { weigh_after, .. } => now >= *weigh_after,
        DryingState::Constant { .. } => false,
    }
}

/// Whether salt or soil may cling to a piece when it comes back, so that it is weighed twice: as taken
/// out, and rinsed and dried.
pub(super) fn is_rinsed(plan: &Plan, piece: &SpecimenRecord) -> bool {
    let Some(Place::Exposed { condition, .. }) = &piece.place else {
        return false;
    };
    let environment = plan.condition(condition).map(|c| c.environment);
    matches!(
        environment,
        Some(Environment::SaltWater | Environment::Soil | Environment::Compost)
    )
}

/// The mass of a piece as taken out, as typed.
pub(super) fn as_taken_out(record: &StudyRecord, piece: &SpecimenRecord) -> Option<String> {
    let mut readings = record.current_readings();
    let found = readings.find(|found| {
        let reading = &found.reading;
        reading.specimen == piece.code
            && reading.quantity == Quantity::Mass
            && reading.occasion == Occasion::After
            && reading.state == MoistureState::Wet
    })?;
    let typed = &found.reading.typed;
    Some(format!("{} {}", typed.text, typed.unit.symbol()))
}

/// When a piece was cleaned, in words.
pub(super) fn cleaned_on(record: &StudyRecord, piece: &SpecimenRecord) -> Option<String> {
    use crate::study::custody::Handling;
    let mut events = record.events.iter().rev();
    let found = events.find(|event| {
        let is_cleaning = matches!(
            event.what,
            EventKind::Handled {
                what: Handling::Cleaned,
                ..
            }
        );
        is_cleaning && event.specimen == piece.code && event.standing == Standing::Current
    })?;
    Some(when::day_in_words(found.at, &record.time_zone))
}

/// The address of the round for masses as taken out.
pub(super) fn wet_round(record: &StudyRecord) -> String {
    format!(
        "/desk/{}/round?quantity=mass&occasion=after&state=wet",
        record.slug
    )
}
