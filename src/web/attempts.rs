//! Slows down guessing, by name and by address, in memory. A guess costs the guesser a growing
//! wait; the rightful person waits at most a minute because somebody else guesses at their name.

use crate::clock::Clock;
use chrono::{DateTime, Utc};
use sha2::{Digest, Sha256};
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

/// Tallies kept. Names and addresses share them by a keyed hash, so that memory is bounded however
/// many are tried; two that meet in one are slowed together, which is rare and harmless.
const TALLIES: usize = 8192;
/// A tally is forgotten after this long without an attempt, in seconds.
const FORGET_S: i64 = 15 * 60;

/// Whose attempts are counted, and how gently.
#[derive(Debug, Clone, Copy)]
pub(super) enum By<'a> {
    /// The name that was typed, whether or not anybody has it.
    Name(&'a str),
    /// The address it came from: several people may share one.
    Address(IpAddr),
    /// The address from which wrong tokens come; right ones are never slowed by it.
    Token(IpAddr),
}

impl By<'_> {
    /// Attempts that cost nothing, and the longest wait in seconds.
    fn terms(self) -> (u32, i64) {
        match self {
            By::Name(_) => (5, 60),
            By::Address(_) | By::Token(_) => (20, 300),
        }
    }

    fn key(self) -> String {
        match self {
            By::Name(name) => format!("name {name}"),
            By::Address(address) => format!("address {address}"),
            By::Token(address) => format!("token {address}"),
        }
    }
}

/// The tallies. Cheap to clone.
#[derive(Clone)]
pub(crate) struct Attempts {
    seed: [u8; 16],
    tallies: Arc<Mutex<Vec<Tally>>>,
}

#[derive(Clone, Copy, Default)]
struct Tally {
    count: u32,
    last: DateTime<Utc>,
}

impl Attempts {
    /// Nobody has tried anything yet.
    pub(super) fn new(clock: &Clock) -> Self {
        let tallies = Arc::new(Mutex::new(vec![Tally::default(); TALLIES]));
        Self {
            seed: clock.random(),
            tallies,
        }
    }

    /// Counts an attempt before it is judged, so that many at once do not slip through.
    ///
    /// # Errors
    /// How many seconds to wait, when this one comes too soon; it then does not count.
    pub(super) fn begin(&self, by: &[By<'_>], now: DateTime<Utc>) -> Result<(), i64> {
        let mut tallies = self.tallies.lock().unwrap_or_else(PoisonError::into_inner);
        let waits = by.iter().map(|by| {
            let tally = tallies.get(self.place(*by)).copied().unwrap_or_default();
            tally.wait_s(*by, now)
        });
        match waits.max() {
            Some(wait_s) if wait_s > 0 => return Err(wait_s),
            _ => {}
        }
        for by in by {
            if let Some(tally) = tallies.get_mut(self.place(*by)) {
                tally.count = tally.live_count(now).saturating_add(1);
                tally.last = now;
            }
        }
        Ok(())
    }

    /// Takes back what was counted: the attempt was right.
    pub(super) fn forgive(&self, by: &[By<'_>]) {
        let mut tallies = self.tallies.lock().unwrap_or_else(PoisonError::into_inner);
        for by in by {
            if let Some(tally) = tallies.get_mut(self.place(*by)) {
                match by {
                    By::Name(_) => tally.count = 0,
                    // One right password must not wipe out an address's many wrong ones.
                    By::Address(_) | By::Token(_) => tally.count = tally.count.saturating_sub(1),
                }
            }
        }
    }

    fn place(&self, by: By<'_>) -> usize {
        let hash = Sha256::new()
            .chain_update(self.seed)
            .chain_update(by.key())
            .finalize();
        let mut first = [0; 2];
        first.iter_mut().zip(hash).for_each(|(to, from)| *to = from);
        usize::from(u16::from_be_bytes(first)) % TALLIES
    }
}

impl Tally {
    fn live_count(self, now: DateTime<Utc>) -> u32 {
        if (now - self.last).num_seconds() > FORGET_S {
            0
        } else {
            self.count
        }
    }

    /// Seconds still to wait: 1, 2, 4 … after the free attempts, up to the longest.
    fn wait_s(self, by: By<'_>, now: DateTime<Utc>) -> i64 {
        let (free, longest_s) = by.terms();
        let over = match self.live_count(now).checked_sub(free) {
            None => return 0,
            Some(over) => over.min(16),
        };
        let whole = (1_i64 << over).min(longest_s);
        // Rounded up: half a second still to go is a second in Retry-After.
        let gone_s = (now - self.last).num_seconds();
        (whole - gone_s).max(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeDelta;

    const NAME: [By<'static>; 1] = [By::Name("ada")];

    fn after(seconds: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_700_000_000 + seconds, 0).expect("a moment")
    }

    #[test]
    fn the_sixth_guess_waits_and_the_wait_doubles_up_to_a_minute() {
        let attempts = Attempts::new(&Clock::system());
        for _ in 0..5 {
            assert_eq!(attempts.begin(&NAME, after(0)), Ok(()));
        }
        let mut now = 0;
        let mut waits = Vec::new();
        while let Err(wait_s) = attempts.begin(&NAME, after(now)) {
            waits.push(wait_s);
            now += wait_s;
            assert_eq!(
                attempts.begin(&NAME, after(now - 1)),
                Err(1),
                "a second too soon"
            );
            assert_eq!(attempts.begin(&NAME, after(now)), Ok(()));
            if waits.len() == 8 {
                break;
            }
        }
        assert_eq!(waits, [1, 2, 4, 8, 16, 32, 60, 60]);
    }

    #[test]
    fn a_right_password_clears_the_name_and_time_clears_all() {
        let attempts = Attempts::new(&Clock::system());
        for _ in 0..5 {
            assert_eq!(attempts.begin(&NAME, after(0)), Ok(()));
        }
        assert_eq!(attempts.begin(&NAME, after(0)), Err(1));
        attempts.forgive(&NAME);
        assert_eq!(attempts.begin(&NAME, after(0)), Ok(()));
        for _ in 0..4 {
            assert_eq!(attempts.begin(&NAME, after(0)), Ok(()));
        }
        assert!(attempts.begin(&NAME, after(0)).is_err());
        let later = after(0) + TimeDelta::seconds(FORGET_S + 1);
        assert_eq!(attempts.begin(&NAME, later), Ok(()));
    }
}
