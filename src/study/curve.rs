//! A curve that a tester keeps for a piece: the original file by its hash, how it was read, and what
//! was read off.

use super::code::BlindCode;
use super::ids::ConsignmentId;
use serde::{Deserialize, Serialize};

/// A load–extension curve of a piece. A later one of the same piece takes its place; both stay on
/// record. The reason for an end that the tester said is the entry's note.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptCurve {
    /// The consignment.
    pub consignment: ConsignmentId,
    /// The piece.
    pub blind: BlindCode,
    /// SHA-256 of the original file, in hexadecimal digits.
    pub file_sha256: String,
    /// What the sender called the file.
    pub file_name: String,
    /// Which of the file's curves, from 0.
    pub place: u32,
    /// How the file was read where a person put it right, as the fields of the form.
    pub said: String,
    /// Maximum load in N.
    pub max_load_n: f64,
    /// Extension at the maximum from the corrected origin, mm.
    pub extension_at_max_mm: Option<f64>,
    /// Load at the end of the test, N.
    pub end_load_n: f64,
    /// Extension at the end, mm.
    pub extension_at_end_mm: Option<f64>,
    /// Energy to the maximum, J.
    pub energy_to_max_j: Option<f64>,
    /// Energy to the end, J.
    pub energy_to_end_j: Option<f64>,
    /// The line of the file that the tester called the end of the test; `None` where it was found.
    pub ended_at_line: Option<u32>,
    /// It is more than 1 % off the load that was typed, and was kept all the same.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub is_confirmed_doubt: bool,
    /// What else was read off it; `None` in curves that were kept before it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read: Option<ReadOff>,
    /// Why the tester said where the test ended: the entry's note, which can be erased and so is no part of
    /// what is hashed.
    #[serde(skip)]
    pub end_reason: Option<String>,
}

/// What properties are worked out from, besides the loads: nothing here rests on the section, so that a
/// size put right later reaches every stress.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct ReadOff {
    /// The end is that of the test (it broke, gave way, or the tester said so), not only of the record.
    pub is_ended: bool,
    /// The load at yield, N, where there is a yield.
    pub yield_load_n: Option<f64>,
    /// Strains, pure numbers: from the extensometer, nominal from the grips, or at the bent surface.
    pub strain_at_yield: Option<f64>,
    /// At the maximum.
    pub strain_at_max: Option<f64>,
    /// At the end of the test.
    pub strain_at_end: Option<f64>,
    /// The slope between 0.05 % and 0.25 % strain, by its two ends.
    pub chord: Option<Slope>,
    /// The same by the line fitted to all points in between.
    pub regression: Option<Slope>,
    /// The slope's strain is nominal, from the grips: a modulus from it is too low.
    pub is_slope_nominal: bool,
    /// The strains at maximum and end are nominal, from the grips.
    pub is_strain_nominal: bool,
    /// What is odd about the curve, as the tester saw it.
    pub remarks: Vec<String>,
}

/// A slope of the load.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Slope {
    /// N for each unit of strain: over the section it is a modulus.
    OverStrain(f64),
    /// N for each mm of deflection.
    OverDeflection(f64),
}

/// By how much a typed load and a curve's maximum may differ without a word.
pub const AGREE: f64 = 0.01;

/// Whether a typed load and a curve's maximum (N) are so far apart that one of them may be wrong.
#[must_use]
pub fn disagree(typed_n: f64, curve_n: f64) -> bool {
    (typed_n - curve_n).abs() > AGREE * typed_n.abs().max(curve_n.abs())
}

/// The blind codes, out of these, that a text names: file names and headers write them with blanks,
/// hyphens and in small letters.
#[must_use]
pub fn codes_in<'c>(text: &str, codes: &[&'c BlindCode]) -> Vec<&'c BlindCode> {
    let low = text.to_uppercase();
    let tokens: Vec<&str> = low
        .split(|sign: char| !sign.is_ascii_alphanumeric())
        .filter(|token| !token.is_empty())
        .collect();
    let pairs = tokens.windows(2).map(|pair| pair.concat());
    let words: Vec<String> = tokens
        .iter()
        .map(|token| (*token).to_owned())
        .chain(pairs)
        .collect();
    let bare = |code: &BlindCode| code.as_str().replace('-', "");
    let named = codes.iter().filter(|code| words.contains(&bare(code)));
    named.copied().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_than_one_percent_is_asked_about() {
        assert!(!disagree(100.0, 101.0));
        assert!(disagree(100.0, 101.2) && disagree(101.2, 100.0));
        assert!(disagree(31.85, 312.5));
    }

    #[test]
    fn a_code_is_found_however_it_is_written() {
        let code =
            |from: u8| (from..).find_map(|n| BlindCode::from_bytes([n, 3, 9, 14, 20, n + 1]));
        let (one, other) = (code(0).unwrap(), code(40).unwrap());
        let codes = [&one, &other];
        let (left, right) = one.as_str().split_at(3);
        for text in [
            format!("{one}.csv"),
            format!("test 3 {}", one.as_str().to_lowercase()),
            format!("run_{left}-{right}_2.txt"),
        ] {
            assert_eq!(codes_in(&text, &codes), [&one], "{text}");
        }
        assert!(codes_in(&format!("X{one}"), &codes).is_empty());
        assert_eq!(codes_in(&format!("{one} {other}"), &codes).len(), 2);
    }
}
