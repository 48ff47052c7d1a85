//! What an amendment changed, member by member, in words.
//!
//! Conditions and holders are told apart by their keys, dimensions by name and stages by their days,
//! so that a row put in between is one difference and not one for every row after it.

use serde_json::Value;

use super::{
    DryingKind, EndOfTest, Environment, ModulusBy, OutlierRule, Plan, Response, RetestSets,
    SameBatch, Shape, SizesAt, Spreads, TestKind,
};
use crate::study::reading::MoistureState;

/// One changed member of a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// Which part, in words (`condition “rain barrel”: place`).
    pub member: String,
    /// As it was; empty when it is new.
    pub before: String,
    /// As it is; empty when it was removed.
    pub after: String,
}

/// Every difference between two plans, in the order of their members' names.
#[must_use]
pub fn differences(before: &Plan, after: &Plan) -> Vec<Difference> {
    let mut found = Vec::new();
    let (Ok(before), Ok(after)) = (serde_json::to_value(before), serde_json::to_value(after))
    else {
        return found;
    };
    walk("", "", &before, &after, &mut found);
    found
}

/// Compares the member `name` that stands at `path`.
fn walk(path: &str, name: &str, before: &Value, after: &Value, found: &mut Vec<Difference>) {
    // A rule that the plan had not before is told member by member, as one that was changed.
    let none = Value::Object(serde_json::Map::new());
    match (before, after) {
        (Value::Null, Value::Object(_)) => walk(path, name, &none, after, found),
        (Value::Object(_), Value::Null) => walk(path, name, before, &none, found),
        (Value::Object(a), Value::Object(b)) => {
            let new = b.keys().filter(|key| !a.contains_key(*key));
            for key in a.keys().chain(new).filter(|key| *key != "key") {
                let of = |members: &serde_json::Map<String, Value>| members.get(key).cloned();
                let (x, y) = (of(a).unwrap_or_default(), of(b).unwrap_or_default());
                walk(&joined(path, key, &x, &y), key, &x, &y, found);
            }
        }
        (Value::Array(a), Value::Array(b)) if a.iter().chain(b).any(Value::is_object) => {
            walk_rows(path, a, b, found);
        }
        (a, b) if a != b => found.push(Difference {
            member: path.to_owned(),
            before: in_words(name, a),
            after: in_words(name, b),
        }),
        _ => {}
    }
}

/// Compares two lists of things that have an identity of their own.
fn walk_rows(path: &str, before: &[Value], after: &[Value], found: &mut Vec<Difference>) {
    let nothing = Value::Null;
    for a in before {
        match after.iter().find(|b| identity(a) == identity(b)) {
            Some(b) => {
                let member = format!("{path} “{}”:", called(a));
                walk(&member, "", a, b, found);
            }
            None => found.push(whole(path, a, &nothing)),
        }
    }
    let is_new = |b: &&Value| before.iter().all(|a| identity(a) != identity(b));
    found.extend(
        after
            .iter()
            .filter(is_new)
            .map(|b| whole(path, &nothing, b)),
    );
}

fn whole(path: &str, before: &Value, after: &Value) -> Difference {
    Difference {
        member: path.to_owned(),
        before: called(before),
        after: called(after),
    }
}

fn identity(row: &Value) -> Option<&Value> {
    ["key", "name", "days"]
        .iter()
        .find_map(|name| row.get(name))
}

/// What people call a row: its name, or a stage's days.
fn called(row: &Value) -> String {
    match (row.get("name"), row.get("days")) {
        (Some(Value::String(name)), _) => name.clone(),
        (_, Some(days)) => format!("{days} days"),
        _ => String::new(),
    }
}

/// The path with one more member; a list of rows is named in the singular, for each of its rows.
fn joined(path: &str, name: &str, before: &Value, after: &Value) -> String {
    let has_rows = |list: &Value| {
        list.as_array()
            .is_some_and(|rows| rows.iter().any(Value::is_object))
    };
    let word = match name {
        "conditions" | "stages" | "dimensions" | "holders"
            if has_rows(before) || has_rows(after) =>
        {
            name.trim_end_matches('s')
        }
        other => member_words(other),
    };
    match (path, word) {
        ("", word) => word.to_owned(),
        (path, word) => format!("{path} {word}"),
    }
}

