//! Where a study stands: how far each step of the job is, and what to do next. Of tests it knows the
//! number done, never a value.

use std::collections::BTreeMap;

use super::allocation::Place;
use super::code::Code;
use super::plan::check::{Count, count};
use super::reading::{Occasion, Quantity};
use super::record::{SpecimenRecord, StudyRecord};
use super::specimen::Whereabouts;

/// How far a study is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Progress {
    /// The plan that holds: its version, and the pieces it needs.
    pub plan: Option<(u32, Count)>,
    /// Pieces made and not rejected; those found without a mark aside.
    pub made: usize,
    /// Pieces with every reading before exposure that the plan calls for.
    pub measured: usize,
    /// How the allocation stands.
    pub allocation: Allocation,
    /// Whether the plan is sealed.
    pub is_sealed: bool,
    /// The study was entered after the fact.
    pub is_after_the_fact: bool,
    /// Pieces that belong out, and how many of them went out and came back (or are known not to).
    pub outing: Outing,
    /// Baseline pieces that are not packed for a lab yet.
    pub baseline_waiting: usize,
    /// One line for each consignment, oldest first.
    pub consignments: Vec<Tests>,
    /// Published editions.
    pub editions: usize,
}

/// How the allocation stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Allocation {
    /// Nothing is drawn or reported.
    None,
    /// Drawn for an earlier version of the plan.
    Stale,
    /// Drawn for the plan as it was sealed or as it is, or reported.
    Done,
}

/// Pieces of the conditions.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Outing {
    /// Pieces with a place in a condition.
    pub placed: usize,
    /// Those that went out.
    pub out: usize,
    /// Those that were taken in, lost or destroyed after they went out.
    pub back: usize,
    /// Those taken in and not packed for a lab yet.
    pub in_hand: usize,
}

/// The tests of a consignment, counted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tests {
    /// The lab.
    pub lab: String,
    /// Tests done.
    pub done: usize,
    /// Pieces in the consignment.
    pub pieces: usize,
    /// Declared finished by the tester.
    pub is_finished: bool,
    /// Unblinded by the steward.
    pub is_unblinded: bool,
}

/// What to do next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Next {
    /// Write the plan.
    Plan,
    /// Register pieces.
    Make,
    /// Read what the plan calls for.
    Measure,
    /// Draw the allocation, or report the grouping.
    Allocate,
    /// Seal the plan.
    Seal,
    /// Pack the baseline set for the lab.
    PackBaseline,
    /// Put out.
    PutOut,
    /// Wait for the stage, and take in.
    TakeIn,
    /// Pack what came back.
    Pack,
    /// Wait for the lab.
    Wait,
    /// Unblind what the lab finished.
    Unblind,
    /// Look at the results and publish.
    Publish,
}

impl Progress {
    /// Of a study.
    #[must_use]
    pub fn of(record: &StudyRecord) -> Self {
        let usable = |piece: &&SpecimenRecord| {
            !piece.is_nameless && piece.whereabouts != Whereabouts::Rejected
        };
        let waits = |piece: &&SpecimenRecord| {
            piece.place == Some(Place::Baseline) && piece.whereabouts == Whereabouts::Bench
        };
        let consignments = record.consignments.iter().map(|consignment| Tests {
            lab: consignment.lab.clone(),
            done: consignment.tests_done(),
            pieces: consignment.pieces.len(),
            is_finished: consignment.finished_at.is_some(),
            is_unblinded: consignment.unblinded_at.is_some(),
        });
        Self {
            plan: record.plan().map(|held| (held.version, count(&held.plan))),
            made: record.specimens.iter().filter(usable).count(),
            measured: measured(record),
            allocation: allocation(record),
            is_sealed: record.seal.is_some(),
            is_after_the_fact: record.is_after_the_fact,
            outing: outing(record),
            baseline_waiting: record.specimens.iter().filter(waits).count(),
            consignments: consignments.collect(),
            editions: record.editions.len(),
        }
    }

    /// The next step of the job.
    #[must_use]
    pub fn next(&self) -> Next {
        let Some((_, planned)) = self.plan else {
            return Next::Plan;
        };
        let has_all = self.made >= usize::try_from(planned.total()).unwrap_or(usize::MAX);
        match self {
            _ if !has_all && self.allocation == Allocation::None => Next::Make,
            _ if self.allocation == Allocation::Done => self.next_after_allocation(),
            _ if self.measured < self.made && !self.is_after_the_fact => Next::Measure,
            _ => Next::Allocate,
        }
    }

    fn next_after_allocation(&self) -> Next {
        let waits = |tests: &&Tests| !tests.is_unblinded;
        let lab = self.consignments.iter().find(waits);
        match lab {
            _ if !self.is_sealed => Next::Seal,
            _ if self.baseline_waiting > 0 && !self.is_after_the_fact => Next::PackBaseline,
            _ if self.outing.out < self.outing.placed => Next::PutOut,
            Some(tests) if tests.is_finished => Next::Unblind,
            _ if self.outing.in_hand > 0 => Next::Pack,
            Some(_) => Next::Wait,
            None if self.outing.back < self.outing.out => Next::TakeIn,
            None => Next::Publish,
        }
    }
}

/// Pieces with all the readings that the plan calls for before exposure.
fn measured(record: &StudyRecord) -> usize {
    let Some(held) = record.plan() else { return 0 };
    let mut there: BTreeMap<(&Code, &Quantity), u8> = BTreeMap::new();
    for taken in record.current_readings() {
        let reading = &taken.reading;
        if reading.occasion == Occasion::Before && reading.state == held.plan.reference_state {
            let count = there
                .entry((&reading.specimen, &reading.quantity))
                .or_default();
            *count = count.saturating_add(1);
        }
    }
    let quantities = held.plan.quantities();
    let has_all = |piece: &&SpecimenRecord| {
        let wanted = |quantity: &Quantity| held.plan.readings_of(quantity);
        let has = |quantity: &Quantity| there.get(&(&piece.code, quantity)).copied().unwrap_or(0);
        let is_usable = !piece.is_nameless && piece.whereabouts != Whereabouts::Rejected;
        is_usable
            && quantities
                .iter()
                .all(|quantity| has(quantity) >= wanted(quantity))
    };
    record.specimens.iter().filter(has_all).count()
}

fn allocation(record: &StudyRecord) -> Allocation {
    let Some(last) = record.draws.last() else {
        return Allocation::None;
    };
    let for_plan = record.seal.as_ref().map(|seal| seal.plan_version);
    let for_plan = for_plan.or_else(|| record.plan().map(|held| held.version));
    if last.drawn.draw == 0 || for_plan == Some(last.drawn.plan_version) {
        Allocation::Done
    } else {
        Allocation::Stale
    }
}

fn outing(record: &StudyRecord) -> Outing {
    let mut outing = Outing::default();
    for piece in &record.specimens {
        if !matches!(piece.place, Some(Place::Exposed { .. })) || piece.is_nameless {
            continue;
        }
        outing.placed += 1;
        let is_bench = matches!(
            piece.whereabouts,
            Whereabouts::Bench | Whereabouts::Rejected
        );
        outing.out += usize::from(!is_bench);
        outing.back += usize::from(!is_bench && piece.whereabouts != Whereabouts::Out);
        outing.in_hand += usize::from(piece.whereabouts == Whereabouts::In);
    }
    outing
}
