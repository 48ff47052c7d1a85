//! What went otherwise at the lab: tests corrected, and tests repeated on spares.

use std::collections::{BTreeMap, BTreeSet};

use crate::analysis::digits::plain;
use crate::study::code::Code;
use crate::study::record::{Standing, StudyRecord, TestRecord};

pub(super) fn tests(record: &StudyRecord) -> Vec<String> {
    let mut told = Vec::new();
    for consignment in record.consignments.iter().filter(|c| !c.is_blind()) {
        let codes: BTreeMap<_, _> = consignment
            .pieces
            .iter()
            .map(|p| (&p.blind, &p.specimen))
            .collect();
        for old in consignment
            .tests
            .iter()
            .filter(|t| t.standing != Standing::Current)
        {
            let new = consignment
                .tests
                .iter()
                .find(|t| t.supersedes == Some(old.entry));
            let code = codes.get(&old.test.blind).map(|code| code.to_string());
            told.push(test(
                &code.unwrap_or_else(|| old.test.blind.to_string()),
                old,
                new,
            ));
        }
    }
    told
}

/// Told once both the spare and the piece in whose place it stands are open.
pub(super) fn retests(record: &StudyRecord, open: &BTreeSet<&str>) -> Vec<String> {
    let is_open = |code: &Code| open.contains(code.as_str());
    let known = record
        .retests()
        .filter(|(spare, retest)| is_open(&spare.code) && is_open(&retest.of));
    known
        .map(|(spare, retest)| {
            let knowing = match retest.is_knowing_group {
                true => ". Decided knowing the group",
                false => "",
            };
            let counts = match (&retest.replaced_by, retest.is_needed) {
                (Some(next), _) => format!(", lost before its test; {next} stands there"),
                (None, true) => String::new(),
                (None, false) => format!("; {} counts itself again, the spare does not", retest.of),
            };
            format!(
                "{} in the place of {}{counts}{knowing}",
                spare.code, retest.of
            )
        })
        .collect()
}

fn test(code: &str, old: &TestRecord, new: Option<&TestRecord>) -> String {
    let show = |test: &TestRecord| {
        let load = test
            .test
            .max_load_n
            .map(|n| format!("{} N, ", plain(n)))
            .unwrap_or_default();
        format!("{load}{}", test.test.outcome.label())
    };
    let to = new.map_or_else(|| "declared void".to_owned(), show);
    let note = new.and_then(|n| n.note.as_deref()).or(old.note.as_deref());
    let reason = note
        .map(|note| format!(". Reason: {}", note.trim()))
        .unwrap_or_default();
    let is_knowing = new.is_some_and(|n| n.is_knowing_group);
    let knowing = if is_knowing {
        ". Made knowing the group"
    } else {
        ""
    };
    format!("{code}: {} → {to}{reason}{knowing}", show(old))
}
