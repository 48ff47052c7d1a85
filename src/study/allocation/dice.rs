//! The random numbers of a draw.

use sha2::{Digest, Sha256};

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
