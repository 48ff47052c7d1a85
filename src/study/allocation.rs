//! Which piece goes where: a random draw, stratified by build and balanced on baseline mass.
//!
//! The draw is a pure function of the pieces, the places and a seed, so that anybody can repeat it.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::code::Code;
use super::plan::{Plan, sha256_hex};

/// Name of the method below, recorded with each draw. A changed method gets a new name.
pub const METHOD: &str = "blocked-by-build-and-mass-1";

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

/// Draws the allocation.
///
/// Pieces are sorted by build and, within a build, by mass; neighbours form blocks as large as the
/// number of groups (baseline, and each condition at each stage) that still want pieces; within each
/// block the groups are shuffled. So every group gets its share of each build and of light and heavy
/// pieces, and each piece has the same chance of every group within its block. Spares are taken first,
/// at random. Holders of a condition are filled in turn, in random order.
///
/// # Errors
/// When there are fewer pieces than the plan needs (spares are given up first).
pub fn draw(
    plan: &Plan,
    pieces: &[Candidate],
    seed: &[u8; 32],
) -> Result<Vec<Placed>, TooFewPieces> {
    let mut open = groups(plan);
    let needed: usize = open.iter().map(|(_, count)| count).sum();
    if pieces.len() < needed {
        return Err(TooFewPieces {
            needed,
            there_are: pieces.len(),
        });
    }
    let mut dice = Dice::new(seed);
    let mut pieces: Vec<&Candidate> = pieces.iter().collect();
    pieces.sort_by(|a, b| a.code.cmp(&b.code));
    let mut spares = Vec::new();
    while pieces.len() > needed {
        spares.push(pieces.remove(dice.below(pieces.len())));
    }
    pieces.sort_by(|a, b| {
        (&a.build, a.mass_g.unwrap_or(0.0), &a.code)
            .partial_cmp(&(&b.build, b.mass_g.unwrap_or(0.0), &b.code))
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    let chosen = deal(&mut open, &pieces, &mut dice);
    let mut rows = into_holders(plan, chosen, &mut dice);
    rows.extend(spares.iter().map(|s| Placed {
        specimen: s.code.clone(),
        place: Place::Spare,
    }));
    rows.sort_by(|a, b| a.specimen.cmp(&b.specimen));
    Ok(rows)
}

/// A group that wants pieces: the baseline, or a condition (by position) at a stage.
type Group = Option<(usize, u32)>;

fn groups(plan: &Plan) -> Vec<(Group, usize)> {
    let mut groups = vec![(None, plan.baseline as usize)];
    for (position, condition) in plan.conditions.iter().enumerate() {
        for (stage, count) in plan.stages.iter().zip(&condition.replicates) {
            groups.push((Some((position, stage.days)), *count as usize));
        }
    }
    groups.retain(|(_, count)| *count > 0);
    groups
}

/// Deals the sorted pieces to the groups block by block. In each round every group takes part in
/// proportion to what it still wants, so that large and small groups run out together.
fn deal<'p>(
    open: &mut [(Group, usize)],
    pieces: &[&'p Candidate],
    dice: &mut Dice,
) -> Vec<(&'p Candidate, Group)> {
    let smallest = open
        .iter()
        .map(|(_, count)| *count)
        .min()
        .unwrap_or(1)
        .max(1);
    let mut dealt = Vec::with_capacity(pieces.len());
    let mut rest = pieces;
    for round in (1..=smallest).rev() {
        let mut block: Vec<Group> = Vec::new();
        for (group, count) in open.iter_mut() {
            let share = count.div_ceil(round);
            block.extend(std::iter::repeat_n(*group, share));
            *count -= share;
        }
        dice.shuffle(&mut block);
        let (these, others) = rest.split_at(block.len().min(rest.len()));
        dealt.extend(these.iter().copied().zip(block));
        rest = others;
    }
    dealt
}

fn into_holders(plan: &Plan, chosen: Vec<(&Candidate, Group)>, dice: &mut Dice) -> Vec<Placed> {
    let mut turns: BTreeMap<(usize, u32), Vec<String>> = BTreeMap::new();
    let mut rows = Vec::with_capacity(chosen.len());
    for (piece, group) in chosen {
        let place = match group {
            None => Place::Baseline,
            Some((position, stage_days)) => {
                let Some(condition) = plan.conditions.get(position) else {
                    continue;
                };
                let turn = turns.entry((position, stage_days)).or_default();
                if turn.is_empty() {
                    turn.extend(condition.holders.iter().map(|holder| holder.key.clone()));
                    dice.shuffle(turn);
                }
                let holder = turn.pop().unwrap_or_default();
                Place::Exposed {
                    condition: condition.key.clone(),
                    stage_days,
                    holder,
                }
            }
        };
        rows.push(Placed {
            specimen: piece.code.clone(),
            place,
        });
    }
    rows
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

/// Random numbers that a stranger can repeat: SHA-256 of the seed and a counter (8 bytes, big
/// endian); of each hash the first 8 bytes as a big-endian number; a number below n is that one
/// modulo n, drawn again when it falls into the last, incomplete run of n.
#[derive(Debug, Clone)]
pub struct Dice {
    seed: [u8; 32],
    counter: u64,
}

impl Dice {
    /// From a seed.
    #[must_use]
    pub fn new(seed: &[u8; 32]) -> Self {
        Self {
            seed: *seed,
            counter: 0,
        }
    }

    /// A number from 0 to `n` − 1, each as likely as another; 0 for `n` = 0.
    pub fn below(&mut self, n: usize) -> usize {
        let Ok(n) = u64::try_from(n) else { return 0 };
        if n < 2 {
            return 0;
        }
        let fair = u64::MAX - u64::MAX % n;
        loop {
            let number = self.next();
            if number < fair {
                return usize::try_from(number % n).unwrap_or(0);
            }
        }
    }

    /// Fisher and Yates' shuffle.
    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            items.swap(last, self.below(last + 1));
        }
    }

    fn next(&mut self) -> u64 {
        let hash = Sha256::new()
            .chain_update(self.seed)
            .chain_update(self.counter.to_be_bytes());
        self.counter += 1;
        hash.finalize()
            .iter()
            .take(8)
            .fold(0, |number, byte| number << 8 | u64::from(*byte))
    }
}

/// 32 bytes from 64 hexadecimal digits.
#[must_use]
pub fn seed_from_hex(text: &str) -> Option<[u8; 32]> {
    let mut seed = [0; 32];
    if text.len() != 64 || !text.is_ascii() {
        return None;
    }
    for (position, byte) in seed.iter_mut().enumerate() {
        *byte = u8::from_str_radix(text.get(2 * position..2 * position + 2)?, 16).ok()?;
    }
    Some(seed)
}
