//! What a new edition says otherwise than the last, value by value: two files of findings compared member by
//! member, whatever version of the program wrote them.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::report::download::{CsvFault, inert};

/// What the file of all changes is called.
pub const CHANGES: &str = "changes.csv";

/// Most lines that the page itself shows; all are in the file.
const MOST_SHOWN: usize = 40;

/// One member that is not what it was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// Where it stands in the findings, from the outside in.
    pub place: Vec<String>,
    /// What it was; `None` when it was not there.
    pub before: Option<String>,
    /// What it is; `None` when it is gone.
    pub after: Option<String>,
}

impl Change {
    /// Its place in words.
    #[must_use]
    pub fn words(&self) -> String {
        self.place.join(": ").replace('_', " ")
    }

    /// What stood there, or that there was nothing.
    #[must_use]
    pub fn was(&self) -> &str {
        self.before.as_deref().unwrap_or("—")
    }

    /// What stands there now.
    #[must_use]
    pub fn is(&self) -> &str {
        self.after.as_deref().unwrap_or("—")
    }
}

/// What the page says about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChangesPart {
    /// Number of the edition before.
    pub since: u32,
    /// Its day.
    pub since_day: String,
    /// How many members differ.
    pub total: usize,
    /// Pieces that are new, gone, or have another value.
    pub pieces: String,
    /// The lines that a reader wants first.
    pub shown: Vec<Change>,
}

/// The edition before, as it was published.
#[derive(Debug, Clone)]
pub struct Previous {
    /// Its number.
    pub number: u32,
    /// Its day, in words.
    pub day: String,
    /// Its findings.
    pub findings: Value,
}

/// Every member that differs, in the order of the findings.
#[must_use]
pub fn changes(before: &Value, after: &Value) -> Vec<Change> {
    let mut found = Vec::new();
    walk(&mut Vec::new(), before, after, &mut found);
    // Where the journal stands and which layout the file has differ always.
    let is_always = |change: &Change| {
        let place: Vec<&str> = change.place.iter().map(String::as_str).collect();
        matches!(place.as_slice(), ["study", "entries" | "head"] | ["format"])
    };
    found.retain(|change| !is_always(change));
    found
}

/// The part of the page: the answer and what decides first, then pieces, then the rest.
#[must_use]
pub fn part(previous: &Previous, found: &[Change]) -> ChangesPart {
    let mut shown: Vec<Change> = found.iter().filter(|c| rank(c) < 9).cloned().collect();
    shown.sort_by_key(rank);
    shown.truncate(MOST_SHOWN);
    ChangesPart {
        since: previous.number,
        since_day: previous.day.clone(),
        total: found.len(),
        pieces: pieces(found),
        shown,
    }
}

fn rank(change: &Change) -> u8 {
    let first = change.place.first().map_or("", String::as_str);
    let is_of_pair = change
        .place
        .iter()
        .any(|part| part == "readability" || part == "instrument");
    match first {
        "answer" => 0,
        "standing" | "study" => 1,
        "primary" if change.place.iter().any(|part| part == "judged") => 2,
        "primary"
            if change
                .place
                .iter()
                .any(|part| part == "effect" || part == "mean") =>
        {
            3
        }
        "specimens" if !is_of_pair => 4,
        "accounting" => 5,
        _ => 9,
    }
}

/// `3 pieces are new, 1 has other values.`
fn pieces(found: &[Change]) -> String {
    let mut of: BTreeMap<&str, (bool, bool)> = BTreeMap::new();
    for change in found
        .iter()
        .filter(|c| c.place.first().is_some_and(|p| p == "specimens"))
    {
        let Some(code) = change.place.get(1) else {
            continue;
        };
        let is_whole = change.place.len() == 2;
        let new = is_whole && change.before.is_none();
        let gone = is_whole && change.after.is_none();
        let known = of.entry(code).or_default();
        known.0 |= new;
        known.1 |= gone;
    }
    let new = of.values().filter(|(new, _)| *new).count();
    let gone = of.values().filter(|(_, gone)| *gone).count();
    let other = of.len() - new - gone;
    let counted = |n: usize, one: &str, several: &str| match n {
        0 => None,
        1 => Some(format!("1 piece {one}")),
        n => Some(format!("{n} pieces {several}")),
    };
    let parts: Vec<String> = [
        counted(new, "is new", "are new"),
        counted(gone, "is no longer told of", "are no longer told of"),
        counted(other, "has other values", "have other values"),
    ]
    .into_iter()
    .flatten()
    .collect();
    match parts.is_empty() {
        true => "No piece is new or has other values.".to_owned(),
        false => format!("{}.", parts.join(", ")),
    }
}

fn walk(place: &mut Vec<String>, before: &Value, after: &Value, found: &mut Vec<Change>) {
    if before == after {
        return;
    }
    match (before, after) {
        (Value::Object(a), Value::Object(b)) => {
            let gone = a.keys().filter(|key| !b.contains_key(*key));
            let keys: Vec<&String> = b.keys().chain(gone).collect();
            for key in keys {
                let both = (a.get(key), b.get(key));
                below(place, key.clone(), both, found);
            }
        }
        (Value::Array(a), Value::Array(b)) if sentence(before).is_none() => {
            let (old, new) = (named(a), named(b));
            for (key, value) in &new {
                let other = old.iter().find(|(name, _)| name == key).map(|(_, v)| *v);
                below(place, key.clone(), (other, Some(value)), found);
            }
            for (key, value) in old.iter().filter(|(k, _)| !new.iter().any(|(n, _)| n == k)) {
                below(place, key.clone(), (Some(value), None), found);
            }
        }
        (a, b) => found.push(Change {
            place: place.clone(),
            before: short(a),
            after: short(b),
        }),
    }
}