/// What a member is called on a page.
fn member_words(name: &str) -> &str {
    match name {
        "form" | "mass" | "material" => name,
        "density_g_cm3" => "density, g/cm³",
        "end_of_test" => "what ends a test",
        "end_figure" => "figure that ends a test",
        "piece_name" => "what a piece is called",
        "loading_direction" => "loading direction",
        "nominal_g" => "expected, g",
        "nominal_mm" => "nominal, mm",
        "readability_g" => "smallest step of the balance, g",
        "window_days" => "window, ± days",
        "is_storage_control" => "is the storage control",
        "replicates" => "pieces per stage",
        "renew_days" => "days between two renewals of the water or medium",
        "baseline" => "baseline set",
        "reference_state" => "moisture state",
        "drying" | "rule" => "drying",
        "kind" => "rule",
        "method" => "method of the test",
        "sizes_at" => "section from",
        "modulus_by" => "modulus by",
        "span_mm" => "distance of the supports, mm",
        "grips_mm" => "distance of the grips, mm",
        "gauge_mm" => "gauge length, mm",
        "step_mm" => "step of these lengths, mm",
        "share_percent" => "share of the second half, %",
        "apart_hours" => "hours between weighings",
        "divisor" => "divisor of the change that matters",
        "percent" => "largest difference, %",
        "is_before_too" => "the same before exposure",
        "state_protocol" => "rinsing, conditioning and drying",
        "primary" => "primary response",
        "primary_stage_days" => "primary stage, days",
        "compares_storage_with_baseline" => "compares the storage control with the baseline set",
        "compares_exposed_with_baseline" => "compares exposed pieces with the baseline set",
        "margin_percent" => "margin, %",
        "margin_reason" => "reason for the margin",
        "confidence_percent" => "confidence, %",
        "outlier_rule" => "outlier rule",
        "asks_weibull" => "asks for Weibull shape and characteristic load",
        "retention_percent" => "retention whose time is asked for, %",
        "expected_cv_percent" => "expected scatter (CV), %",
        "few_holders_reason" => "reason for few holders",
        "retests" => "invalid tests repeated on a spare,",
        "sets" => "which",
        "batch" => "on spares",
        "exceptions_rule" => "rule for invalid tests and missing pieces",
        other => other,
    }
}

fn in_words(name: &str, value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => choice_words(name, text).unwrap_or_else(|| text.clone()),
        Value::Bool(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        Value::Array(items) => {
            let items = items.iter().map(|item| in_words(name, item));
            items.collect::<Vec<_>>().join("; ")
        }
        // 10.0 reads as 10.
        Value::Number(number) => number
            .as_f64()
            .map_or_else(|| number.to_string(), |number| number.to_string()),
        Value::Object(_) => called(value),
    }
}

/// A closed choice in its own words.
fn choice_words(name: &str, key: &str) -> Option<String> {
    let label = match name {
        "environment" => Environment::parse(key)?.label(),
        "shape" => Shape::parse(key)?.label(),
        "end_of_test" => EndOfTest::parse(key)?.label(),
        "reference_state" => MoistureState::parse(key)?.label(),
        "spreads" => Spreads::parse(key)?.label(),
        "kind" => match TestKind::parse(key) {
            Some(kind) => kind.label(),
            None => DryingKind::parse(key)?.label(),
        },
        "sizes_at" => SizesAt::parse(key)?.label(),
        "modulus_by" => ModulusBy::parse(key)?.label(),
        "outlier_rule" => OutlierRule::parse(key)?.label(),
        "sets" => RetestSets::parse(key)?.label(),
        "batch" => SameBatch::parse(key)?.label(),
        "primary" => return Response::parse(key).map(|response| response.label()),
        _ => return None,
    };
    Some(label.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::plan::form::{blank, parse};
    use crate::study::plan::{Condition, Stage};

    fn plan() -> Plan {
        let mut form = blank();
        for field in ["question", "material", "lots", "builds", "piece_name"] {
            form.set(field, field);
        }
        form.set("loading_direction", "up");
        form.set("fixture", "jaws");
        form.add("condition_name", "barrel");
        form.add("condition_holders", "a; b; c");
        form.add("condition_replicates", "6");
        parse(&form, None).unwrap()
    }

    fn said(after: &Plan) -> Vec<(String, String, String)> {
        let found = differences(&plan(), after);
        let said = found.into_iter().map(|d| (d.member, d.before, d.after));
        said.collect()
    }

    fn told(member: &str, before: &str, after: &str) -> (String, String, String) {
        (member.to_owned(), before.to_owned(), after.to_owned())
    }

    #[test]
    fn each_change_is_told_once_in_the_words_of_the_page() {
        assert!(said(&plan()).is_empty());
        let mut after = plan();
        after.margin_percent = 12.5;
        after.conditions[1].environment = Environment::Soil;
        after.conditions[1].holders[0].name = "d".to_owned();
        after.conditions[1].replicates = vec![8];
        assert_eq!(
            said(&after),
            [
                told("condition “barrel”: environment", "another place", "soil"),
                told("condition “barrel”: holder “a”: name", "a", "d"),
                told("condition “barrel”: pieces per stage", "6", "8"),
                told("margin, %", "10", "12.5"),
            ]
        );
    }

    #[test]
    fn a_rule_that_comes_or_goes_is_told_member_by_member() {
        let mut after = plan();
        after.retests = None;
        let member = |of: &str| format!("invalid tests repeated on a spare, {of}");
        assert_eq!(
            said(&after),
            [
                told(&member("on spares"), "of the same lot and build", ""),
                told(&member("which"), "of the baseline set", ""),
            ]
        );
    }

    #[test]
    fn a_row_put_in_front_is_one_difference() {
        let mut after = plan();
        let first = Condition {
            key: "c9".to_owned(),
            name: "roof".to_owned(),
            ..after.conditions[0].clone()
        };
        after.conditions.insert(0, first);
        let stage = Stage {
            days: 30,
            window_days: 2,
        };
        after.stages.insert(0, stage);
        assert_eq!(
            said(&after),
            [told("condition", "", "roof"), told("stage", "", "30 days")]
        );
    }
}
