//! From the record to pieces: which may be looked at, and what came of each.
//!
//! A piece of a consignment that is still blind does not appear here at all, neither its load nor
//! its mass (practice.md §1.1). What is left of it is a count, in [`Dataset::closed`].

use std::collections::{BTreeMap, BTreeSet};

use crate::analysis::piece::{Group, Piece};
use crate::analysis::trace::{self, Index};
use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::consignment::Contents;
use crate::study::plan::Plan;
use crate::study::reading::Occasion;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::{Recovery, Whereabouts};

/// What the rest of the analysis works on.
#[derive(Debug, Clone)]
pub struct Dataset<'r> {
    /// The plan that holds.
    pub plan: &'r Plan,
    /// Every piece that may be looked at, in the order of the codes' numbers.
    pub pieces: Vec<Piece>,
    /// Stages whose results are in: something unblinded, nothing still blind.
    pub open_stages: BTreeSet<u32>,
    /// Whether the baseline set's results are in.
    pub is_baseline_open: bool,
    /// Pieces that may not be looked at yet, by group.
    pub closed: BTreeMap<Group, Closed>,
    /// Pieces without a group.
    pub apart: Apart,
}

/// Pieces of a group that are still blind, still out, or not begun.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Closed {
    /// How many, nameless ones left out.
    pub allocated: usize,
    /// How many of them were put out.
    pub put_out: usize,
}

/// Pieces that belong to no group.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Apart {
    /// Rejected before the allocation.
    pub rejected: usize,
    /// Kept back, or tested in the place of a piece whose results are not in yet.
    pub spares: usize,
    /// Made and not (yet) allocated.
    pub unallocated: usize,
}

/// Gathers the pieces of a study under the plan that holds.
#[must_use]
pub fn gather<'r>(record: &'r StudyRecord, plan: &'r Plan) -> Dataset<'r> {
    let index = Index::of(record);
    let mut set = Dataset {
        plan,
        pieces: Vec::new(),
        open_stages: open_stages(record, plan),
        is_baseline_open: is_open(record, Contents::Baseline),
        closed: BTreeMap::new(),
        apart: Apart::default(),
    };
    for specimen in &record.specimens {
        let Some(group) = group(specimen) else {
            set_apart(specimen, &mut set.apart);
            continue;
        };
        let is_retest = stands_in(specimen);
        if may_be_seen(specimen, &group, &index, &set) {
            let piece = trace::piece(record, plan, specimen, group, &index);
            set.pieces.push(piece);
        } else if is_retest {
            set.apart.spares += 1;
        } else if !specimen.is_nameless {
            let closed = set.closed.entry(group).or_default();
            closed.allocated += 1;
            closed.put_out += usize::from(specimen.out_at.is_some());
        }
    }
    set
}

fn set_apart(specimen: &SpecimenRecord, apart: &mut Apart) {
    match (specimen.whereabouts, &specimen.place) {
        (Whereabouts::Rejected, _) => apart.rejected += 1,
        (_, Some(Place::Spare)) => apart.spares += 1,
        _ => apart.unallocated += 1,
    }
}

/// Whether it is a spare in the place of a piece whose test was invalid.
#[must_use]
pub fn stands_in(specimen: &SpecimenRecord) -> bool {
    specimen.place == Some(Place::Spare) && specimen.counts_at() != Some(&Place::Spare)
}

/// The set to which a piece belongs; a spare in the place of another belongs where that one did. `None` for spares, rejected and unallocated ones.
#[must_use]
pub fn group(specimen: &SpecimenRecord) -> Option<Group> {
    if specimen.whereabouts == Whereabouts::Rejected {
        return None;
    }
    match specimen.counts_at()? {
        Place::Baseline => Some(Group::Baseline),
        Place::LateReference => Some(Group::LateReference),
        Place::Exposed {
            condition,
            stage_days,
            ..
        } => Some(Group::cell(condition, *stage_days)),
        Place::Spare => None,
    }
}

/// Something of this kind is unblinded and nothing of it is still blind.
fn is_open(record: &StudyRecord, contents: Contents) -> bool {
    let mut of = record
        .consignments
        .iter()
        .filter(|c| c.contents == contents)
        .peekable();
    of.peek().is_some() && of.all(|c| !c.is_blind())
}

fn open_stages(record: &StudyRecord, plan: &Plan) -> BTreeSet<u32> {
    let days = plan.stages.iter().map(|stage| stage.days);
    if plan.primary.needs_breaking() {
        return days
            .filter(|days| is_open(record, Contents::Stage { days: *days }))
            .collect();
    }
    // A study that breaks nothing has its results when its pieces have been read again.
    let read: BTreeSet<&Code> = record
        .current_readings()
        .filter(|r| r.reading.occasion == Occasion::After)
        .map(|r| &r.reading.specimen)
        .collect();
    let is_read = |days: u32| {
        let here = |s: &&SpecimenRecord| {
            group(s).and_then(|g| g.stage_days()) == Some(days) && read.contains(&s.code)
        };
        record.specimens.iter().any(|s| here(&s))
    };
    let is_blind = |days: u32| {
        let contents = Contents::Stage { days };
        let mut all = record.consignments.iter();
        all.any(|c| c.contents == contents && c.is_blind())
    };
    days.filter(|days| is_read(*days) && !is_blind(*days))
        .collect()
}

fn may_be_seen(
    specimen: &SpecimenRecord,
    group: &Group,
    index: &Index<'_>,
    set: &Dataset<'_>,
) -> bool {
    if let Some(is_blind) = index.is_blind(&specimen.code) {
        return !is_blind;
    }
    let is_group_open = match group {
        Group::Baseline => set.is_baseline_open,
        Group::LateReference => false,
        Group::Cell { stage_days, .. } => set.open_stages.contains(stage_days),
    };
    let is_gone = matches!(
        specimen.whereabouts,
        Whereabouts::Lost | Whereabouts::Destroyed
    );
    let is_past_testing = matches!(
        specimen.recovery,
        Some(Recovery::Fragments | Recovery::InError)
    );
    let is_read_only =
        !set.plan.primary.needs_breaking() && specimen.whereabouts == Whereabouts::In;
    is_group_open && (is_gone || is_past_testing || is_read_only)
}
