//! Bringing a study over: the study as it would be, in a table, and what can no longer be known of it.

use crate::analysis::piece::Group;
use crate::study::plan::Plan;
use crate::study::reading::{Occasion, Quantity};
use crate::tidy::{Tidy, bring};
use std::collections::{BTreeMap, BTreeSet};

/// Like pieces, as the study would have them.
#[derive(Default)]
pub(super) struct SetLine {
    pub(super) name: String,
    pub(super) pieces: usize,
    pub(super) holders: usize,
    pub(super) weighed: usize,
    pub(super) tested: usize,
    pub(super) missing: usize,
}

/// The sets of like pieces, as the page of the study would count them.
pub(super) fn sets(tidy: &Tidy) -> Vec<SetLine> {
    let mut found: BTreeMap<(u32, String), SetLine> = BTreeMap::new();
    for (row, piece) in tidy.rows.iter().zip(&tidy.pieces) {
        let name = set_name(&piece.group, &tidy.plan);
        let key = (row.stage_days.unwrap_or_default(), name.clone());
        let line = found.entry(key).or_default();
        line.name = name;
        line.pieces += 1;
        line.weighed += usize::from(!piece.pairs.is_empty());
        line.tested += usize::from(bring::was_tested(row));
        line.missing += usize::from(!bring::was_tested(row));
        let holders = tidy
            .rows
            .iter()
            .filter(|other| other.condition == row.condition && other.stage_days == row.stage_days);
        let names: BTreeSet<_> = holders.filter_map(|r| r.holder.as_ref()).collect();
        line.holders = names.len();
    }
    found.into_values().collect()
}

fn set_name(group: &Group, plan: &Plan) -> String {
    match group {
        Group::Baseline => "baseline set".to_owned(),
        Group::LateReference => "late reference".to_owned(),
        Group::Cell {
            condition,
            stage_days,
        } => {
            let name = plan
                .condition(condition)
                .map_or("", |condition| condition.name.as_str());
            let control = if group.is_storage_control(plan) {
                " (storage control)"
            } else {
                ""
            };
            format!("{name}{control}, {stage_days} days")
        }
    }
}

/// What can no longer be known, in sentences.
pub(super) fn unknown(tidy: &Tidy) -> Vec<&'static str> {
    let weighed = |on: Occasion| {
        tidy.rows
            .iter()
            .any(|row| row.readings.contains_key(&(Quantity::Mass, on)))
    };
    let mut said = vec![
        "There was no seal before the exposure: nobody can see that the question came before the answer.",
        "The grouping is reported, not drawn: whether chance decided which piece went where is not known here.",
        "The tests were not blind as far as this server can tell: their results were known when they were entered.",
    ];
    if !(weighed(Occasion::Before) && weighed(Occasion::After)) {
        said.push("No mass was written down before and after, so a mass change cannot be known.");
    }
    if tidy.plan.storage_control().is_none() {
        said.push("There is no storage control: ageing indoors and exposure cannot be told apart.");
    }
    if tidy.plan.baseline == 0 {
        said.push("There is no baseline set. Pieces made now to compare with are a late reference, never a baseline.");
    }
    said
}
