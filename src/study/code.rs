//! Codes that people read aloud or type: specimen codes and blind codes.
//!
//! Both use letters and digits without look-alikes and end in the check character of ISO 7064,
//! MOD 37,36, so that a slip of one character, or two neighbours exchanged, is caught at the keyboard.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// The letters and digits used: those of ISO 7064 MOD 37,36 without 0 O, 1 I L, 2 Z, 5 S, 8 B, U V.
pub const ALPHABET: &[u8; 23] = b"34679ACDEFGHJKMNPQRTWXY";

/// Why a typed code is not one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CodeFault {
    /// Fewer or more characters than a code has.
    Length,
    /// A character that no code holds.
    Character(char),
    /// The check character does not fit the others: one was mistyped or two were exchanged.
    Check,
}

impl fmt::Display for CodeFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length => f.write_str("That is too short or too long for a code."),
            Self::Character(c) => write!(f, "No code holds the character {c:?}; look again."),
            Self::Check => f.write_str(
                "The check character does not fit: one character is mistyped or two are exchanged.",
            ),
        }
    }
}

/// The ISO 7064 MOD 37,36 check character of a text of digits and capital letters.
///
/// # Formula
/// ```text
/// P₁ = 36;  Sⱼ = (Pⱼ + aⱼ) mod 36, with 36 for 0;  Pⱼ₊₁ = 2·Sⱼ mod 37;  (Pₙ + check) mod 36 = 1
/// ```
/// # Source
/// ISO 7064:2003, hybrid system MOD 37,36 (from memory; checked against the worked example of the
/// Global Release Identifier, which uses the same system).
#[must_use]
pub fn check_character(payload: &str) -> Option<char> {
    let mut product: u32 = 36;
    for c in payload.chars() {
        let value = c.to_digit(36).filter(|_| !c.is_ascii_lowercase())?;
        let sum = match (product + value) % 36 {
            0 => 36,
            sum => sum,
        };
        product = sum * 2 % 37;
    }
    char::from_digit((37 - product) % 36, 36).map(|c| c.to_ascii_uppercase())
}

/// Adds the check character, or `None` when that character is a look-alike and the payload is
/// therefore not used.
#[must_use]
pub fn with_check(payload: &str) -> Option<String> {
    let check = check_character(payload)?;
    ALPHABET
        .contains(&u8::try_from(check).ok()?)
        .then(|| format!("{payload}{check}"))
}

fn parse(text: &str, lengths: std::ops::RangeInclusive<usize>) -> Result<String, CodeFault> {
    let typed: String = text
        .chars()
        .filter(|c| !c.is_whitespace() && *c != '-')
        .map(|c| c.to_ascii_uppercase())
        .collect();
    if let Some(c) = typed
        .chars()
        .find(|c| !ALPHABET.iter().any(|a| char::from(*a) == *c))
    {
        return Err(CodeFault::Character(c));
    }
    if !lengths.contains(&typed.len()) {
        return Err(CodeFault::Length);
    }
    let (payload, check) = typed.split_at(typed.len() - 1);
    if check_character(payload) == check.chars().next() {
        Ok(typed)
    } else {
        Err(CodeFault::Check)
    }
}

/// The payload with a given number in a base of 23, at least `width` characters.
fn in_alphabet(mut number: usize, width: usize) -> String {
    let mut reversed = Vec::new();
    while number > 0 || reversed.len() < width {
        reversed.extend(
            ALPHABET
                .get(number % ALPHABET.len())
                .map(|b| char::from(*b)),
        );
        number /= ALPHABET.len();
    }
    reversed.iter().rev().collect()
}

