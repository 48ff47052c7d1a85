//! Dealing pieces to groups so that each group gets its share of every build and of every mass.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use super::rounding::round;
use super::{Candidate, Dice};

/// Deals pieces to groups of these sizes, which add up to the number of pieces. Each group's pieces
/// come in the order of build and mass.
pub(super) fn deal<'p>(
    pieces: &[&'p Candidate],
    sizes: &[usize],
    dice: &mut Dice,
) -> Vec<Vec<&'p Candidate>> {
    let builds = by_build(pieces);
    let counts: Vec<usize> = builds.iter().map(Vec::len).collect();
    let shares = round(&counts, sizes, dice);
    let mut dealt = vec![Vec::new(); sizes.len()];
    for (build, shares) in builds.iter().zip(shares) {
        let shares: Vec<Share> = shares.into_iter().enumerate().collect();
        halve(build, &shares, dice, &mut dealt);
    }
    dealt
}

/// A group, by its position, and how many pieces it gets.
type Share = (usize, usize);

/// The pieces of each build in order of mass, those not weighed first, equals by code.
fn by_build<'p>(pieces: &[&'p Candidate]) -> Vec<Vec<&'p Candidate>> {
    let mut builds: BTreeMap<&str, Vec<&Candidate>> = BTreeMap::new();
    for piece in pieces {
        builds.entry(&piece.build).or_default().push(piece);
    }
    let mut builds: Vec<Vec<&Candidate>> = builds.into_values().collect();
    for build in &mut builds {
        build.sort_by(|a, b| by_mass(a, b).then_with(|| a.code.cmp(&b.code)));
    }
    builds
}

fn by_mass(a: &Candidate, b: &Candidate) -> Ordering {
    match (a.mass_g, b.mass_g) {
        (Some(a), Some(b)) => a.total_cmp(&b),
        (a, b) => a.is_some().cmp(&b.is_some()),
    }
}

/// Gives an ordered run of pieces to its groups, half by half, down to the single piece.
fn halve<'p>(
    pieces: &[&'p Candidate],
    shares: &[Share],
    dice: &mut Dice,
    dealt: &mut [Vec<&'p Candidate>],
) {
    let shares: Vec<Share> = shares.iter().copied().filter(|(_, n)| *n > 0).collect();
    if let [(group, _)] = shares.as_slice() {
        if let Some(members) = dealt.get_mut(*group) {
            members.extend_from_slice(pieces);
        }
        return;
    }
    if shares.is_empty() {
        return;
    }
    let (lighter, heavier) = pieces.split_at(pieces.len() / 2);
    let sizes: Vec<usize> = shares.iter().map(|(_, n)| *n).collect();
    let halves = round(&[lighter.len(), heavier.len()], &sizes, dice);
    for (half, numbers) in [lighter, heavier].into_iter().zip(halves) {
        let groups = shares.iter().map(|(group, _)| *group);
        let own: Vec<Share> = groups.zip(numbers).collect();
        halve(half, &own, dice, dealt);
    }
}
