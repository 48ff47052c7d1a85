//! Columns under other names → columns of a tidy file: what a spreadsheet's own header most likely means, and
//! what a person can choose instead. A guess is only ever shown; the person who brings the file decides.

use crate::study::units::{Dimension, Unit};
use crate::tidy::columns::FIXED;
use crate::tidy::naming;

/// What a header may say, and the column that it most likely means. Whole words, in small letters.
const WORDS: [(&str, &[&str]); 14] = [
    (
        "specimen",
        &[
            "specimen", "sample", "piece", "part", "name", "id", "code", "label",
        ],
    ),
    (
        "condition",
        &[
            "condition",
            "environment",
            "place",
            "exposure",
            "location",
            "where",
            "treatment",
        ],
    ),
    ("role", &["role", "group", "kind"]),
    ("stage_days", &["stage", "days", "duration"]),
    (
        "holder",
        &[
            "holder",
            "jar",
            "rack",
            "plot",
            "bag",
            "box",
            "container",
            "tray",
        ],
    ),
    ("lot", &["lot", "material", "spool", "charge"]),
    ("build", &["build", "plate", "shot", "print", "board"]),
    ("order", &["order"]),
    ("outcome", &["outcome", "result", "validity"]),
    ("failure_mode", &["mode", "failure"]),
    (
        "reason",
        &[
            "reason", "remark", "remarks", "note", "notes", "comment", "comments",
        ],
    ),
    ("test_date", &["tested", "test", "broken"]),
    ("out_date", &["out", "start", "deployed"]),
    ("in_date", &["in", "end", "recovered", "returned"]),
];

/// Words for a load at its highest.
const LOADS: [&str; 7] = [
    "load", "force", "fmax", "max", "strength", "peak", "breaking",
];

/// Dimensions that a header may name.
const DIMENSIONS: [&str; 6] = [
    "width",
    "thickness",
    "diameter",
    "length",
    "height",
    "depth",
];

/// The column that a name most likely means, as a tidy file spells it; `None` for what is not recognised.
#[must_use]
pub fn guess(name: &str) -> Option<String> {
    if naming::column(name).is_ok() {
        return Some(spelt(name));
    }
    let words = words(name);
    let has = |wanted: &[&str]| words.iter().any(|word| wanted.contains(&word.as_str()));
    let occasion = match has(&["after", "final", "end", "post"]) {
        true => "after",
        false => "before",
    };
    let unit = |dimension: Dimension, usual: &'static str| {
        let keys = Unit::of(dimension).map(|unit| unit.key().to_lowercase());
        let found = keys.into_iter().find(|key| words.contains(key));
        found.unwrap_or_else(|| usual.to_owned())
    };
    if has(&["mass", "weight"]) {
        return Some(format!("mass_{occasion}_{}", unit(Dimension::Mass, "g")));
    }
    if let Some(dimension) = DIMENSIONS
        .iter()
        .find(|name| words.iter().any(|w| w == *name))
    {
        return Some(format!(
            "{dimension}_{occasion}_{}",
            unit(Dimension::Length, "mm")
        ));
    }
    if has(&LOADS) {
        return Some(format!("max_load_{}", unit(Dimension::Force, "n")));
    }
    if has(&["date", "day"]) && has(&["test", "tested", "broken"]) {
        return Some("test_date".to_owned());
    }
    let known = WORDS.iter().find(|(_, synonyms)| has(synonyms));
    known.map(|(column, _)| (*column).to_owned())
}

/// Small letters, underscores, as the tidy file spells its columns.
fn spelt(name: &str) -> String {
    name.trim().to_lowercase().replace([' ', '-'], "_")
}

fn words(name: &str) -> Vec<String> {
    let lower = name.to_lowercase().replace(['µ', 'μ'], "u");
    let parts = lower.split(|sign: char| !sign.is_alphanumeric());
    parts
        .filter(|part| !part.is_empty())
        .map(str::to_owned)
        .collect()
}

/// Every column that a person may choose, as the tidy file spells it, with what stands in it.
#[must_use]
pub fn offered() -> Vec<(String, String)> {
    let mut all: Vec<(String, String)> = Vec::new();
    for (name, _, what) in FIXED {
        all.push((name.to_owned(), what.to_owned()));
    }
    for (occasion, when) in [("before", "before exposure"), ("after", "after exposure")] {
        for unit in Unit::of(Dimension::Mass) {
            let name = format!("mass_{occasion}_{}", unit.key());
            all.push((name, format!("mass {when}, in {}", unit.symbol())));
        }
        for dimension in DIMENSIONS {
            for unit in Unit::of(Dimension::Length) {
                let name = format!("{dimension}_{occasion}_{}", unit.key());
                all.push((name, format!("{dimension} {when}, in {}", unit.symbol())));
            }
        }
        let state = format!("mass_state_{occasion}");
        all.push((state, format!("moisture state of the mass {when}")));
    }
    for unit in Unit::of(Dimension::Force) {
        let name = format!("max_load_{}", unit.key().to_lowercase());
        all.push((name, format!("maximum load, in {}", unit.symbol())));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_spreadsheets_call_their_columns_is_recognised() {
        for (name, column) in [
            ("Sample ID", "specimen"),
            ("Weight before (g)", "mass_before_g"),
            ("final weight [mg]", "mass_after_mg"),
            ("Fmax / N", "max_load_n"),
            ("Breaking load (lbf)", "max_load_lbf"),
            ("Width (mm)", "width_before_mm"),
            ("Jar", "holder"),
            ("Test date", "test_date"),
            ("Put out", "put_out"),
            ("Date out", "out_date"),
            ("max_load_kgf", "max_load_kgf"),
            ("stage_days", "stage_days"),
            ("Comments", "reason"),
        ] {
            assert_eq!(guess(name).as_deref(), Some(column), "{name}");
        }
        assert_eq!(guess("weather"), None);
    }

    #[test]
    fn whatever_is_offered_or_guessed_is_a_column() {
        for (name, _) in offered() {
            assert!(naming::column(&name).is_ok(), "{name}");
        }
        for (column, synonyms) in WORDS {
            assert!(naming::column(column).is_ok(), "{column}");
            assert!(!synonyms.is_empty());
        }
    }
}