macro_rules! code_type {
    ($(#[$doc:meta])* $name:ident, $lengths:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(String);

        impl $name {
            /// The code as printed.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl FromStr for $name {
            type Err = CodeFault;
            fn from_str(text: &str) -> Result<Self, CodeFault> {
                parse(text, $lengths).map(Self)
            }
        }

        impl TryFrom<String> for $name {
            type Error = CodeFault;
            fn try_from(text: String) -> Result<Self, CodeFault> {
                text.parse()
            }
        }

        impl From<$name> for String {
            fn from(code: $name) -> String {
                code.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }
    };
}

code_type!(
    /// A specimen's code on the steward's side: the study's two-character mark, a running number and
    /// the check character. It says nothing about the condition.
    Code,
    5..=8
);
code_type!(
    /// The code under which a tester knows a piece, fresh for each consignment: six random characters
    /// and the check character.
    BlindCode,
    7..=7
);

impl Code {
    /// The codes of a study with the mark `mark`, from the running number `from` on. Numbers whose
    /// check character would be a look-alike are passed over.
    pub fn run(mark: &str, from: usize) -> impl Iterator<Item = (usize, Self)> + use<'_> {
        (from..).filter_map(move |number| {
            with_check(&format!("{mark}{}", in_alphabet(number, 2)))
                .map(|code| (number, Self(code)))
        })
    }
}

impl BlindCode {
    /// From six random bytes; `None` (draw again) when a byte would make some characters likelier
    /// than others or the check character is a look-alike.
    #[must_use]
    pub fn from_bytes(bytes: [u8; 6]) -> Option<Self> {
        let fair = 256 / ALPHABET.len() * ALPHABET.len();
        let mut payload = String::with_capacity(6);
        for byte in bytes {
            let byte = usize::from(byte);
            if byte >= fair {
                return None;
            }
            payload.push(
                ALPHABET
                    .get(byte % ALPHABET.len())
                    .map(|b| char::from(*b))?,
            );
        }
        with_check(&payload).map(Self)
    }
}

/// A study's two-character mark from two random bytes, or `None` (draw again).
#[must_use]
pub fn mark_from_bytes(bytes: [u8; 2]) -> Option<String> {
    let fair = 256 / ALPHABET.len() * ALPHABET.len();
    bytes
        .into_iter()
        .map(usize::from)
        .map(|byte| {
            let letter = ALPHABET.get(byte % ALPHABET.len()).map(|b| char::from(*b));
            letter.filter(|_| byte < fair)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_check_character_is_that_of_a_published_worked_example() {
        // GRid standard (IFPI), example A1-2425G-ABC1234002-M, ISO 7064 MOD 37,36 (from memory).
        assert_eq!(check_character("A12425GABC1234002"), Some('M'));
    }

    #[test]
    fn every_single_slip_and_every_swap_of_neighbours_is_caught() {
        for (_, code) in Code::run("KT", 0).take(40) {
            let text: Vec<char> = code.as_str().chars().collect();
            for position in 0..text.len() {
                for letter in ALPHABET.iter().map(|b| char::from(*b)) {
                    let mut slip = text.clone();
                    slip[position] = letter;
                    let slip: String = slip.into_iter().collect();
                    assert_eq!(
                        slip.parse::<Code>().is_ok(),
                        slip == code.as_str(),
                        "{slip}"
                    );
                }
                let mut swap = text.clone();
                if position + 1 < swap.len() && swap[position] != swap[position + 1] {
                    swap.swap(position, position + 1);
                    let swap: String = swap.into_iter().collect();
                    assert!(swap.parse::<Code>().is_err(), "{swap} for {code}");
                }
            }
        }
    }

    #[test]
    fn codes_are_read_in_small_letters_and_with_dashes() {
        let (_, code) = Code::run("KT", 7).next().unwrap();
        let spelt = code.as_str().to_lowercase();
        let spelt = format!(" {}-{} ", &spelt[..2], &spelt[2..]);
        assert_eq!(spelt.parse::<Code>().unwrap(), code);
        assert_eq!("KT!".parse::<Code>(), Err(CodeFault::Character('!')));
        assert_eq!("KT".parse::<Code>(), Err(CodeFault::Length));
    }

    #[test]
    fn ten_thousand_pieces_have_ten_thousand_codes() {
        let codes: std::collections::BTreeSet<_> = Code::run("KT", 0)
            .take(10_000)
            .map(|(_, code)| code)
            .collect();
        assert_eq!(codes.len(), 10_000);
    }
}
