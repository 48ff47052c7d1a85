//! Which piece goes where: a random draw, stratified by build and balanced on baseline mass.
//!
//! The draw is a pure function of the pieces, the places and a seed, so that anybody can repeat it.
//! Rounding shares to whole pieces is in [`rounding`], dealing ordered pieces to groups in [`deal`],
//! what came of it in [`balance`]; a grouping told after the fact in [`grouping`].

pub mod balance;
mod deal;
mod dice;
pub mod grouping;
mod rounding;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub use dice::{Dice, seed_from_hex};

use super::code::Code;
use super::plan::{Condition, Holder, Plan, sha256_hex};
use super::reading::{Occasion, Quantity};
use super::record::{SpecimenRecord, StudyRecord};
use super::specimen::Whereabouts;

/// Name of the method below, recorded with each draw. A changed method gets a new name.
pub const METHOD: &str = "build-and-mass-halving-1";

/// What a piece is for.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "role")]
pub enum Place {
    /// Broken at the start.
    Baseline,
    /// Goes into a condition.
    Exposed {
        /// Key of the condition.
        condition: String,
        /// Days of the stage at which it is taken in.
        stage_days: u32,
        /// Key of the holder.
        holder: String,
    },
    /// Kept back.
    Spare,
    /// Made later for comparison, its lot named: never called baseline.
    LateReference,
}

/// One line of a draw.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Placed {
    /// The piece.
    pub specimen: Code,
    /// Where it goes.
    #[serde(flatten)]
    pub place: Place,
}

/// A draw as it enters the journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Allocated {
    /// Its number, from 1; a second draw needs a reason.
    pub draw: u32,
    /// The plan version it was drawn for.
    pub plan_version: u32,
    /// The seed, 32 bytes in hexadecimal digits.
    pub seed: String,
    /// Name of the method ([`METHOD`]).
    pub method: String,
    /// SHA-256 of the list of candidates (code, build, mass), so that the input can be proved.
    pub candidates_sha256: String,
    /// The result, one line a piece.
    pub rows: Vec<Placed>,
}

/// A piece that may be allocated.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Its code.
    pub code: Code,
    /// Its build.
    pub build: String,
    /// Its mass before exposure in g, when it was weighed.
    pub mass_g: Option<f64>,
}

/// Why a draw cannot be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TooFewPieces {
    /// Pieces that the plan needs.
    pub needed: usize,
    /// Pieces that there are.
    pub there_are: usize,
}

impl std::fmt::Display for TooFewPieces {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "The plan needs {} pieces, but only {} can be allocated.",
            self.needed, self.there_are
        )
    }
}

/// The pieces of a study that a draw may place: those on the bench that have a mark of their own.
#[must_use]
pub fn candidates(record: &StudyRecord) -> Vec<Candidate> {
    listed(record, |piece| {
        piece.whereabouts == Whereabouts::Bench && !piece.is_nameless
    })
}

/// The chosen pieces of a study as a draw sees them: with their build and the mean of their masses
/// before exposure in the plan's reference state.
#[must_use]
pub fn listed(record: &StudyRecord, is_wanted: impl Fn(&SpecimenRecord) -> bool) -> Vec<Candidate> {
    let state = record.plan().map(|version| version.plan.reference_state);
    let mut masses: BTreeMap<&Code, (f64, f64)> = BTreeMap::new();
    for taken in record.current_readings() {
        let reading = &taken.reading;
        let is_baseline = reading.quantity == Quantity::Mass
            && reading.occasion == Occasion::Before
            && Some(reading.state) == state;
        if is_baseline {
            let (sum, count) = masses.entry(&reading.specimen).or_default();
            *sum += reading.value;
            *count += 1.0;
        }
    }
    let candidate = |piece: &SpecimenRecord| Candidate {
        code: piece.code.clone(),
        build: piece.build.clone(),
        mass_g: masses.get(&piece.code).map(|(sum, count)| sum / count),
    };
    let wanted = record.specimens.iter().filter(|piece| is_wanted(piece));
    wanted.map(candidate).collect()
}