fn below(
    place: &mut Vec<String>,
    key: String,
    both: (Option<&Value>, Option<&Value>),
    found: &mut Vec<Change>,
) {
    place.push(key);
    match both {
        (Some(a), Some(b)) => walk(place, a, b, found),
        (before, after)
            if before.is_none_or(Value::is_null) && after.is_none_or(Value::is_null) => {}
        (before, after) => found.push(Change {
            place: place.clone(),
            before: before.and_then(short),
            after: after.and_then(short),
        }),
    }
    place.pop();
}

/// What names a row among others, in this order.
const NAMES: [&str; 9] = [
    "name",
    "code",
    "specimen",
    "response",
    "stage_days",
    "against",
    "quantity",
    "counting",
    "kind",
];

/// Rows by what names them; by their place where that is nothing, or the same for two.
fn named(rows: &[Value]) -> Vec<(String, &Value)> {
    let name = |row: &Value| {
        let parts = NAMES.iter().filter_map(|key| match row.get(key)? {
            Value::String(text) => Some(text.clone()),
            Value::Number(number) => Some(number.to_string()),
            _ => None,
        });
        parts.collect::<Vec<String>>().join(", ")
    };
    let names: Vec<String> = rows.iter().map(name).collect();
    let is_good =
        |n: &String| !n.is_empty() && names.iter().filter(|other| *other == n).count() == 1;
    if names.iter().all(is_good) {
        names.into_iter().zip(rows).collect()
    } else {
        let places = (1..=rows.len()).map(|at| at.to_string());
        places.zip(rows).collect()
    }
}

/// The words of a sentence: a list whose members all have a text.
fn sentence(value: &Value) -> Option<String> {
    let spans = value.as_array().filter(|spans| !spans.is_empty())?;
    let texts: Option<Vec<&str>> = spans.iter().map(|s| s.get("text")?.as_str()).collect();
    texts.map(|texts| texts.concat())
}

/// A value as a reader reads it; `None` for nothing.
fn short(value: &Value) -> Option<String> {
    match value {
        Value::Null => None,
        Value::String(text) => Some(text.clone()),
        Value::Array(_) | Value::Object(_) => Some(sentence(value).unwrap_or_else(|| {
            let load = value.get("max_load_n").and_then(Value::as_f64);
            let fate = value.get("fate").and_then(Value::as_str);
            match (fate, load) {
                (Some(fate), Some(load)) => format!("{}, {load} N", fate.replace('_', " ")),
                (Some(fate), None) => fate.replace('_', " "),
                _ => "there".to_owned(),
            }
        })),
        other => Some(other.to_string()),
    }
}

/// Every change as CSV (RFC 4180): place, before, after.
///
/// # Errors
/// [`CsvFault`].
pub fn file(found: &[Change]) -> Result<Vec<u8>, CsvFault> {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(["place", "before", "after"])?;
    for change in found {
        let cell = |text: &Option<String>| inert(text.as_deref().unwrap_or_default());
        let place = change.place.join("/");
        writer.write_record([place, cell(&change.before), cell(&change.after)])?;
    }
    let done = writer.into_inner().map_err(|fault| fault.into_error());
    done.map_err(|fault| csv::Error::from(fault).into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn every_value_that_differs_is_named_by_its_place() {
        let before = json!({
            "format": 1, "answer": [[{"text": "Not "}, {"text": "settled"}]],
            "specimens": [{"code": "A", "max_load_n": 3.5}, {"code": "B", "max_load_n": 4.0}],
            "study": {"entries": 3, "head": "x", "plan_version": 1},
        });
        let after = json!({
            "format": 1, "answer": [[{"text": "Changed"}]],
            "specimens": [{"code": "B", "max_load_n": 4.25}, {"code": "C", "fate": "lost"}],
            "study": {"entries": 9, "head": "y", "plan_version": 1},
        });
        let found = changes(&before, &after);
        let told: Vec<(String, &str, &str)> =
            found.iter().map(|c| (c.words(), c.was(), c.is())).collect();
        assert_eq!(
            told,
            [
                ("answer: 1".to_owned(), "Not settled", "Changed"),
                ("specimens: B: max load n".to_owned(), "4.0", "4.25"),
                ("specimens: C".to_owned(), "—", "lost"),
                ("specimens: A".to_owned(), "there", "—"),
            ]
        );
        let said = "1 piece is new, 1 piece is no longer told of, 1 piece has other values.";
        assert_eq!(pieces(&found), said);
        let file = String::from_utf8(file(&found).unwrap()).unwrap();
        assert!(
            file.contains("\r\nspecimens/B/max_load_n,4.0,4.25\r\n"),
            "{file}"
        );
        assert!(changes(&before, &before).is_empty());
    }
}
