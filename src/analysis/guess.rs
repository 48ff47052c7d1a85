//! What the tester thought of each piece: hits against chance (practice.md §1.5).

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::study::allocation::Place;
use crate::study::break_test::Looks;
use crate::study::code::Code;
use crate::study::consignment::Contents;
use crate::study::plan::Plan;
use crate::study::record::{ConsignmentRecord, StudyRecord};

/// How often the tester was right.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Guesses {
    /// Pieces called 'kept indoors' or 'exposed'.
    pub guessed: usize,
    /// Of these, rightly.
    pub hits: usize,
    /// Pieces of which the tester could not tell.
    pub cannot_tell: usize,
    /// Hits to be expected by chance from somebody who calls as many pieces 'kept indoors' as this
    /// tester did.
    pub expected: f64,
    /// Probability of at least so many hits by chance alone (binomial).
    pub p_at_least: f64,
}

/// The guesses of a stage's consignment; `None` for the baseline set, and when none was recorded.
#[must_use]
pub fn guesses(
    record: &StudyRecord,
    plan: &Plan,
    consignment: &ConsignmentRecord,
) -> Option<Guesses> {
    if consignment.contents == Contents::Baseline {
        return None;
    }
    let places: BTreeMap<&Code, Option<&Place>> = record
        .specimens
        .iter()
        .map(|s| (&s.code, s.place.as_ref()))
        .collect();
    let told = consignment
        .pieces
        .iter()
        .filter_map(|p| p.looks.map(|looks| (p, looks)));
    let (mut guessed, mut hits, mut cannot_tell) = (0, 0, 0);
    let (mut called_indoors, mut is_indoors) = (0, 0);
    for (piece, looks) in told {
        let Some(indoors) = was_indoors(&places, plan, &piece.specimen) else {
            continue;
        };
        if looks == Looks::CannotTell {
            cannot_tell += 1;
            continue;
        }
        guessed += 1;
        called_indoors += usize::from(looks == Looks::Indoors);
        is_indoors += usize::from(indoors);
        hits += usize::from((looks == Looks::Indoors) == indoors);
    }
    if guessed + cannot_tell == 0 {
        return None;
    }
    let share = |part: usize| part as f64 / (guessed as f64).max(1.0);
    let (a, q) = (share(called_indoors), share(is_indoors));
    let chance = a * q + (1.0 - a) * (1.0 - q);
    Some(Guesses {
        guessed,
        hits,
        cannot_tell,
        expected: chance * guessed as f64,
        p_at_least: at_least(hits, guessed, chance),
    })
}

fn was_indoors(
    places: &BTreeMap<&Code, Option<&Place>>,
    plan: &Plan,
    piece: &Code,
) -> Option<bool> {
    match (*places.get(piece)?)? {
        Place::Exposed { condition, .. } => Some(plan.condition(condition)?.is_storage_control),
        _ => None,
    }
}

/// Probability of at least `hits` of `n` when each is a hit with probability `chance`.
///
/// # Formula
/// ```text
/// Σ_{k ≥ hits} C(n, k) p^k (1 − p)^(n − k), each term in logarithms
/// ```
#[must_use]
pub fn at_least(hits: usize, n: usize, chance: f64) -> f64 {
    if hits == 0 || chance >= 1.0 {
        return 1.0;
    }
    if chance <= 0.0 {
        return 0.0;
    }
    let (log_p, log_q) = (chance.ln(), (-chance).ln_1p());
    let mut log_choose = 0.0;
    let mut sum = 0.0;
    for k in 0..=n {
        if k >= hits {
            sum += (log_choose + k as f64 * log_p + (n - k) as f64 * log_q).exp();
        }
        log_choose += ((n - k) as f64).max(1.0).ln() - ((k + 1) as f64).ln();
    }
    sum.min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fisher's lady tasting tea has other margins; the binomial tail is exact by counting: 8 coins,
    /// at least 7 heads: (8 + 1)/256.
    #[test]
    fn the_tail_is_what_counting_gives() {
        assert!((at_least(7, 8, 0.5) - 9.0 / 256.0).abs() < 1e-14);
        assert!((at_least(1, 3, 0.2) - (1.0 - 0.512)).abs() < 1e-14);
        assert_eq!((at_least(0, 5, 0.3), at_least(5, 5, 1.0)), (1.0, 1.0));
        assert!((at_least(600, 1000, 0.5) - 1.364_232_2e-10).abs() < 1e-16);
    }
}
