//! Two JSON documents, member by member: what is the same, what differs and where.

use serde_json::Value;

/// Relative difference of two numbers that still counts as the same: what another processor's rounding
/// makes of the last digits.
const NEAR: f64 = 1e-9;

/// What a comparison found.
#[derive(Debug, Default)]
pub(super) struct Compared {
    /// Numbers and words that were compared.
    pub members: usize,
    /// Each difference with its place.
    pub differs: Vec<String>,
    near: usize,
}

impl Compared {
    /// Whether some numbers agree to nine digits only.
    pub(super) fn is_near(&self) -> bool {
        self.near > 0
    }

    /// One more member.
    pub(super) fn note(&mut self, path: &str, is_same: bool) {
        self.members += 1;
        if !is_same {
            self.differ(format!("{path} is another"));
        }
    }

    /// A difference.
    pub(super) fn differ(&mut self, told: String) {
        self.differs.push(told);
    }
}

/// Compares what is written down with what was computed.
pub(super) fn compare(written: &Value, computed: &Value) -> Compared {
    let mut compared = Compared::default();
    walk("", written, computed, &mut compared);
    compared
}

fn walk(path: &str, written: &Value, computed: &Value, out: &mut Compared) {
    match (written, computed) {
        (Value::Object(a), Value::Object(b)) => {
            for (key, value) in a {
                let other = b.get(key).unwrap_or(&Value::Null);
                walk(&format!("{path}/{key}"), value, other, out);
            }
            for (key, value) in b.iter().filter(|(key, _)| !a.contains_key(*key)) {
                walk(&format!("{path}/{key}"), &Value::Null, value, out);
            }
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            for (at, (one, other)) in a.iter().zip(b).enumerate() {
                walk(&format!("{path}/{}", place(at, one)), one, other, out);
            }
        }
        (Value::Number(a), Value::Number(b)) => number(path, (a.as_f64(), b.as_f64()), out),
        (a, b) => {
            out.members += 1;
            if a != b {
                out.differ(format!(
                    "{path}: {} written, {} computed",
                    short(a),
                    short(b)
                ));
            }
        }
    }
}

/// A row by its name where it has one, otherwise by its place.
fn place(at: usize, row: &Value) -> String {
    let name = row.get("code").or_else(|| row.get("name"));
    name.and_then(Value::as_str)
        .map_or_else(|| at.to_string(), str::to_owned)
}

fn number(path: &str, both: (Option<f64>, Option<f64>), out: &mut Compared) {
    out.members += 1;
    let (Some(a), Some(b)) = both else {
        out.differ(format!("{path}: a number that cannot be read"));
        return;
    };
    if a == b {
        return;
    }
    if (a - b).abs() <= NEAR * a.abs().max(b.abs()) {
        out.near += 1;
    } else {
        out.differ(format!("{path}: {a} written, {b} computed"));
    }
}

fn short(value: &Value) -> String {
    let text = value.to_string();
    match text.char_indices().nth(80) {
        Some((at, _)) => format!("{}…", text.get(..at).unwrap_or_default()),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn every_difference_has_its_place() {
        let written = json!({"a": [{"name": "x", "v": 1.0}], "b": "w", "c": 2.0});
        let computed = json!({"a": [{"name": "x", "v": 1.5}], "b": "w", "c": 2.0 + 1e-12, "d": 1});
        let found = compare(&written, &computed);
        assert!(found.is_near() && found.members == 5);
        assert_eq!(
            found.differs,
            [
                "/a/x/v: 1 written, 1.5 computed",
                "/d: null written, 1 computed"
            ]
        );
    }
}
