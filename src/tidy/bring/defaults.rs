//! What is entered where the file says nothing: every default by name, so that nobody takes it for a record.

use super::rows::{Known, is_tested, known};
use super::{NOT_RECORDED, NOT_WRITTEN, Said, finest};
use crate::analysis::piece::Fate;
use crate::study::plan::words::facts;
use crate::study::reading::{Occasion, Quantity};
use crate::study::units::Dimension;
use crate::tidy::Tidy;
use crate::tidy::problem::Problems;

/// Every default that would be entered, each a sentence. `is_empty` says whether a field of the form was left
/// empty.
#[must_use]
pub fn defaults(tidy: &Tidy, said: &Said, is_empty: impl Fn(&str) -> bool) -> Vec<String> {
    let rows = known(tidy, said, &mut Problems::default());
    let mut told = names(&rows);
    told.extend(days(&rows, said));
    told.extend(readings(tidy, &rows, &is_empty));
    told.extend(way(&rows, tidy));
    told.extend(tests(&rows, said));
    told.extend(plan(tidy, &is_empty));
    told
}

/// `4 pieces`; `None` for none.
fn some(count: usize) -> Option<String> {
    match count {
        0 => None,
        1 => Some("1 piece".to_owned()),
        n => Some(format!("{n} pieces")),
    }
}

fn count(rows: &[Known<'_>], is_it: impl Fn(&Known<'_>) -> bool) -> Option<String> {
    some(rows.iter().filter(|one| is_it(one)).count())
}