/// Draws the allocation.
///
/// # Method
/// The groups are the baseline set, then each condition (in the plan's order) at each stage, then the
/// spares: every piece that the others do not need.
///
/// 1. Each build owes each group its proportional share. The shares are rounded to whole pieces at
///    random, so that every build and every group adds up and no number is further than the next whole
///    one from its share ([`rounding`]).
/// 2. Within a build the pieces are put in order of mass (those not weighed first, equals by code) and
///    halved again and again; the groups' shares of the two halves are rounded the same way, until
///    each piece has its group ([`deal`]). So every group gets light and heavy pieces alike.
/// 3. Within a group the pieces are dealt to the holders in the same two steps. Holders of a condition
///    differ by one piece at most; the odd ones go to those that have the fewest so far.
///
/// The rounding keeps every share as its mean, so each piece has the same chance of each place.
///
/// # Errors
/// When there are fewer pieces than the plan needs (spares are given up first).
pub fn draw(
    plan: &Plan,
    pieces: &[Candidate],
    seed: &[u8; 32],
) -> Result<Vec<Placed>, TooFewPieces> {
    let mut groups = groups(plan);
    let needed: usize = groups.iter().map(|(_, count)| count).sum();
    let there_are = pieces.len();
    let spares = there_are.checked_sub(needed);
    let spares = spares.ok_or(TooFewPieces { needed, there_are })?;
    groups.push((Group::Spare, spares));
    let mut dice = Dice::new(seed);
    let sizes: Vec<usize> = groups.iter().map(|(_, count)| *count).collect();
    let pieces: Vec<&Candidate> = pieces.iter().collect();
    let dealt = deal::deal(&pieces, &sizes, &mut dice);
    let mut loads = Loads::new();
    let mut rows = Vec::with_capacity(there_are);
    for ((group, _), members) in groups.into_iter().zip(dealt) {
        for (place, members) in places(group, members, &mut loads, &mut dice) {
            rows.extend(members.into_iter().map(|piece| Placed {
                specimen: piece.code.clone(),
                place: place.clone(),
            }));
        }
    }
    rows.sort_by(|a, b| a.specimen.cmp(&b.specimen));
    Ok(rows)
}

/// What a group of a draw is.
#[derive(Debug, Clone, Copy)]
enum Group<'p> {
    Baseline,
    Exposed(&'p Condition, u32),
    Spare,
}

fn groups(plan: &Plan) -> Vec<(Group<'_>, usize)> {
    let mut groups = vec![(Group::Baseline, plan.baseline as usize)];
    for condition in &plan.conditions {
        for (stage, count) in plan.stages.iter().zip(&condition.replicates) {
            groups.push((Group::Exposed(condition, stage.days), *count as usize));
        }
    }
    groups
}

/// How many pieces each holder has so far.
type Loads<'p> = BTreeMap<&'p str, usize>;

/// A group's pieces with their places: all in one, or dealt to the holders of its condition.
fn places<'p, 'c>(
    group: Group<'p>,
    members: Vec<&'c Candidate>,
    loads: &mut Loads<'p>,
    dice: &mut Dice,
) -> Vec<(Place, Vec<&'c Candidate>)> {
    let (condition, stage_days) = match group {
        Group::Baseline => return vec![(Place::Baseline, members)],
        Group::Spare => return vec![(Place::Spare, members)],
        Group::Exposed(condition, stage_days) => (condition, stage_days),
    };
    let sizes = holder_sizes(condition, members.len(), loads, dice);
    let dealt = deal::deal(&members, &sizes, dice);
    let place = |holder: &Holder| Place::Exposed {
        condition: condition.key.clone(),
        stage_days,
        holder: holder.key.clone(),
    };
    condition.holders.iter().map(place).zip(dealt).collect()
}

/// How many pieces each holder of a condition gets: all the same, the odd ones to those that have the
/// fewest so far, at random among equals.
fn holder_sizes<'p>(
    condition: &'p Condition,
    count: usize,
    loads: &mut Loads<'p>,
    dice: &mut Dice,
) -> Vec<usize> {
    let holders = condition.holders.len().max(1);
    let mut order: Vec<usize> = (0..condition.holders.len()).collect();
    dice.shuffle(&mut order);
    let load = |at: &usize| {
        let holder = condition.holders.get(*at);
        holder.and_then(|holder| loads.get(holder.key.as_str()).copied())
    };
    order.sort_by_key(|at| load(at).unwrap_or(0));
    let odd: Vec<usize> = order.into_iter().take(count % holders).collect();
    let size = |(at, holder): (usize, &'p Holder)| {
        let size = count / holders + usize::from(odd.contains(&at));
        *loads.entry(&holder.key).or_default() += size;
        size
    };
    condition.holders.iter().enumerate().map(size).collect()
}

/// Whether a draw gives every group of the plan its number of pieces.
#[must_use]
pub fn fits(plan: &Plan, rows: &[Placed]) -> bool {
    let mut exposed: BTreeMap<(&str, u32), usize> = BTreeMap::new();
    let mut baseline = 0;
    for row in rows {
        match &row.place {
            Place::Baseline => baseline += 1,
            Place::Exposed {
                condition,
                stage_days,
                ..
            } => *exposed.entry((condition, *stage_days)).or_default() += 1,
            Place::Spare => {}
            Place::LateReference => return false,
        }
    }
    let has_its_number = |(group, size): (Group<'_>, usize)| match group {
        Group::Exposed(condition, days) => {
            exposed.get(&(condition.key.as_str(), days)).copied() == Some(size).filter(|n| *n > 0)
        }
        Group::Baseline | Group::Spare => baseline == size,
    };
    groups(plan).into_iter().all(has_its_number)
}

/// SHA-256 over the candidates as lines `code,build,mass`, sorted by code.
#[must_use]
pub fn candidates_sha256(pieces: &[Candidate]) -> String {
    let mut lines: Vec<String> = pieces
        .iter()
        .map(|p| {
            let mass = p.mass_g.map_or_else(String::new, |mass| mass.to_string());
            format!("{},{},{mass}\n", p.code, p.build)
        })
        .collect();
    lines.sort();
    sha256_hex(lines.concat().as_bytes())
}
