//! The part of the form about the conditions and their holders, and which keys they keep.

use super::or_default;
use super::rows::{Row, Rows, row_field};
use crate::study::fault::Faults;
use crate::study::plan::{Condition, Environment, Holder, Plan};
use crate::study::typed::{Typed, clean};
use crate::study::units::whole;

/// Most conditions of a plan.
const MOST_CONDITIONS: usize = 40;
/// Most holders of a condition.
const MOST_HOLDERS: usize = 200;
/// Most pieces of a condition at a stage.
const MOST_REPLICATES: u32 = 5_000;
/// Longest time between two renewals of the water or medium, in days.
const LONGEST_RENEWAL: u32 = 1_000;

const COLUMNS: [&str; 7] = [
    "condition_name",
    "condition_key",
    "condition_environment",
    "condition_place",
    "condition_holders",
    "condition_replicates",
    "condition_renew",
];

pub(super) fn read(
    typed: &Typed,
    stages: usize,
    known: Option<&Plan>,
    faults: &mut Faults,
) -> Vec<Condition> {
    let rows = Rows::of(typed, &COLUMNS);
    let control = typed.text("condition_control");
    let mut found: Vec<Condition> = Vec::new();
    let filled = rows.filled(MOST_CONDITIONS, "conditions", faults);
    if filled.is_empty() {
        faults.push(
            row_field("condition_name", 0),
            "Name at least one condition.",
        );
    }
    for row in filled {
        let key = key(&row, &rows, &found);
        let before = known.and_then(|plan| plan.condition(&key));
        let Some(mut condition) = condition(&row, key, stages, before, faults) else {
            continue;
        };
        let is_same = |other: &Condition| other.name.eq_ignore_ascii_case(&condition.name);
        if found.iter().any(is_same) {
            let sentence = format!("The condition “{}” stands there twice.", condition.name);
            faults.push(row.field("condition_name"), sentence);
        }
        condition.is_storage_control = control == (row.at + 1).to_string();
        found.push(condition);
    }
    found
}

/// The key sent with the row when the condition is known already, or the first one that is free.
fn key(row: &Row<'_>, rows: &Rows<'_>, found: &[Condition]) -> String {
    let is_key = |key: &str| {
        let digits = key.strip_prefix('c').unwrap_or_default();
        (1..=6).contains(&digits.len()) && digits.chars().all(|c| c.is_ascii_digit())
    };
    let is_used = |key: &str| found.iter().any(|condition| condition.key == key);
    let sent = row.text("condition_key");
    if is_key(sent) && !is_used(sent) {
        return sent.to_owned();
    }
    let is_sent = |key: &str| rows.column("condition_key").contains(&key);
    (1..)
        .map(|number| format!("c{number}"))
        .find(|key| !is_used(key) && !is_sent(key))
        .unwrap_or_default()
}

fn condition(
    row: &Row<'_>,
    key: String,
    stages: usize,
    before: Option<&Condition>,
    faults: &mut Faults,
) -> Option<Condition> {
    let name = name(row, faults);
    let environment_field = row.field("condition_environment");
    let kind = or_default(row.text("condition_environment"), "other");
    let environment = Environment::typed(&environment_field, "The kind of place", kind);
    let environment = faults.keep(environment);
    let place_field = row.field("condition_place");
    let place = clean(&place_field, "The place", row.text("condition_place"), 300);
    let place = faults.keep(place);
    let holder_names = holder_names(row, name.as_deref().unwrap_or("holder"), faults);
    let replicates = replicates(row, stages, faults);
    let renew_days = renewal(row, faults);
    Some(Condition {
        holders: keyed(&key, holder_names?, before),
        key,
        name: name?,
        environment: environment?,
        is_storage_control: false,
        place: place?,
        replicates: replicates?,
        renew_days: renew_days?,
    })
}

