//! What stands beside the comparison that decides, as a table with its sentences.

use crate::analysis::beside::Beside;
use crate::analysis::beside::holder_model::HolderModelMember;
use crate::analysis::beside::robustness::{BootstrapFinding, RankFinding, RobustMember};
use crate::analysis::digits::{decimals, fixed, probability};
use crate::analysis::family::Family;
use crate::analysis::words::beside::{self, REMARKABLE, change};
use crate::report::format::unit;
use crate::report::tables::{Table, TableRow};
use crate::study::plan::{Plan, Response};

/// What was looked at and asked by other methods.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BesidePart {
    /// The assumptions in words.
    pub looked_at: Vec<String>,
    /// The same question by other methods; `None` when there is no other.
    pub table: Option<Table>,
    /// What must be read with the table.
    pub notes: Vec<String>,
}

/// As a page shows it.
#[must_use]
pub fn part(plan: &Plan, family: &Family, found: &Beside) -> BesidePart {
    let mut notes = beside::robustness_notes(&found.robustness);
    notes.extend(beside::holder_model(
        plan,
        family,
        found.holder_model.as_ref(),
    ));
    BesidePart {
        looked_at: beside::assumptions(plan, family, &found.assumptions),
        table: table(family, found),
        notes,
    }
}

fn table(family: &Family, found: &Beside) -> Option<Table> {
    let robust = &found.robustness;
    if robust.members.is_empty() {
        return None;
    }
    let model = found.holder_model.as_ref();
    let mut head = vec![
        "Condition".to_owned(),
        "Permutation, p".to_owned(),
        "Ranks, p".to_owned(),
        format!("Shift by ranks, {}", unit(&family.response)),
        "Change by bootstrap".to_owned(),
    ];
    head.extend(model.map(|_| "Change by mixed model".to_owned()));
    let row = |member: &RobustMember| {
        let mixed = model.map(|model| {
            let same = model.members.iter().find(|m| m.name == member.name);
            same.map_or_else(dash, |m| mixed(&family.response, m))
        });
        let mut cells = cells(&family.response, member);
        cells.extend(mixed);
        TableRow {
            name: member.name.clone(),
            cells,
        }
    };
    Some(Table {
        caption: format!(
            "{} Shift after Hodges and Lehmann, change by BCa bootstrap.",
            beside::how(robust)
        ),
        head,
        rows: robust.members.iter().map(row).collect(),
        is_numbers: false,
    })
}

fn dash() -> String {
    "–".to_owned()
}

fn cells(response: &Response, member: &RobustMember) -> Vec<String> {
    let p = |p: f64| probability(p, &[REMARKABLE]);
    let permutation = member.permutation.map(|found| {
        let how = if found.is_exact { "" } else { ", drawn" };
        format!("{}{how}", p(found.p_adjusted))
    });
    vec![
        permutation.unwrap_or_else(dash),
        member.rank.map_or_else(dash, |r| p(r.p_adjusted)),
        member.rank.map_or_else(dash, shift),
        member
            .bootstrap
            .map_or_else(dash, |found| bootstrap(response, found)),
    ]
}

fn shift(found: RankFinding) -> String {
    let Some((lower, upper)) = found.interval else {
        return format!("{} (no exact interval)", fixed(found.shift, 1));
    };
    let digits = decimals(&[lower, upper], &[0.0], (upper - lower) / 2.0, 0);
    let [shift, lower, upper] = [found.shift, lower, upper].map(|v| fixed(v, digits));
    let ties = if found.achieved_percent.is_none() {
        ", ties"
    } else {
        ""
    };
    format!("{shift} ({lower} to {upper}{ties})")
}

fn bootstrap(response: &Response, found: BootstrapFinding) -> String {
    change(
        response,
        [
            found.estimate_percent,
            found.lower_percent,
            found.upper_percent,
        ],
    )
}

fn mixed(response: &Response, found: &HolderModelMember) -> String {
    found
        .change_percent
        .map_or_else(dash, |of| change(response, of))
}
