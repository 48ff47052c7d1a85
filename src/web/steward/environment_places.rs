//! The places that a series can be for, as forms offer them.

use super::piece_words::plan_of;
use crate::study::environment::SeriesPlace;
use crate::study::fault::Fault;
use crate::study::record::StudyRecord;
use crate::study::typed::Typed;

/// Every condition, and its holders where it has several.
pub(super) fn places(record: &StudyRecord) -> Vec<(String, String)> {
    let Some(plan) = plan_of(record) else {
        return Vec::new();
    };
    let mut places = vec![(String::new(), "choose".to_owned())];
    for condition in &plan.conditions {
        let place = SeriesPlace::Condition(condition.key.clone());
        places.push((place.key(), place.name(plan)));
        if condition.holders.len() > 1 {
            places.extend(condition.holders.iter().map(|holder| {
                let place = SeriesPlace::Holder(holder.key.clone());
                (place.key(), place.name(plan))
            }));
        }
    }
    places
}

/// Reads the place.
///
/// # Errors
/// When it is none of the plan's.
pub(super) fn place(typed: &Typed, record: &StudyRecord) -> Result<SeriesPlace, Fault> {
    let place = SeriesPlace::parse(typed.text("place"));
    let known = place.filter(|place| plan_of(record).is_some_and(|plan| place.is_in(plan)));
    known.ok_or_else(|| Fault::new("place", "Choose the condition or holder that it is for."))
}