/// Days between two renewals of the water or medium; an empty field sets no time.
fn renewal(row: &Row<'_>, faults: &mut Faults) -> Option<Option<u32>> {
    let text = row.text("condition_renew");
    if text.is_empty() {
        return Some(None);
    }
    let field = row.field("condition_renew");
    let called = "The days between two renewals";
    let days = whole(&field, called, text, 1, LONGEST_RENEWAL);
    faults.keep(days).map(Some)
}

fn name(row: &Row<'_>, faults: &mut Faults) -> Option<String> {
    let field = row.field("condition_name");
    let name = clean(&field, "A condition's name", row.text("condition_name"), 80);
    let name = faults.keep(name)?;
    // Semicolons part the names of holders, which begin as the condition's.
    if name.contains(';') {
        faults.push(field, "A condition's name holds no semicolon.");
        return None;
    }
    Some(name)
}

/// Either a number of holders, or their names parted by semicolons.
fn holder_names(row: &Row<'_>, condition: &str, faults: &mut Faults) -> Option<Vec<String>> {
    let field = row.field("condition_holders");
    let text = or_default(row.text("condition_holders"), "1");
    let names: Vec<String> = match text.parse::<usize>() {
        Ok(1) => vec![condition.to_owned()],
        Ok(count @ 2..=MOST_HOLDERS) => (1..=count).map(|n| format!("{condition} {n}")).collect(),
        Ok(_) => Vec::new(),
        Err(_) => text
            .split(';')
            .map(|name| name.trim().to_owned())
            .filter(|name| !name.is_empty())
            .collect(),
    };
    let longest = if text.parse::<usize>().is_ok() {
        90
    } else {
        80
    };
    for name in &names {
        faults.keep(clean(&field, "A holder's name", name, longest))?;
    }
    let mut sorted = names.clone();
    sorted.sort();
    sorted.dedup();
    if names.is_empty() || names.len() > MOST_HOLDERS || sorted.len() != names.len() {
        let sentence =
            "Holders are a number from 1 to 200, or different names parted by semicolons.";
        faults.push(field, sentence);
        return None;
    }
    Some(names)
}

/// Gives the holders their keys: one of the same name keeps its key; one whose name is new takes the
/// key of the one that stood in its position, if that name is gone (it was renamed), or a new key.
fn keyed(condition: &str, names: Vec<String>, before: Option<&Condition>) -> Vec<Holder> {
    let old: &[Holder] = before.map_or(&[], |before| &before.holders);
    let mut numbers = (1..).map(|n| format!("{condition}h{n}"));
    let mut fresh = || {
        let is_new = |key: &String| old.iter().all(|holder| holder.key != *key);
        numbers.find(is_new).unwrap_or_default()
    };
    let key = |(position, name): (usize, &String)| {
        let same = old.iter().find(|holder| holder.name == *name);
        let renamed = || {
            let holder = old.get(position)?;
            (!names.contains(&holder.name)).then_some(holder)
        };
        same.or_else(renamed)
            .map_or_else(&mut fresh, |holder| holder.key.clone())
    };
    let keys: Vec<String> = names.iter().enumerate().map(key).collect();
    let pairs = keys.into_iter().zip(names);
    pairs.map(|(key, name)| Holder { key, name }).collect()
}

/// One number for every stage, or as many numbers as there are stages.
fn replicates(row: &Row<'_>, stages: usize, faults: &mut Faults) -> Option<Vec<u32>> {
    let field = row.field("condition_replicates");
    let text = row.text("condition_replicates");
    let mut numbers = Vec::new();
    for part in text.split([',', ';', ' ']).filter(|part| !part.is_empty()) {
        let number = whole(&field, "The number of pieces", part, 0, MOST_REPLICATES);
        numbers.push(faults.keep(number)?);
    }
    match (numbers.as_slice(), stages) {
        ([one], _) => Some(vec![*one; stages]),
        (several, _) if several.len() == stages && stages > 0 => Some(numbers),
        _ => {
            let sentence = "Pieces per stage: one number for all stages, or one for each stage.";
            faults.push(field, sentence);
            None
        }
    }
}
