//! How far a number may be off: the case's own tolerances and its overrides per field.
//!
//! An override is keyed by a field, a path or a pattern with `*`; its value is a relative
//! tolerance, an object with `abs` or `rel`, or words such as "abs 0.0011" or "1e-6 rel, 1e-15
//! abs". Printed values (`table_value*`, `published_*`, `*_published`) without a number of their
//! own may be off by one unit of their last digit.

use serde_json::Value;

/// An absolute and a relative allowance, of which the larger counts.
#[derive(Clone, Copy, Debug, Default)]
pub struct Limit {
    pub absolute: f64,
    pub relative: f64,
}

/// One override.
struct Override {
    pattern: String,
    /// Applies only to expected values of a size below this.
    below: Option<f64>,
    absolute: Option<f64>,
    relative: Option<f64>,
    note: String,
}

/// All tolerances of a case.
pub struct Tolerances {
    general: Limit,
    overrides: Vec<Override>,
}

impl Tolerances {
    /// Reads `rel_tol`, `abs_tol` and `tol_overrides`.
    pub fn of(case: &Value) -> Self {
        let read = |name: &str| case.get(name).and_then(Value::as_f64).unwrap_or(0.0);
        let general = Limit {
            absolute: read("abs_tol"),
            relative: read("rel_tol"),
        };
        let listed = case.get("tol_overrides").and_then(Value::as_object);
        let mut overrides = Vec::new();
        for (key, value) in listed.into_iter().flatten() {
            for part in key.split(',').map(str::trim) {
                overrides.push(Override::read(part, value));
            }
        }
        // The most particular pattern first.
        overrides.sort_by_key(|o| usize::MAX - o.pattern.replace('*', "").len());
        Self { general, overrides }
    }

    /// The allowance for the field at `path`.
    pub fn at(&self, path: &str, want: f64, printed: &Value) -> Limit {
        let leaf = path.rsplit('.').next().unwrap_or(path);
        let matching = |o: &&Override| o.applies(path) && o.below.is_none_or(|b| want.abs() < b);
        if let Some(found) = self.overrides.iter().find(matching) {
            if let Some(named) = found.named_in_note(leaf) {
                return Limit {
                    absolute: named,
                    relative: 0.0,
                };
            }
            match (found.absolute, found.relative) {
                (Some(absolute), relative) => {
                    return Limit {
                        absolute,
                        relative: relative.unwrap_or(0.0),
                    };
                }
                (None, Some(relative)) => {
                    return Limit {
                        relative,
                        ..self.general
                    };
                }
                (None, None) => {}
            }
        }
        let is_printed = leaf.starts_with("table_value")
            || leaf.starts_with("published_")
            || leaf.ends_with("_published");
        if is_printed {
            return Limit {
                absolute: last_digit(printed),
                relative: 0.0,
            };
        }
        self.general
    }
}

impl Override {
    fn read(key: &str, value: &Value) -> Self {
        // "cdf when cdf<1e-10" limits itself to small expected values.
        let (pattern, condition) = key.split_once(" when ").unwrap_or((key, ""));
        let below = condition
            .split_once('<')
            .and_then(|(_, bound)| bound.trim().parse().ok());
        let mut found = Self {
            pattern: pattern.trim().to_owned(),
            below,
            absolute: value.get("abs").and_then(Value::as_f64),
            relative: value
                .as_f64()
                .or_else(|| value.get("rel").and_then(Value::as_f64)),
            note: value
                .get("note")
                .and_then(Value::as_str)
                .unwrap_or_default()
                .to_owned(),
        };
        if let Some(words) = value.as_str() {
            found.absolute = beside("abs", words);
            found.relative = beside("rel", words);
        }
        found
    }

    /// Whether the pattern fits the path, its last part, or anything the field lies in.
    fn applies(&self, path: &str) -> bool {
        let parts = path.split('.');
        let prefixes = path
            .match_indices('.')
            .map(|(at, _)| path.get(..at).unwrap_or(path));
        parts
            .chain(prefixes)
            .chain([path])
            .any(|text| fits(&self.pattern, text))
    }

    /// A tolerance that the note gives to this one field: "z0_mc abs 0.03".
    fn named_in_note(&self, leaf: &str) -> Option<f64> {
        let (_, after) = self.note.split_once(&format!("{leaf} abs "))?;
        after.split([' ', ';', ',']).next()?.parse().ok()
    }
}

/// Whether a pattern, in which `*` stands for anything, fits the whole text.
fn fits(pattern: &str, text: &str) -> bool {
    let Some((head, tail)) = pattern.split_once('*') else {
        return pattern == text;
    };
    let Some(rest) = text.strip_prefix(head) else {
        return false;
    };
    let starts = rest.char_indices().map(|(at, _)| at).chain([rest.len()]);
    starts
        .into_iter()
        .any(|at| rest.get(at..).is_some_and(|end| fits(tail, end)))
}

/// The number directly before, else directly after a word.
fn beside(word: &str, text: &str) -> Option<f64> {
    let tokens: Vec<&str> = text
        .split([' ', ',', ';', '(', ')'])
        .filter(|t| !t.is_empty())
        .collect();
    let at = tokens.iter().position(|t| *t == word)?;
    let parse = |index: Option<usize>| tokens.get(index?)?.parse::<f64>().ok();
    parse(at.checked_sub(1)).or_else(|| parse(at.checked_add(1)))
}

/// One unit of the last printed digit, with a little room for binary rounding.
fn last_digit(printed: &Value) -> f64 {
    let text = printed.to_string();
    let decimals = text.split_once('.').map_or(0, |(_, digits)| digits.len());
    1.001 * 10.0_f64.powi(-(decimals as i32))
}
