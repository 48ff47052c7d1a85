//! Turns: a number for each chain of the journal that moves on with every commit to it. Whoever keeps
//! something made from the database asks it whether the database has moved on since, without a query.

use crate::study::entry::Chain;
use std::collections::HashMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, PoisonError, RwLock};

/// One counter, as its reader holds it.
#[derive(Debug, Clone, Default)]
pub struct Turn(Arc<AtomicU64>);

impl Turn {
    /// Where it stands. Two readings that are equal saw no commit between them.
    #[must_use]
    pub fn now(&self) -> u64 {
        self.0.load(Ordering::Acquire)
    }

    fn move_on(&self) {
        self.0.fetch_add(1, Ordering::AcqRel);
    }
}

/// The counters of all chains. Moved by the journal's writer alone, after a commit and before any
/// sender is answered, so that a sender who was answered never meets what was kept before.
#[derive(Debug, Clone, Default)]
pub struct Turns {
    all: Turn,
    chains: Arc<RwLock<HashMap<Chain, Turn>>>,
}

impl Turns {
    /// The counter of everything together.
    #[must_use]
    pub fn all(&self) -> Turn {
        self.all.clone()
    }

    /// The counter of one chain.
    #[must_use]
    pub fn of(&self, chain: Chain) -> Turn {
        let known = self.chains.read().unwrap_or_else(PoisonError::into_inner);
        if let Some(turn) = known.get(&chain) {
            return turn.clone();
        }
        drop(known);
        let mut chains = self.chains.write().unwrap_or_else(PoisonError::into_inner);
        chains.entry(chain).or_default().clone()
    }

    /// A commit touched these chains.
    pub(super) fn move_on(&self, touched: impl Iterator<Item = Chain>) {
        for chain in touched {
            self.of(chain).move_on();
            self.all.move_on();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Clock;
    use crate::study::ids::StudyId;

    #[test]
    fn a_commit_moves_its_own_chain_and_the_whole_and_no_other() {
        let clock = Clock::system();
        let one = Chain::Study(StudyId(clock.new_id()));
        let other = Chain::Study(StudyId(clock.new_id()));
        let turns = Turns::default();
        let (of_one, of_other, all) = (turns.of(one), turns.of(other), turns.all());
        let before = (of_one.now(), of_other.now(), all.now());
        turns.move_on([one].into_iter());
        assert_ne!(of_one.now(), before.0);
        assert_eq!(of_other.now(), before.1);
        assert_ne!(all.now(), before.2);
        assert_eq!(turns.of(one).now(), of_one.now(), "the same counter");
    }
}
