//! What happened to all the pieces: every one counted, none twice, none silently missing.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::analysis::gather::{Closed, Dataset};
use crate::analysis::piece::{Fate, Flag, Group, Piece, by_group};
use crate::study::plan::Plan;
use crate::study::specimen::Recovery;

/// The whole count.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Accounting {
    /// Pieces made; nameless ones are not made again.
    pub made: usize,
    /// Rejected before the allocation.
    pub rejected: usize,
    /// Kept back as spares.
    pub spares: usize,
    /// Made and not allocated.
    pub unallocated: usize,
    /// Each set, in the order of the page.
    pub cells: Vec<Cell>,
}

/// One set of like pieces.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cell {
    /// Which.
    #[serde(flatten)]
    pub group: Group,
    /// Its name.
    pub name: String,
    /// Whether it is the storage control.
    pub is_storage_control: bool,
    /// Pieces that the plan calls for; `None` for a late reference.
    pub planned: Option<usize>,
    /// Pieces allocated to it.
    pub allocated: usize,
    /// Spares that took the place of an invalid test of this set, by the plan's rule.
    #[serde(default)]
    pub retests: usize,
    /// Pieces put out.
    pub put_out: usize,
    /// Pieces of which nothing may be told yet: on the bench, out, or with the tester.
    pub closed: usize,
    /// Came back, nameless ones among them.
    pub back: usize,
    /// Came back without a mark; each is matched to one missing code of its holder.
    pub nameless: usize,
    /// Nameless pieces for which no code is missing: something was recorded wrongly.
    pub surplus: usize,
    /// Not found, those that came back nameless left out.
    pub lost: usize,
    /// Destroyed by an accident, or taken out of the study.
    pub destroyed: usize,
    /// Withdrawn at the wrong time.
    pub in_error: usize,
    /// Sent to the lab.
    pub packed: usize,
    /// Lost on the way to the lab.
    pub lost_on_the_way: usize,
    /// Reached the lab, or came back, and was not tested.
    pub not_tested: usize,
    /// Valid tests.
    pub valid: usize,
    /// Carried at least a stated load.
    pub lower_bound: usize,
    /// Could not carry load.
    pub total_loss: usize,
    /// Invalid tests by reason, in the order of the alphabet.
    pub invalid: Vec<Reason>,
}

/// A reason and how many pieces it took.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reason {
    /// In words.
    pub reason: String,
    /// How many pieces.
    pub pieces: usize,
}

impl Cell {
    /// Invalid tests.
    #[must_use]
    pub fn invalid(&self) -> usize {
        self.invalid.iter().map(|r| r.pieces).sum()
    }

    /// Pieces tested, whatever came of it.
    #[must_use]
    pub fn tested(&self) -> usize {
        self.valid + self.lower_bound + self.total_loss + self.invalid()
    }

    /// Every piece by what came of it: equals `allocated`, the retests and the surplus of nameless ones.
    #[must_use]
    pub fn sum(&self) -> usize {
        let gone = self.lost + self.destroyed + self.in_error + self.lost_on_the_way;
        self.tested() + self.not_tested + gone + self.closed
    }
}

/// Counts everything.
#[must_use]
pub fn account(set: &Dataset<'_>) -> Accounting {
    let open = by_group(&set.pieces);
    let mut groups: Vec<&Group> = open.keys().copied().chain(set.closed.keys()).collect();
    let planned = planned_groups(set.plan);
    groups.extend(&planned);
    groups.sort_by_key(|group| order(set.plan, group));
    groups.dedup();
    let cells: Vec<Cell> = groups
        .into_iter()
        .map(|group| {
            let pieces = open.get(group).map_or(&[][..], Vec::as_slice);
            let closed = set.closed.get(group).copied().unwrap_or_default();
            cell(set.plan, group, pieces, closed)
        })
        .collect();
    let named: usize = cells.iter().map(|c| c.allocated + c.retests).sum();
    let apart = set.apart;
    Accounting {
        made: named + apart.rejected + apart.spares + apart.unallocated,
        rejected: apart.rejected,
        spares: apart.spares,
        unallocated: apart.unallocated,
        cells,
    }
}

fn planned_groups(plan: &Plan) -> Vec<Group> {
    let baseline = (plan.baseline > 0).then_some(Group::Baseline);
    let cells = plan.conditions.iter().flat_map(|condition| {
        let wanted = plan.stages.iter().zip(&condition.replicates);
        wanted
            .filter(|(_, n)| **n > 0)
            .map(|(stage, _)| Group::cell(&condition.key, stage.days))
    });
    baseline.into_iter().chain(cells).collect()
}

