//! The comparison that decides, and all others, as tables.

use crate::analysis::comparison::Member;
use crate::analysis::digits::{fixed, plain};
use crate::analysis::family::{Against, Family};
use crate::analysis::findings::Findings;
use crate::analysis::names;
use crate::analysis::primary::Primary;
use crate::analysis::words::effect::{Shown, than, ways};
use crate::report::format::{group_decimals, unit, with_intervals};
use crate::report::tables::{Table, TableRow, heads};

/// The comparison that decides: ratio and difference, each with its simultaneous interval.
#[must_use]
pub fn primary(primary: &Primary) -> Table {
    let family = &primary.family;
    let unit = unit(&family.response);
    let is_load = family.response.needs_breaking();
    let confidence = plain(family.confidence_percent);
    let together = if family.members.len() > 1 {
        "; all hold together"
    } else {
        ""
    };
    let mut head = heads(&["Condition", "Verdict"]);
    let same = if is_load {
        head.extend(["Ratio, %".to_owned(), format!("Difference, {unit}")]);
        format!(" The ratio decides; the difference says the same in {unit}.")
    } else {
        head.push("Difference, % points".to_owned());
        String::new()
    };
    head.push("Mean".to_owned());
    let columns = columns(family, primary.margin_percent);
    let both = family.members.iter().zip(&primary.judged).enumerate();
    let rows = both.map(|(at, (member, judged))| {
        let verdict = judged.verdict.map(|v| v.label(primary.margin_percent));
        // A narrow column must not leave the sign alone on a line.
        let verdict = verdict.map(|words| words.replace(" %", "\u{a0}%"));
        let mut cells = vec![verdict.unwrap_or_else(|| "no interval".to_owned())];
        cells.extend(columns.iter().filter_map(|column| column.get(at).cloned()));
        TableRow {
            name: member.name.clone(),
            cells,
        }
    });
    Table {
        caption: format!(
            "{} after {} days against {}{}, with {confidence} % intervals{together}.{same}",
            names::capital(&family.response.label()),
            family.stage_days,
            reference_name(family),
            reference_mean(family),
        ),
        head,
        rows: rows.collect(),
        is_numbers: false,
    }
}

fn reference_name(family: &Family) -> &'static str {
    match family.against {
        Against::StorageControl => "the storage control",
        Against::Baseline => "the baseline set",
        Against::LateReference => "the late reference",
    }
}

/// ` (mean 306.9 N)`, when there is one.
fn reference_mean(family: &Family) -> String {
    let mean = family.members.iter().find_map(|m| m.reference.mean);
    mean.map_or_else(String::new, |mean| {
        let digits = group_decimals(None, mean).max(1);
        format!(" (mean {} {})", fixed(mean, digits), unit(&family.response))
    })
}

/// The columns of numbers, each with its own number of digits.
fn columns(family: &Family, margin: f64) -> Vec<Vec<String>> {
    let of = |value: &dyn Fn(&Member) -> Option<[f64; 3]>| -> Vec<Option<[f64; 3]>> {
        family.members.iter().map(value).collect()
    };
    let mut columns = Vec::new();
    if family.response.needs_breaking() {
        let ratios = of(&|m| {
            let ratio = m.ratio.as_ref()?;
            Some([
                ratio.ratio * 100.0,
                ratio.lower? * 100.0,
                ratio.upper? * 100.0,
            ])
        });
        let thresholds = [100.0, 100.0 - margin, 100.0 + margin];
        columns.push(with_intervals(&ratios, &thresholds));
        let differences = of(&|m| {
            m.difference
                .as_ref()
                .map(|d| [d.difference, d.lower, d.upper])
        });
        columns.push(with_intervals(&differences, &[0.0]));
    } else {
        let effects = of(&|m| {
            m.effect
                .map(|e| [e.estimate_percent, e.lower_percent, e.upper_percent])
        });
        columns.push(with_intervals(&effects, &[0.0, margin, -margin]));
    }
    let digits = family
        .members
        .iter()
        .filter_map(|m| m.reference.mean)
        .map(|mean| group_decimals(None, mean).max(1))
        .max()
        .unwrap_or(1);
    let mean = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), |v| fixed(v, digits));
    columns.push(
        family
            .members
            .iter()
            .map(|m| mean(m.exposed.mean))
            .collect(),
    );
    columns
}

/// The secondary comparisons, one table for each response, and a sentence for each that gave no
/// interval.
#[must_use]
pub fn secondary(findings: &Findings) -> (Vec<Table>, Vec<String>) {
    let all: Vec<(&Family, &Member)> = findings
        .secondary
        .iter()
        .flat_map(|family| family.members.iter().map(move |member| (family, member)))
        .collect();
    let number = all
        .iter()
        .filter(|(_, member)| member.effect.is_some())
        .count();
    let mut tables: Vec<Table> = Vec::new();
    for (family, member) in &all {
        let Some(effect) = member.effect else {
            continue;
        };
        let shown = Shown::new(effect, None);
        let ways = ways(&family.response);
        let row = TableRow {
            name: format!("{}, {} days", member.name, family.stage_days),
            cells: vec![
                format!("{} % {}", shown.size(), shown.way(ways)),
                shown.interval(ways),
            ],
        };
        let caption = format!(
            "{} against {}. Secondary; each is one of {number} such comparisons, not adjusted.",
            names::capital(&family.response.label()),
            than(family.against).trim_start_matches("than "),
        );
        match tables.iter_mut().find(|table| table.caption == caption) {
            Some(table) => table.rows.push(row),
            None => tables.push(Table {
                caption,
                head: vec![
                    "Comparison".to_owned(),
                    "Change".to_owned(),
                    format!("{} % interval", plain(family.confidence_percent)),
                ],
                rows: vec![row],
                is_numbers: false,
            }),
        }
    }
    let both = all.iter().zip(&findings.secondary_words);
    let untold = both.filter(|((_, member), _)| member.effect.is_none());
    let mut sentences: Vec<String> = Vec::new();
    for (_, words) in untold {
        let text = words.to_string();
        if !sentences.contains(&text) {
            sentences.push(text);
        }
    }
    (tables, sentences)
}
