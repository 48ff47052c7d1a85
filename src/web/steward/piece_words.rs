//! Pieces in the words of the steward's pages: what a piece is for and where it is. Whether a packed
//! piece is tested already stays hidden until its consignment is unblinded.

use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::plan::Plan;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::Whereabouts;
use std::collections::BTreeSet;

/// What a piece is for: `rain barrel, 180 days, barrel by the gate`.
pub(super) fn place(plan: Option<&Plan>, place: Option<&Place>) -> String {
    match place {
        None => "not allocated".to_owned(),
        Some(Place::Baseline) => "baseline set".to_owned(),
        Some(Place::Spare) => "spare".to_owned(),
        Some(Place::LateReference) => "late reference".to_owned(),
        Some(Place::Exposed {
            condition,
            stage_days,
            holder,
        }) => {
            let condition = condition_name(plan, condition);
            let holder = holder_name(plan, holder);
            format!("{condition}, {stage_days} days, {holder}")
        }
    }
}

/// What people call a condition.
pub(super) fn condition_name(plan: Option<&Plan>, key: &str) -> String {
    let found = plan.and_then(|plan| plan.condition(key));
    found.map_or_else(|| key.to_owned(), |condition| condition.name.clone())
}

/// What people call a holder.
pub(super) fn holder_name(plan: Option<&Plan>, key: &str) -> String {
    let found = plan.and_then(|plan| plan.holder(key));
    found.map_or_else(|| key.to_owned(), |(_, holder)| holder.name.clone())
}

/// Where a piece is, as far as the steward may know.
pub(super) fn whereabouts(piece: &SpecimenRecord, blind: &BTreeSet<&Code>) -> &'static str {
    known_whereabouts(piece, blind).label()
}

/// As [`whereabouts`], as a value.
pub(super) fn known_whereabouts(piece: &SpecimenRecord, blind: &BTreeSet<&Code>) -> Whereabouts {
    match piece.whereabouts {
        Whereabouts::Tested if blind.contains(&piece.code) => Whereabouts::Consigned,
        known => known,
    }
}

/// `1 piece`, `4 pieces`.
pub(super) fn pieces(n: usize) -> String {
    match n {
        1 => "1 piece".to_owned(),
        n => format!("{n} pieces"),
    }
}

/// The plan that holds.
pub(super) fn plan_of(record: &StudyRecord) -> Option<&Plan> {
    record.plan().map(|version| &version.plan)
}
