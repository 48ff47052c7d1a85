//! Walks the expected fields of a case and compares each with what the method returned.

use crate::input::number;
use crate::tolerance::Tolerances;
use serde_json::Value;

/// Answers the input of a case with all fields the method can give.
pub type Method = fn(&Value) -> Result<Value, String>;

/// What came of one case.
#[derive(Default)]
pub struct Outcome {
    /// The largest relative error of a number that is held to a relative tolerance.
    pub worst: f64,
    /// One sentence per field that missed.
    pub misses: Vec<String>,
}

/// Runs a case.
pub fn run_case(case: &Value, method: Method) -> Outcome {
    let mut outcome = Outcome::default();
    let part = |name| case.get(name).unwrap_or(&Value::Null);
    let (input, expected) = (part("input"), part("expected"));
    if expected.as_object().is_none_or(serde_json::Map::is_empty) {
        outcome.misses.push("nothing is expected".into());
        return outcome;
    }
    match method(input) {
        Ok(got) => compare("", expected, &got, &Tolerances::of(case), &mut outcome),
        Err(sentence) => outcome.misses.push(sentence),
    }
    outcome
}

fn compare(path: &str, expected: &Value, got: &Value, limits: &Tolerances, out: &mut Outcome) {
    match expected {
        Value::Object(fields) => {
            for (name, value) in fields {
                let inner = if path.is_empty() {
                    name.clone()
                } else {
                    format!("{path}.{name}")
                };
                match got.get(name) {
                    Some(found) => compare(&inner, value, found, limits, out),
                    None => out
                        .misses
                        .push(format!("{inner}: no method returns this field")),
                }
            }
        }
        Value::Array(items) => match got.as_array() {
            Some(found) if found.len() == items.len() => {
                for (item, value) in items.iter().zip(found) {
                    compare(path, item, value, limits, out);
                }
            }
            _ => out
                .misses
                .push(format!("{path}: {} items expected, got {got}", items.len())),
        },
        _ => match (number(expected), number(got)) {
            (Some(want), Some(have)) => compare_numbers(path, want, have, expected, limits, out),
            _ if same_words(expected, got) => {}
            _ => out
                .misses
                .push(format!("{path}: expected {expected}, got {got}")),
        },
    }
}

/// Whether two values are the same, or words for the same kind of confidence set.
fn same_words(expected: &Value, got: &Value) -> bool {
    const KINDS: [&[&str]; 3] = [
        &["interval", "bounded"],
        &[
            "complement_of_interval",
            "outside",
            "complement",
            "unbounded",
        ],
        &["whole_line", "everything", "unbounded"],
    ];
    let word = |v: &Value| v.as_str().map(str::to_owned).unwrap_or_default();
    let (a, b) = (word(expected), word(got));
    expected == got
        || KINDS
            .iter()
            .any(|k| k.contains(&a.as_str()) && k.contains(&b.as_str()))
}

fn compare_numbers(
    path: &str,
    want: f64,
    have: f64,
    printed: &Value,
    limits: &Tolerances,
    out: &mut Outcome,
) {
    if want == have {
        return;
    }
    let limit = limits.at(path, want, printed);
    let miss = (have - want).abs();
    if limit.relative > 0.0 && want != 0.0 && miss > limit.absolute {
        out.worst = out.worst.max(miss / want.abs());
    }
    let allowed = limit.absolute.max(limit.relative * want.abs());
    if miss.is_nan() || miss > allowed {
        out.misses.push(format!(
            "{path}: expected {want:e}, got {have:e}, off by {miss:.1e}"
        ));
    }
}
