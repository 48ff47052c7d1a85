//! Results over the stages, and Weibull strength, as tables.

use crate::analysis::brittle::{Brittle, LOW_SHARE};
use crate::analysis::digits::{fixed, plain, significant};
use crate::analysis::findings::Findings;
use crate::analysis::names;
use crate::analysis::over_time::{Bounds, Line, OverTime};
use crate::report::format::{unit, with_intervals};
use crate::report::tables::{Table, TableRow, set_name};
use crate::study::plan::Response;

/// One table for each response that has results over three stages or more.
#[must_use]
pub fn over_time(findings: &Findings) -> Vec<Table> {
    let mut responses: Vec<&Response> = Vec::new();
    for found in &findings.over_time {
        if !responses.contains(&&found.response) {
            responses.push(&found.response);
        }
    }
    let of = |response: &Response| {
        let here: Vec<&OverTime> = findings
            .over_time
            .iter()
            .filter(|o| o.response == *response)
            .collect();
        table(response, &here)
    };
    responses.into_iter().map(of).collect()
}

/// The sentences about the response that decides.
#[must_use]
pub fn told(findings: &Findings) -> Vec<String> {
    let both = findings.over_time.iter().zip(&findings.over_time_words);
    both.filter(|(found, _)| found.response == findings.standing.primary)
        .map(|(_, words)| words.to_string())
        .collect()
}

fn table(response: &Response, all: &[&OverTime]) -> Table {
    let is_relative = all
        .iter()
        .any(|o| rate(o).is_some_and(|(_, relative)| relative));
    let is_load = response.needs_breaking();
    let of = match (is_relative, is_load) {
        (true, _) => "% of the start".to_owned(),
        (false, true) => unit(response).to_owned(),
        (false, false) => "% points".to_owned(),
    };
    let confidence = all.first().map_or(95.0, |o| o.confidence_percent);
    let retention = all.iter().find_map(|o| o.line.as_ref()?.retention_percent);
    let mut head = vec![
        "Condition".to_owned(),
        "Stages, days".to_owned(),
        format!("Change in a year, {of}"),
    ];
    head.extend(retention.map(|percent| format!("{} % left after, days", plain(percent))));
    let rates: Vec<Option<[f64; 3]>> = all
        .iter()
        .map(|o| rate(o).map(|(b, _)| [b.estimate, b.lower, b.upper]))
        .collect();
    let rates = with_intervals(&rates, &[0.0]);
    let row = |(found, rate): (&&OverTime, String)| {
        let days: Vec<String> = found.stages.iter().map(u32::to_string).collect();
        let mut cells = vec![days.join(", "), rate];
        cells.extend(retention.map(|_| time(found.line.as_ref())));
        TableRow {
            name: condition(found),
            cells,
        }
    };
    Table {
        caption: format!(
            "{} over the stages: straight lines with {} % intervals. Secondary, not adjusted.",
            names::capital(&response.label()),
            plain(confidence)
        ),
        head,
        rows: all.iter().zip(rates).map(row).collect(),
        is_numbers: false,
    }
}

fn condition(found: &OverTime) -> String {
    if found.is_storage_control {
        format!("{} (storage control)", found.name)
    } else {
        found.name.clone()
    }
}

/// The rate as it is told, and whether it is relative to the start.
fn rate(found: &OverTime) -> Option<(Bounds, bool)> {
    let line = found.line.as_ref()?;
    Some(match line.percent_per_year {
        Some(percent) => (percent, true),
        None => (line.per_year, false),
    })
}

fn time(line: Option<&Line>) -> String {
    let Some(found) = line.and_then(|line| line.time) else {
        return "–".to_owned();
    };
    let far = if found.is_extrapolated {
        ", extrapolated"
    } else {
        ""
    };
    let earliest = fixed(found.lower_days, 0);
    match found.estimate_days.zip(found.upper_days) {
        Some((estimate, latest)) => format!(
            "{} ({earliest} to {}{far})",
            fixed(estimate, 0),
            fixed(latest, 0)
        ),
        None => format!("not before {earliest}{far}"),
    }
}

/// Weibull strength of each set; `None` when the plan does not ask for it.
#[must_use]
pub fn brittle(all: &[Brittle]) -> Option<Table> {
    let first = all.first()?;
    let unit = unit(&first.response);
    let row = |found: &Brittle| TableRow {
        name: set_name(&found.group, &found.name, found.is_storage_control),
        cells: vec![
            found.failed.to_string(),
            found.censored.to_string(),
            bounds(found.shape),
            bounds(found.scale),
            bounds(found.low),
        ],
    };
    Some(Table {
        caption: format!(
            "Weibull strength by {}, {} % profile intervals, each set by itself.",
            first.response.label(),
            plain(first.confidence_percent)
        ),
        head: vec![
            "Set".to_owned(),
            "Broke".to_owned(),
            "At least".to_owned(),
            "Shape".to_owned(),
            format!("Characteristic, {unit}"),
            format!("{} % fail below, {unit}", plain(LOW_SHARE * 100.0)),
        ],
        rows: all.iter().map(row).collect(),
        is_numbers: true,
    })
}

fn bounds(found: Option<Bounds>) -> String {
    found.map_or_else(
        || "–".to_owned(),
        |b| {
            let [estimate, lower, upper] =
                [b.estimate, b.lower, b.upper].map(|v| significant(v, 3));
            format!("{estimate} ({lower} to {upper})")
        },
    )
}
