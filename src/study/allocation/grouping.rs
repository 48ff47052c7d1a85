//! The grouping of a study entered after the fact: who was where, as reported. One line a piece:
//! code, role or condition, stage in days, holder.

use std::collections::BTreeSet;

use super::{Place, Placed};
use crate::study::code::Code;
use crate::study::fault::Faults;
use crate::study::plan::{Condition, Plan};
use crate::study::record::StudyRecord;
use crate::study::typed::Typed;

/// The field that holds the lines.
pub const FIELD: &str = "rows";

/// Mistakes said at once; whoever has more begins with these.
const MOST_FAULTS: usize = 30;

/// Lines that a form is filled with at a time; further pieces can be reported after these.
const MOST_LINES: usize = 300;

/// Reads the lines. Blank ones, and codes with nothing behind them, are left out.
///
/// # Errors
/// One fault for each line that is wrong, with its number.
pub fn parse(typed: &Typed, plan: &Plan, record: &StudyRecord) -> Result<Vec<Placed>, Faults> {
    let mut faults = Faults::none();
    let mut rows: Vec<Placed> = Vec::new();
    let mut seen = BTreeSet::new();
    for (number, line) in typed.raw(FIELD).lines().enumerate() {
        let parsed = parse_line(line, plan, record).and_then(|placed| match placed {
            Some(placed) if !seen.insert(placed.specimen.clone()) => {
                Err(format!("{} stands here twice.", placed.specimen))
            }
            placed => Ok(placed),
        });
        match parsed {
            Ok(placed) => rows.extend(placed),
            Err(_) if faults.0.len() >= MOST_FAULTS => {}
            Err(sentence) => faults.push(FIELD, format!("Line {}: {sentence}", number + 1)),
        }
    }
    if rows.is_empty() && faults.is_empty() {
        faults.push(FIELD, "Say of at least one piece where it was.");
    }
    faults.or(rows)
}

fn parse_line(line: &str, plan: &Plan, record: &StudyRecord) -> Result<Option<Placed>, String> {
    let parts = parts(line);
    let [code, place, stage, holder] = parts.as_slice() else {
        return Err("write code, role or condition, stage, holder, and no more.".to_owned());
    };
    if place.is_empty() && stage.is_empty() && holder.is_empty() {
        // An empty line, or a piece about which nothing is said yet.
        return Ok(None);
    }
    let specimen: Code = code.parse().map_err(|fault| format!("“{code}”: {fault}"))?;
    if record.specimen(&specimen).is_none() {
        return Err(format!("there is no piece {specimen} in this study."));
    }
    let place = parse_place(place, stage, holder, plan)?;
    Ok(Some(Placed { specimen, place }))
}

/// The four parts of a line, parted by tabs (as a spreadsheet gives them), semicolons or commas;
/// missing ones at the end are empty.
fn parts(line: &str) -> Vec<&str> {
    let separator = ['\t', ';', ','].into_iter().find(|c| line.contains(*c));
    let mut parts: Vec<&str> = match separator {
        Some(separator) => line.split(separator).map(str::trim).collect(),
        None => vec![line.trim()],
    };
    while parts.len() < 4 {
        parts.push("");
    }
    while parts.len() > 4 && parts.last().is_some_and(|last| last.is_empty()) {
        parts.pop();
    }
    parts
}

fn parse_place(place: &str, stage: &str, holder: &str, plan: &Plan) -> Result<Place, String> {
    let role = match place.to_lowercase().as_str() {
        "baseline" | "baseline set" => Some(Place::Baseline),
        "spare" | "spares" => Some(Place::Spare),
        "late reference" => Some(Place::LateReference),
        _ => None,
    };
    if let Some(role) = role {
        let has_more = !stage.is_empty() || !holder.is_empty();
        let sentence = || format!("a piece of the role “{place}” has neither stage nor holder.");
        return if has_more { Err(sentence()) } else { Ok(role) };
    }
    let named = |c: &&Condition| c.name.to_lowercase() == place.to_lowercase();
    let condition = plan.conditions.iter().find(named).ok_or_else(|| {
        let names: Vec<&str> = plan.conditions.iter().map(|c| c.name.as_str()).collect();
        format!(
            "“{place}” is no condition; there are {}, baseline, spare and late reference.",
            names.join(", ")
        )
    })?;
    Ok(Place::Exposed {
        condition: condition.key.clone(),
        stage_days: stage_days(stage, plan)?,
        holder: holder_key(holder, condition)?,
    })
}

fn stage_days(stage: &str, plan: &Plan) -> Result<u32, String> {
    let offered = || {
        let days: Vec<String> = plan.stages.iter().map(|s| s.days.to_string()).collect();
        format!("the stage is one of {} (days).", days.join(", "))
    };
    if let ("", [only]) = (stage, plan.stages.as_slice()) {
        return Ok(only.days);
    }
    let text = stage.trim_end_matches("days").trim_end_matches('d').trim();
    let days = text.parse().ok().filter(|days| plan.stage(*days).is_some());
    days.ok_or_else(offered)
}

fn holder_key(holder: &str, condition: &Condition) -> Result<String, String> {
    if let ("", [only]) = (holder, condition.holders.as_slice()) {
        return Ok(only.key.clone());
    }
    let is_named = |name: &str| name.to_lowercase() == holder.to_lowercase();
    let found = condition.holders.iter().find(|h| is_named(&h.name));
    found.map(|holder| holder.key.clone()).ok_or_else(|| {
        let names: Vec<&str> = condition.holders.iter().map(|h| h.name.as_str()).collect();
        let (place, names) = (&condition.name, names.join("; "));
        format!("name one of the holders of {place}: {names}.")
    })
}

/// The lines for pieces about which nothing is reported yet, to be completed.
#[must_use]
pub fn open_lines(record: &StudyRecord) -> String {
    let open = record
        .specimens
        .iter()
        .filter(|piece| piece.place.is_none());
    let lines = open
        .take(MOST_LINES)
        .map(|piece| format!("{}, \n", piece.code));
    lines.collect()
}
