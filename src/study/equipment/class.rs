//! The class of a machine, a load cell or an extensometer as a limit: class 1 of ISO 7500-1 is a force
//! within ±1 % of what is shown, class 1 of ISO 9513 an extension within ±1 % or
//! ±3 µm, whichever is greater (both from memory); see `Extension` in `mechanics::uncertainty`.

use super::Equipment;

/// The coarsest class that is read as one, in %.
const COARSEST: f64 = 10.0;

impl Equipment {
    /// What its class lets it be off, in % of what it shows; `None` where none is named.
    #[must_use]
    pub fn class_percent(&self) -> Option<f64> {
        percent(&self.class)
    }
}

/// A class in words as a limit in %; `None` where the words name no figure. Read are `0.5`, `0,5`, `class 1`,
/// `ISO 7500-1 class 0.5` and `1 (ISO 9513)`.
#[must_use]
pub fn percent(words: &str) -> Option<f64> {
    let low = words.to_lowercase();
    let text = match low.rsplit_once("class") {
        Some((_, after)) => after,
        None => low.as_str(),
    };
    let text = text.trim_start_matches([' ', ':', '±']);
    let end = text.find(|sign: char| !(sign.is_ascii_digit() || sign == '.' || sign == ','));
    let (figure, rest) = text.split_at(end.unwrap_or(text.len()));
    // `1kN` is no class.
    let is_whole = rest
        .chars()
        .next()
        .is_none_or(|sign| !sign.is_alphanumeric());
    let percent: f64 = figure.replace(',', ".").parse().ok()?;
    (is_whole && percent > 0.0 && percent <= COARSEST).then_some(percent)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::equipment::EquipmentKind;

    fn class(words: &str) -> Option<f64> {
        let equipment = Equipment {
            kind: EquipmentKind::LoadCell,
            name: "cell".into(),
            serial: String::new(),
            range_from: None,
            range_to: None,
            class: words.into(),
            calibrated_on: None,
            valid_until: None,
            paper: None,
            picture: None,
        };
        equipment.class_percent()
    }

    #[test]
    fn a_class_is_read_as_certificates_write_it() {
        for words in [
            "0.5",
            "0,5",
            "class 0.5",
            "Class: 0,5",
            "ISO 7500-1 class 0.5",
            "0.5 (ISO 7500-1)",
            "±0.5 %",
        ] {
            assert_eq!(class(words), Some(0.5), "{words}");
        }
        for words in ["", "ISO 7500-1", "0", "1kN", "A", "class A", "0.5.1"] {
            assert_eq!(class(words), None, "{words}");
        }
    }
}
