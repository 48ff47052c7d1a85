//! What went otherwise than planned, as the journal has it: amendments, waivers, corrections, second
//! draws, early unblinding, incidents.
//!
//! About pieces that are still blind nothing is told here, not even that a reading was corrected.

mod lab;
#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};

use crate::analysis::digits::plain;
use crate::analysis::findings::Findings;
use crate::analysis::names;
use crate::analysis::piece::Flag;
use crate::analysis::words;
use crate::report::format::day;
use crate::report::hidden::Hidden;
use crate::report::tables::{Table, TableRow};
use crate::study::code::Code;
use crate::study::plan::difference::differences;
use crate::study::record::{EventKind, PlanVersion, ReadingRecord, Standing, StudyRecord};

/// One kind of deviation with every case of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Deviation {
    /// What kind.
    pub heading: String,
    /// Each case, in words.
    pub cases: Vec<String>,
}

/// All of them; a kind without a case is left out.
#[must_use]
pub fn deviations(record: &StudyRecord, findings: &Findings) -> Vec<Deviation> {
    let open = open(findings);
    told(
        kinds(record, findings).into_iter(),
        &Hidden::of(record, &open),
    )
}

/// How many of each kind, also of those of which there is none.
#[must_use]
pub fn counted(record: &StudyRecord, findings: &Findings) -> Table {
    let row = |(heading, cases): (&str, Vec<String>)| TableRow {
        name: heading.to_owned(),
        cells: vec![cases.len().to_string()],
    };
    Table {
        caption: "How often something went otherwise; each is told below.".to_owned(),
        head: vec!["What".to_owned(), "Cases".to_owned()],
        rows: kinds(record, findings).into_iter().map(row).collect(),
        is_numbers: true,
    }
}

/// Codes of the pieces that may be looked at.
fn open(findings: &Findings) -> BTreeSet<&str> {
    findings.specimens.iter().map(|p| p.code.as_str()).collect()
}

