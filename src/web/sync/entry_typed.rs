//! A number is recorded twice: as it was typed, in its unit, and as what it is in g, mm or N. Entries that come by
//! themselves must say the same in both.

use crate::study::entry::Entry;
use crate::study::units::{AsTyped, number};

/// Most relative difference between the two: the rounding of a device's conversion.
const AGREEMENT: f64 = 1e-6;

/// What is wrong with the numbers of an entry, as a sentence.
pub(super) fn mistyped(entry: &Entry) -> Option<String> {
    numbers(entry)
        .into_iter()
        .find_map(|(typed, value)| unlike(typed, value))
}

/// The numbers of an entry: as typed, and in SI units as recorded.
fn numbers(entry: &Entry) -> Vec<(&AsTyped, f64)> {
    match entry {
        Entry::ReadingTaken { reading } | Entry::ReadingCorrected { reading, .. } => {
            vec![(&reading.typed, reading.value)]
        }
        Entry::DryingWeighed(weighing) => vec![(&weighing.typed, weighing.mass_g)],
        Entry::InstrumentChecked { check } => vec![
            (&check.nominal_typed, check.nominal),
            (&check.typed, check.value),
        ],
        Entry::BreakTested(test) | Entry::BreakTestCorrected { test, .. } => {
            let typed = test.typed.as_ref().zip(test.max_load_n);
            typed.into_iter().collect()
        }
        _ => Vec::new(),
    }
}

fn unlike(typed: &AsTyped, value: f64) -> Option<String> {
    let found = match number("", "What was typed", &typed.text) {
        Ok(found) => typed.unit.to_si(found),
        Err(fault) => return Some(fault.sentence),
    };
    let apart = (found - value).abs();
    let is_near = apart <= AGREEMENT * found.abs().max(value.abs());
    (!is_near).then(|| {
        let (text, unit) = (&typed.text, typed.unit.symbol());
        format!("The value is {value}, but {text} {unit} was typed, which is {found}.")
    })
}

#[cfg(test)]
mod tests {
    use super::unlike;
    use crate::study::units::{AsTyped, Unit};

    #[test]
    fn a_value_must_be_what_was_typed() {
        let typed = |text: &str, unit| AsTyped {
            text: text.to_owned(),
            unit,
        };
        // NIST SP 811, appendix B: lb and kgf, exact.
        for (text, unit, value) in [
            ("8,4", Unit::Gram, 8.4),
            ("0.5", Unit::Pound, 226.796_185),
            ("20", Unit::KilogramForce, 196.133),
            ("-0.1", Unit::Gram, -0.1),
            ("0", Unit::Newton, 0.0),
        ] {
            assert_eq!(unlike(&typed(text, unit), value), None, "{text}");
        }
        for (text, value) in [
            ("8.4", 84.0),
            ("", 8.4),
            ("x", 8.4),
            ("1", f64::NAN),
            ("1", 0.0),
        ] {
            assert!(unlike(&typed(text, Unit::Gram), value).is_some(), "{text}");
        }
    }
}