/// Baseline first, then stage by stage with the storage control leading, late reference last.
#[must_use]
pub fn order(plan: &Plan, group: &Group) -> (u8, u32, bool, usize, Group) {
    let place = |key: &str| {
        let position = plan.conditions.iter().position(|c| c.key == key);
        position.unwrap_or(usize::MAX)
    };
    match group {
        Group::Baseline => (0, 0, false, 0, group.clone()),
        Group::Cell {
            condition,
            stage_days,
        } => {
            let is_exposed = !group.is_storage_control(plan);
            (1, *stage_days, is_exposed, place(condition), group.clone())
        }
        Group::LateReference => (2, 0, false, 0, group.clone()),
    }
}

fn planned(plan: &Plan, group: &Group) -> Option<usize> {
    let number = match group {
        Group::Baseline => plan.baseline,
        Group::LateReference => return None,
        Group::Cell {
            condition,
            stage_days,
        } => {
            let stage = plan.stages.iter().position(|s| s.days == *stage_days);
            let condition = plan.condition(condition);
            let wanted = condition
                .zip(stage)
                .and_then(|(c, at)| c.replicates.get(at));
            wanted.copied().unwrap_or(0)
        }
    };
    usize::try_from(number).ok()
}

fn cell(plan: &Plan, group: &Group, pieces: &[&Piece], closed: Closed) -> Cell {
    let count = |fate: Fate| pieces.iter().filter(|p| p.fate == fate).count();
    let is_retest = |p: &&&Piece| p.flags.contains(&Flag::Retest);
    let retests = pieces.iter().filter(is_retest).count();
    let named = pieces.iter().filter(|p| !p.is_nameless && !is_retest(p));
    let nameless = pieces.iter().filter(|p| p.is_nameless).count();
    let missing: usize = missing_by_holder(pieces).values().sum();
    let lost_again = pieces
        .iter()
        .filter(|p| p.is_nameless && p.fate == Fate::Lost)
        .count();
    let found_in_holder = count(Fate::Lost) - lost_again - missing;
    // A code that nobody declared lost may still stand as out: it is matched last.
    let found_elsewhere = (nameless - found_in_holder).min(closed.allocated);
    let is_back = |p: &&&Piece| {
        let gone = matches!(p.fate, Fate::Lost | Fate::Destroyed);
        p.recovery.is_some_and(|r| r != Recovery::NotFound) && !gone
    };
    Cell {
        name: group.name(plan),
        is_storage_control: group.is_storage_control(plan),
        planned: planned(plan, group),
        allocated: named.clone().count() + closed.allocated,
        retests,
        put_out: named.filter(|p| p.was_put_out).count() + closed.put_out,
        closed: closed.allocated - found_elsewhere,
        back: pieces.iter().filter(is_back).count(),
        nameless,
        surplus: nameless - found_in_holder - found_elsewhere,
        lost: missing + lost_again,
        destroyed: count(Fate::Destroyed),
        in_error: count(Fate::InError),
        packed: pieces.iter().filter(|p| p.session.is_some()).count(),
        lost_on_the_way: count(Fate::LostOnTheWay),
        not_tested: count(Fate::NotTested),
        valid: count(Fate::Valid),
        lower_bound: count(Fate::LowerBound),
        total_loss: count(Fate::TotalLoss),
        invalid: reasons(pieces),
        group: group.clone(),
    }
}

/// Codes not found, by holder, less the nameless pieces found in the same holder.
#[must_use]
pub fn missing_by_holder<'p>(pieces: &[&'p Piece]) -> BTreeMap<Option<&'p str>, usize> {
    let mut missing: BTreeMap<Option<&str>, usize> = BTreeMap::new();
    for piece in pieces
        .iter()
        .filter(|p| p.fate == Fate::Lost && !p.is_nameless)
    {
        *missing.entry(piece.holder.as_deref()).or_default() += 1;
    }
    for piece in pieces.iter().filter(|p| p.is_nameless) {
        if let Some(left) = missing.get_mut(&piece.holder.as_deref()) {
            *left = left.saturating_sub(1);
        }
    }
    missing
}

fn reasons(pieces: &[&Piece]) -> Vec<Reason> {
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for piece in pieces.iter().filter(|p| p.fate == Fate::Invalid) {
        let mode = piece.mode.map(|mode| mode.label().to_owned());
        let reason = piece
            .reason
            .clone()
            .or(mode)
            .unwrap_or_else(|| "no reason given".to_owned());
        *counts.entry(reason).or_default() += 1;
    }
    let named = |(reason, pieces)| Reason { reason, pieces };
    counts.into_iter().map(named).collect()
}