fn kinds(record: &StudyRecord, findings: &Findings) -> [(&'static str, Vec<String>); 11] {
    let open = open(findings);
    [
        ("Amendments to the sealed plan", amendments(record)),
        (
            "Pieces that went out without all readings (waivers)",
            waivers(record, &open),
        ),
        (
            "Masses taken before they were constant (the drying rule overridden)",
            drying(record, &open),
        ),
        ("Corrected and void readings", readings(record, &open)),
        ("Corrected and void tests", lab::tests(record)),
        (
            "Invalid tests repeated on spares, by the plan's rule",
            lab::retests(record, &open),
        ),
        ("Second draws", draws(record)),
        (
            "Unblinded early or opened again",
            unblinding(record, findings),
        ),
        ("What happened to holders", incidents(record)),
        ("Pieces moved to another holder", moves(record, &open)),
        ("Other remarks on single pieces", flags(findings)),
    ]
}

/// What may be told before there are results: nothing about single pieces or about tests.
#[must_use]
pub fn before_results(record: &StudyRecord) -> Vec<Deviation> {
    let none = BTreeSet::new();
    let kinds = [
        ("Amendments to the sealed plan", amendments(record)),
        (
            "Pieces that went out without all readings (waivers)",
            waivers(record, &none),
        ),
        ("Second draws", draws(record)),
        ("What happened to holders", incidents(record)),
    ];
    told(kinds.into_iter(), &Hidden::of(record, &none))
}

/// Stands for a case whose words name a piece that is still blind.
const KEPT_BACK: &str = "Told once the results of the piece that the words name are in";

fn told(
    kinds: impl Iterator<Item = (&'static str, Vec<String>)>,
    hidden: &Hidden,
) -> Vec<Deviation> {
    let told = |case: String| match hidden.is_named_in(&case) {
        true => KEPT_BACK.to_owned(),
        false => case,
    };
    kinds
        .filter(|(_, cases)| !cases.is_empty())
        .map(|(heading, cases)| Deviation {
            heading: heading.to_owned(),
            cases: cases.into_iter().map(told).collect(),
        })
        .collect()
}

fn amendments(record: &StudyRecord) -> Vec<String> {
    let pairs = record.plans.iter().zip(record.plans.iter().skip(1));
    let amended = pairs.filter(|(_, after)| after.amendment_reason.is_some());
    amended
        .map(|(before, after)| amendment(record, before, after))
        .collect()
}

fn amendment(record: &StudyRecord, before: &PlanVersion, after: &PlanVersion) -> String {
    let changes: Vec<String> = differences(&before.plan, &after.plan)
        .into_iter()
        .map(|d| match (d.before.as_str(), d.after.as_str()) {
            ("", new) => format!("{}: {new} (new)", d.member),
            (old, "") => format!("{}: {old} (removed)", d.member),
            (old, new) => format!("{}: {old} → {new}", d.member),
        })
        .collect();
    let knowing = if after.is_knowing_results {
        " Made knowing results."
    } else {
        ""
    };
    format!(
        "Version {}, {}: {}. Reason: {}.{knowing}",
        after.version,
        day(after.at, &record.time_zone),
        changes.join("; "),
        after
            .amendment_reason
            .as_deref()
            .unwrap_or_default()
            .trim_end_matches('.')
    )
}

fn waivers(record: &StudyRecord, open: &BTreeSet<&str>) -> Vec<String> {
    let mut by_reason: BTreeMap<&str, Vec<&Code>> = BTreeMap::new();
    for waiver in &record.waivers {
        by_reason
            .entry(&waiver.reason)
            .or_default()
            .push(&waiver.specimen);
    }
    let told = by_reason.into_iter().map(|(reason, codes)| {
        let known: Vec<String> = codes
            .iter()
            .filter(|code| open.contains(code.as_str()))
            .map(|code| code.to_string())
            .collect();
        let which = if known.is_empty() {
            String::new()
        } else {
            format!(" ({})", known.join(", "))
        };
        let count = names::counted(codes.len(), "piece");
        format!("{count}{which}: {}", reason.trim())
    });
    told.collect()
}

/// Told only of pieces whose results are in: that one came back tells on its stage.
fn drying(record: &StudyRecord, open: &BTreeSet<&str>) -> Vec<String> {
    let mut by_reason: BTreeMap<&str, BTreeSet<&Code>> = BTreeMap::new();
    let overrides = record.drying.overrides.iter();
    for found in overrides.filter(|found| open.contains(found.specimen.as_str())) {
        let codes = by_reason.entry(&found.reason).or_default();
        codes.insert(&found.specimen);
    }
    let told = by_reason.into_iter().map(|(reason, codes)| {
        let names: Vec<String> = codes.iter().map(|code| code.to_string()).collect();
        let count = names::counted(codes.len(), "piece");
        format!("{count} ({}): {}", names.join(", "), reason.trim())
    });
    told.collect()
}

fn readings(record: &StudyRecord, open: &BTreeSet<&str>) -> Vec<String> {
    let told = record
        .readings
        .iter()
        .filter(|r| r.standing != Standing::Current && open.contains(r.reading.specimen.as_str()));
    told.map(|old| {
        let new = record
            .readings
            .iter()
            .find(|r| r.supersedes == Some(old.entry));
        let void = record.voidings.get(&old.entry);
        reading(old, new, void.map(String::as_str))
    })
    .collect()
}

fn reading(old: &ReadingRecord, new: Option<&ReadingRecord>, void: Option<&str>) -> String {
    let r = &old.reading;
    let unit = r.quantity.si_unit().symbol();
    let to = match new {
        Some(new) => format!("{} → {} {unit}", plain(r.value), plain(new.reading.value)),
        None => format!("{} {unit}, declared void", plain(r.value)),
    };
    let note = new.map_or(void, |n| n.note.as_deref());
    let reason = note
        .map(|note| format!(". Reason: {}", note.trim()))
        .unwrap_or_default();
    format!(
        "{} {}, {}: {to}{reason}",
        r.specimen,
        r.quantity.label(),
        r.occasion.label()
    )
}

fn draws(record: &StudyRecord) -> Vec<String> {
    let again = record.draws.iter().filter(|d| d.reason.is_some());
    again
        .map(|draw| {
            format!(
                "Draw {}, {}. Reason: {}",
                draw.drawn.draw,
                day(draw.at, &record.time_zone),
                draw.reason.as_deref().unwrap_or_default()
            )
        })
        .collect()
}

fn unblinding(record: &StudyRecord, findings: &Findings) -> Vec<String> {
    let mut told = Vec::new();
    for session in &findings.sessions {
        if let Some(reason) = &session.early_reason {
            let when = session
                .unblinded_at
                .map(|at| day(at, &record.time_zone))
                .unwrap_or_default();
            told.push(format!(
                "{}, unblinded on {when} before the tests were finished. Reason: {reason}",
                session.lab
            ));
        }
        for reason in &session.reopened {
            told.push(format!(
                "{}, opened again for corrections. Reason: {reason}",
                session.lab
            ));
        }
    }
    told
}

fn incidents(record: &StudyRecord) -> Vec<String> {
    let plan = record.plan().map(|version| &version.plan);
    let name = |key: &str| {
        let found = plan.and_then(|plan| plan.holder(key));
        found.map_or_else(
            || key.to_owned(),
            |(condition, holder)| match holder.name == condition.name {
                true => holder.name.clone(),
                false => format!("{}, {}", condition.name, holder.name),
            },
        )
    };
    let counts = record
        .incidents
        .iter()
        .filter(|i| i.standing == Standing::Current);
    counts
        .map(|record| {
            let i = &record.incident;
            let until = i
                .until
                .map(|day| format!(" until {}", words::date(day)))
                .unwrap_or_default();
            let into = i
                .into_holder
                .as_deref()
                .map(|key| format!("; into {}", name(key)));
            let decision = match i.decision {
                crate::study::custody::Decision::Keep => "the pieces stayed in the study",
                crate::study::custody::Decision::EndEarly => "their exposure ended early",
            };
            format!(
                "{}, from {}{until}: {}{}; {decision}",
                names::capital(&name(&i.holder)),
                words::date(i.from),
                record.note.trim().trim_end_matches('.'),
                into.unwrap_or_default()
            )
        })
        .collect()
}

fn moves(record: &StudyRecord, open: &BTreeSet<&str>) -> Vec<String> {
    let mut by_target: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for event in &record.events {
        let EventKind::Handled {
            into_holder: Some(holder),
            ..
        } = &event.what
        else {
            continue;
        };
        if event.standing == Standing::Current && open.contains(event.specimen.as_str()) {
            by_target
                .entry(holder)
                .or_default()
                .push(event.specimen.to_string());
        }
    }
    let plan = record.plan().map(|version| &version.plan);
    by_target
        .into_iter()
        .map(|(key, codes)| {
            let found = plan.and_then(|plan| plan.holder(key));
            let name = found.map_or_else(|| key.to_owned(), |(_, holder)| holder.name.clone());
            format!("Into {name}: {}", codes.join(", "))
        })
        .collect()
}

fn flags(findings: &Findings) -> Vec<String> {
    const TOLD: [Flag; 9] = [
        Flag::OutsideWindow,
        Flag::OutOfOrder,
        Flag::ConfirmedDoubt,
        Flag::ArrivedDamaged,
        Flag::RecoveredDamaged,
        Flag::LabelVisible,
        Flag::CalibrationOpen,
        Flag::LoadOutsideRange,
        Flag::ExtensionOutsideRange,
    ];
    TOLD.into_iter()
        .filter_map(|flag| {
            let held = findings
                .specimens
                .iter()
                .filter(|p| p.flags.contains(&flag));
            let codes: Vec<String> = held.map(|p| p.code.to_string()).collect();
            let told = format!("{}: {}", names::capital(flag.label()), codes.join(", "));
            (!codes.is_empty()).then_some(told)
        })
        .collect()
}
