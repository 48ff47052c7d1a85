//! What an amendment changed, member by member.

use serde_json::Value;

use super::Plan;

/// One changed member of a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// The member's path, in words (`conditions 2 place`).
    pub member: String,
    /// As it was; empty when it is new.
    pub before: String,
    /// As it is; empty when it was removed.
    pub after: String,
}

/// Every difference between two plans, in the order of the plan.
#[must_use]
pub fn differences(before: &Plan, after: &Plan) -> Vec<Difference> {
    let mut found = Vec::new();
    let (Ok(before), Ok(after)) = (serde_json::to_value(before), serde_json::to_value(after))
    else {
        return found;
    };
    walk("", &before, &after, &mut found);
    found
}

fn walk(path: &str, before: &Value, after: &Value, found: &mut Vec<Difference>) {
    match (before, after) {
        (Value::Object(a), Value::Object(b)) => {
            let mut names: Vec<&String> = a
                .keys()
                .chain(b.keys().filter(|k| !a.contains_key(*k)))
                .collect();
            names.dedup();
            for name in names {
                let (x, y) = (
                    a.get(name).unwrap_or(&Value::Null),
                    b.get(name).unwrap_or(&Value::Null),
                );
                walk(&join(path, &name.replace('_', " ")), x, y, found);
            }
        }
        (Value::Array(a), Value::Array(b)) => {
            for position in 0..a.len().max(b.len()) {
                let x = a.get(position).unwrap_or(&Value::Null);
                let y = b.get(position).unwrap_or(&Value::Null);
                walk(&join(path, &(position + 1).to_string()), x, y, found);
            }
        }
        (a, b) if a != b => found.push(Difference {
            member: path.to_owned(),
            before: in_words(a),
            after: in_words(b),
        }),
        _ => {}
    }
}

fn join(path: &str, name: &str) -> String {
    if path.is_empty() {
        name.to_owned()
    } else {
        format!("{path} {name}")
    }
}

fn in_words(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Bool(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        Value::Object(members) => members
            .get("name")
            .map_or_else(|| value.to_string(), in_words),
        other => other.to_string(),
    }
}