fn names(rows: &[Known<'_>]) -> Vec<String> {
    let lots = count(rows, |one| one.row.lot.is_empty());
    let builds = count(rows, |one| one.row.build.is_empty());
    let told = [
        lots.map(|n| format!("Lot of {n}: “{NOT_RECORDED}”.")),
        builds.map(|n| format!("Build of {n}: “{NOT_RECORDED}”.")),
    ];
    told.into_iter().flatten().collect()
}

fn days(rows: &[Known<'_>], said: &Said) -> Vec<String> {
    let out = count(rows, |one| {
        one.out_on.is_some() && one.row.more.out_on.is_none()
    });
    let by_days = |one: &Known<'_>| one.in_on.is_some() && one.row.more.in_on.is_none();
    let by_stage = count(rows, |one| by_days(one) && one.row.more.days_out.is_none());
    let by_days = count(rows, |one| by_days(one) && one.row.more.days_out.is_some());
    let is_silent = |one: &Known<'_>| one.tested_on.is_some() && one.row.tested_on.is_none();
    let tested = count(rows, is_silent);
    let tested_by = match said.tested_on {
        Some(_) => "the day given below",
        None => "the day on which they were taken in",
    };
    let told = [
        out.map(|n| format!("Put out, {n}: the day given below.")),
        by_stage.map(|n| format!("Taken in, {n}: as many days after as their stage has.")),
        by_days.map(|n| format!("Taken in, {n}: as many days after as they were out.")),
        tested.map(|n| format!("Tested, {n}: {tested_by}.")),
        Some(format!("Every hour: noon in {}.", said.time_zone)),
    ];
    told.into_iter().flatten().collect()
}

fn readings(tidy: &Tidy, rows: &[Known<'_>], is_empty: &impl Fn(&str) -> bool) -> Vec<String> {
    let mut told = Vec::new();
    let all = || {
        rows.iter()
            .flat_map(|one| one.row.readings.keys().map(move |key| (one, key)))
    };
    let without = all()
        .filter(|(one, key)| !one.row.states.contains_key(*key))
        .count();
    if without > 0 {
        let state = tidy.plan.reference_state.label();
        told.push(format!("Moisture state of {without} readings: {state}."));
    }
    if all().next().is_some() {
        told.push(
            "Each value is entered as one reading, however many it is the mean of.".to_owned(),
        );
    }
    for (dimension, name, field, unit) in [
        (Dimension::Mass, "Balance", "balance", "g"),
        (Dimension::Length, "Calliper", "calliper", "mm"),
    ] {
        let own = rows.iter().flat_map(|one| &one.row.readings);
        let own = own.filter(|((quantity, _), _)| quantity.dimension() == dimension);
        let own: Vec<f64> = own.map(|(_, value)| *value).collect();
        if !own.is_empty() && is_empty(field) {
            let step = finest(own.into_iter());
            told.push(format!(
                "{name}: one for all readings, its step {step} {unit}, as fine as they are written; no \
                 calibration, no check."
            ));
        }
    }
    told
}

fn way(rows: &[Known<'_>], tidy: &Tidy) -> Vec<String> {
    let lacks = |one: &Known<'_>| {
        let has = |q: &Quantity| {
            one.row
                .readings
                .contains_key(&(q.clone(), Occasion::Before))
        };
        one.out_on.is_some() && tidy.plan.quantities().iter().any(|quantity| !has(quantity))
    };
    let waived = count(rows, lacks);
    let whole = |one: &Known<'_>| {
        let is_plain = !matches!(
            one.row.fate,
            Fate::Lost | Fate::Destroyed | Fate::InError | Fate::TotalLoss
        );
        one.in_on.is_some() && one.row.more.recovery.is_none() && is_plain
    };
    let whole = count(rows, whole);
    let damaged = |one: &Known<'_>| {
        let is_weak = one.row.fate == Fate::TotalLoss;
        one.in_on.is_some() && one.row.more.recovery.is_none() && is_weak
    };
    let damaged = count(rows, damaged);
    let marked = count(rows, |one| {
        one.in_on.is_some() && one.row.more.identity.is_none()
    });
    let told = [
        waived.map(|n| {
            format!("Readings before exposure, {n}: waived, with the reason “{NOT_WRITTEN}”")
        }),
        whole.map(|n| format!("State when taken in, {n}: whole.")),
        damaged.map(|n| format!("State when taken in, {n} that could not carry load: damaged.")),
        marked.map(|n| format!("Identified, {n}: by their marks.")),
    ];
    told.into_iter().flatten().collect()
}

fn tests(rows: &[Known<'_>], said: &Said) -> Vec<String> {
    let is_silent = |one: &Known<'_>| is_tested(one.row.fate) && one.row.more.mode.is_none();
    let mode = |fate: Fate, words: &str| {
        let found = count(rows, |one| is_silent(one) && one.row.fate == fate);
        found.map(|n| format!("How it failed, {n}: {words}."))
    };
    let reason = count(rows, |one| {
        let needs = is_tested(one.row.fate) && one.row.fate != Fate::Valid;
        needs && one.row.reason.is_none()
    });
    let tested = count(rows, |one| is_tested(one.row.fate));
    let named = [
        ("Lab", &said.lab),
        ("Machine", &said.machine),
        ("Fixture", &said.fixture),
    ];
    let named = named.into_iter().filter(|(_, name)| *name == NOT_RECORDED);
    let named = named.map(|(what, _)| format!("{what}: “{NOT_RECORDED}”."));
    let told = [
        mode(Fate::Valid, "broke in the test region"),
        mode(Fate::LowerBound, "did not break"),
        mode(Fate::TotalLoss, "broke before the test"),
        mode(Fate::Invalid, "wrong speed or alignment"),
        reason.map(|n| format!("Why not plainly valid, {n}: “No reason was written down.”")),
        tested.map(|n| {
            format!(
                "Sent and tested, {n}: arrived whole, labels visible, in the order of the file; no speed, no \
                 room, no check load."
            )
        }),
    ];
    told.into_iter().flatten().chain(named).collect()
}

/// The plan's lines that neither the file nor the form gives, as the plan will read.
fn plan(tidy: &Tidy, is_empty: &impl Fn(&str) -> bool) -> Vec<String> {
    let silent: &[&str] = &[
        "Intervals",
        "Flagged values",
        "Covariate",
        "Expected scatter",
        "End of a test",
        "Primary response",
        "Comparisons",
    ];
    let is_margin = |label: &str| label == "Margin" && is_empty("margin");
    let facts = facts(&tidy.plan);
    let told = facts
        .iter()
        .filter(|fact| silent.contains(&fact.label) || is_margin(fact.label));
    let mut told: Vec<String> = told
        .map(|fact| format!("Plan, {}: {}.", fact.label.to_lowercase(), fact.words))
        .collect();
    for (field, what) in [("question", "the question"), ("material", "the material")] {
        if is_empty(field) {
            told.push(format!("Plan, {what}: left empty."));
        }
    }
    if is_empty("piece") {
        let name = &tidy.plan.form.piece_name;
        told.push(format!("Plan, what a piece is called: “{name}”."));
    }
    for condition in &tidy.plan.conditions {
        told.push(format!(
            "Plan, {}: {}, its place not described.",
            condition.name,
            condition.environment.label()
        ));
    }
    told
}
