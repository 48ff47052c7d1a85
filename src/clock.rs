//! The only caller of "now" and of the random source: ids, tokens and codes come from here, so that
//! a test or the demo can set the time and repeat a run. Nothing else in the program reads a clock
//! or draws a number.

use chrono::{DateTime, TimeDelta, Utc};
use sha2::{Digest, Sha256};
use std::sync::{Arc, Mutex, PoisonError};
use uuid::Uuid;

/// Letters and digits that are not taken for one another: no I, O, 0 or 1.
const ALPHABET: &[u8; 32] = b"ABCDEFGHJKLMNPQRSTUVWXYZ23456789";

/// Time and randomness. Cheap to clone; clones of a set clock share its time.
#[derive(Clone)]
pub struct Clock(Source);

#[derive(Clone)]
enum Source {
    /// The machine's clock and the operating system's generator.
    System,
    /// For tests and the demo only: secrets drawn from it can be foretold.
    Set(Arc<Mutex<Setting>>),
}

struct Setting {
    now: DateTime<Utc>,
    seed: u64,
    draws: u64,
}

impl Clock {
    /// The machine's own clock and the operating system's random generator: the one for `serve`.
    pub fn system() -> Self {
        Self(Source::System)
    }

    /// A clock that stands at `now` until it is moved, with random bytes that follow from `seed`.
    pub fn set_at(now: DateTime<Utc>, seed: u64) -> Self {
        Self(Source::Set(Arc::new(Mutex::new(Setting {
            now,
            seed,
            draws: 0,
        }))))
    }

    /// The present moment, to the millisecond: what the store keeps.
    pub fn now(&self) -> DateTime<Utc> {
        let now = match &self.0 {
            Source::System => Utc::now(),
            Source::Set(setting) => setting.lock().unwrap_or_else(PoisonError::into_inner).now,
        };
        DateTime::from_timestamp_millis(now.timestamp_millis()).unwrap_or(now)
    }

    /// Moves a set clock on; the system's clock cannot be moved and this does nothing to it.
    pub fn advance(&self, by: TimeDelta) {
        if let Source::Set(setting) = &self.0 {
            setting.lock().unwrap_or_else(PoisonError::into_inner).now += by;
        }
    }

    /// Puts a set clock at a moment; the system's clock cannot be set and this does nothing to it.
    pub fn set(&self, now: DateTime<Utc>) {
        if let Source::Set(setting) = &self.0 {
            setting.lock().unwrap_or_else(PoisonError::into_inner).now = now;
        }
    }

    /// A new UUIDv7: sorts by the moment it was made.
    pub fn new_id(&self) -> Uuid {
        let millis = u64::try_from(self.now().timestamp_millis()).unwrap_or(0);
        uuid::Builder::from_unix_timestamp_millis(millis, &self.random()).into_uuid()
    }

    /// A new secret of 256 bits.
    pub fn new_token(&self) -> Token {
        Token(self.random())
    }

    /// `N` characters for reading off a screen and typing elsewhere, five bits each.
    pub fn new_code<const N: usize>(&self) -> String {
        let letter = |byte: u8| {
            ALPHABET
                .get(usize::from(byte % 32))
                .copied()
                .unwrap_or(b'A')
        };
        self.random::<N>()
            .into_iter()
            .map(|byte| char::from(letter(byte)))
            .collect()
    }

    /// `N` random bytes.
    #[expect(
        clippy::expect_used,
        reason = "without a random source no id or secret can be made; stopping is the only way"
    )]
    pub fn random<const N: usize>(&self) -> [u8; N] {
        let mut bytes = [0; N];
        match &self.0 {
            Source::System => {
                getrandom::fill(&mut bytes).expect("the operating system has a random source");
            }
            Source::Set(setting) => {
                setting
                    .lock()
                    .unwrap_or_else(PoisonError::into_inner)
                    .fill(&mut bytes);
            }
        }
        bytes
    }
}

impl Setting {
    /// Fills `bytes` from SHA-256(seed, number of the draw): repeatable, and good enough for a
    /// test.
    fn fill(&mut self, bytes: &mut [u8]) {
        for part in bytes.chunks_mut(32) {
            let hash = Sha256::new()
                .chain_update(self.seed.to_be_bytes())
                .chain_update(self.draws.to_be_bytes())
                .finalize();
            self.draws += 1;
            part.iter_mut().zip(hash).for_each(|(to, from)| *to = from);
        }
    }
}

/// A secret of 256 bits: a session's cookie, a lab link. Shown to its owner once; the store keeps
/// its hash.
pub struct Token([u8; 32]);

impl Token {
    /// Reads a token back from its 64 hexadecimal digits; `None` for anything else.
    pub fn parse(text: &str) -> Option<Self> {
        if text.len() != 64 || !text.bytes().all(|byte| byte.is_ascii_hexdigit()) {
            return None;
        }
        let mut bytes = [0; 32];
        for (index, byte) in bytes.iter_mut().enumerate() {
            *byte = u8::from_str_radix(text.get(index * 2..index * 2 + 2)?, 16).ok()?;
        }
        Some(Self(bytes))
    }

    /// The 64 hexadecimal digits that its owner gets.
    pub fn reveal(&self) -> String {
        hex(&self.0)
    }

    /// What the store keeps: the SHA-256 of the 32 bytes.
    pub fn sha256(&self) -> [u8; 32] {
        Sha256::digest(self.0).into()
    }
}

/// Bytes as lower-case hexadecimal digits.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_reads_back_and_a_sign_in_the_digits_does_not() {
        let token = Clock::system().new_token();
        let back = Token::parse(&token.reveal()).expect("its own digits");
        assert_eq!(back.sha256(), token.sha256());
        assert!(
            Token::parse(&"+1".repeat(32)).is_none(),
            "a plus is no hexadecimal digit"
        );
        assert!(Token::parse("ab").is_none());
    }

    #[test]
    fn a_set_clock_repeats_itself_and_the_system_does_not() {
        let start = DateTime::from_timestamp(1_700_000_000, 0).expect("a moment");
        let ids = |clock: Clock| [clock.new_id(), clock.new_id()];
        assert_eq!(ids(Clock::set_at(start, 7)), ids(Clock::set_at(start, 7)));
        assert_ne!(ids(Clock::set_at(start, 7)), ids(Clock::set_at(start, 8)));
        let [first, second] = ids(Clock::set_at(start, 7));
        assert_ne!(first, second);
        assert_eq!(first.get_version_num(), 7);
        assert_ne!(
            Clock::system().random::<32>(),
            Clock::system().random::<32>()
        );
    }
}
