//! The data as CSV (RFC 4180): one row a piece, and one row a comparison at full precision.

use std::fmt;

use crate::analysis::comparison::Member;
use crate::analysis::family::Family;
use crate::analysis::findings::Findings;
use crate::analysis::piece::{Group, Piece};
use crate::study::plan::Plan;
use crate::study::property::Property;
use crate::study::reading::{MoistureState, Quantity};

/// A row could not be written; with rows in memory only a fault of ours can be the cause.
#[derive(Debug)]
pub struct CsvFault(csv::Error);

impl fmt::Display for CsvFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a table could not be written as CSV: {}", self.0)
    }
}

impl std::error::Error for CsvFault {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        Some(&self.0)
    }
}

impl From<csv::Error> for CsvFault {
    fn from(fault: csv::Error) -> Self {
        Self(fault)
    }
}

/// One row for each piece whose results are in. Columns:
///
/// `specimen, lot, build, condition, role, stage_days, holder`, for mass and each dimension of the
/// plan `<quantity>_before_<unit>, <quantity>_after_<unit>` and the states in which they were read,
/// `max_load_n, outcome, reason, test_date`. Roles: `baseline`, `storage_control`, `exposed`,
/// `late_reference`; outcomes: see [`crate::analysis::piece::Fate::outcome_key`]. Then what else the
/// findings rest on ([`FURTHER`]) and the properties read off the tests, so that `overwinter analyse` finds the same from this file and the plan.
///
/// # Errors
/// [`CsvFault`].
pub fn specimens(plan: &Plan, findings: &Findings) -> Result<Vec<u8>, CsvFault> {
    let mut rows = vec![head(plan, findings)];
    let read = read_off(findings);
    let one = |piece: &Piece| row(plan, piece, &read);
    rows.extend(findings.specimens.iter().map(one));
    write(&rows)
}

/// Columns after the usual ones: the fate (finer than the outcome), what is known of its way, what a
/// reader should know of its value, and its test as it was before somebody changed it knowing the group.
pub const FURTHER: [&str; 16] = [
    "fate",
    "failure_mode",
    "recovery",
    "identity",
    "nameless",
    "order",
    "put_out",
    "days_out",
    "session",
    "flags",
    "unknowing_fate",
    "unknowing_max_load_n",
    "cohesive_percent",
    "adhesive_percent",
    "glue_percent",
    "failed_at",
];

fn head(plan: &Plan, findings: &Findings) -> Vec<String> {
    let mut names: Vec<String> = [
        "specimen",
        "lot",
        "build",
        "condition",
        "role",
        "stage_days",
        "holder",
    ]
    .map(str::to_owned)
    .to_vec();
    for quantity in plan.quantities() {
        let unit = quantity.si_unit().key();
        let name = column(&quantity);
        names.push(format!("{name}_before_{unit}"));
        names.push(format!("{name}_after_{unit}"));
        names.push(format!("{name}_state_before"));
        names.push(format!("{name}_state_after"));
        names.push(format!("{name}_change_u_percent"));
    }
    names.extend(["max_load_n", "outcome", "reason", "test_date"].map(str::to_owned));
    names.extend(FURTHER.map(str::to_owned));
    for property in read_off(findings) {
        names.push(property.column());
        names.push(format!("{}_u_percent", property.key()));
    }
    names
}

/// The properties that some piece has, beyond its load.
fn read_off(findings: &Findings) -> Vec<Property> {
    let is_there = |one: &Property| {
        let mut pieces = findings.specimens.iter();
        pieces.any(|piece| piece.property(*one).is_some())
    };
    Property::ALL.into_iter().filter(is_there).collect()
}

/// A quantity as a column's name.
fn column(quantity: &Quantity) -> String {
    quantity.label().replace(' ', "_")
}

fn row(plan: &Plan, piece: &Piece, read: &[Property]) -> Vec<String> {
    let condition = match &piece.group {
        Group::Cell { .. } => piece.group.name(plan),
        Group::Baseline | Group::LateReference => String::new(),
    };
    let holder = piece.holder.as_deref().map(|key| {
        plan.holder(key)
            .map_or_else(|| key.to_owned(), |(_, holder)| holder.name.clone())
    });
    let days = piece.group.stage_days().map(|days| days.to_string());
    let mut cells = vec![
        piece.code.to_string(),
        piece.lot.clone(),
        piece.build.clone(),
        condition,
        piece.group.role(plan).to_owned(),
        days.unwrap_or_default(),
        holder.unwrap_or_default(),
    ];
    for quantity in plan.quantities() {
        let pair = piece.pair(&quantity);
        let (before, after) = pair.map_or((None, None), |pair| {
            (pair.before.as_ref(), pair.after.as_ref())
        });
        cells.push(number(before.map(|m| m.mean)));
        cells.push(number(after.map(|m| m.mean)));
        cells.push(
            before
                .map(|m| MoistureState::key(m.state))
                .unwrap_or_default()
                .to_owned(),
        );
        cells.push(
            after
                .map(|m| MoistureState::key(m.state))
                .unwrap_or_default()
                .to_owned(),
        );
        cells.push(number(pair.and_then(|pair| pair.resolution_percent)));
    }
    cells.push(number(piece.max_load_n));
    cells.push(piece.fate.outcome_key().to_owned());
    cells.push(reason(piece));
    cells.push(
        piece
            .tested_on
            .map(|day| day.to_string())
            .unwrap_or_default(),
    );
    cells.extend(further(piece));
    for property in read {
        let found = piece.property(*property);
        cells.push(number(found.map(|one| one.value)));
        cells.push(number(found.and_then(|one| one.uncertainty_percent)));
    }
    cells
}

/// The cells of [`FURTHER`].
fn further(piece: &Piece) -> [String; FURTHER.len()] {
    let claim = |holds: bool| if holds { "yes" } else { "no" }.to_owned();
    let flags: Vec<String> = piece.flags.iter().map(serde_word).collect();
    let unknowing = piece.unknowing.as_ref();
    let failure = piece.failure.as_ref();
    [
        serde_word(&piece.fate),
        piece.mode.map(|m| m.key().to_owned()).unwrap_or_default(),
        piece
            .recovery
            .map(|r| r.key().to_owned())
            .unwrap_or_default(),
        piece
            .identity
            .map(|i| i.key().to_owned())
            .unwrap_or_default(),
        claim(piece.is_nameless),
        piece.order.to_string(),
        claim(piece.was_put_out),
        number(piece.days_out),
        piece.session.map(|n| n.to_string()).unwrap_or_default(),
        flags.join(" "),
        unknowing.map(|u| serde_word(&u.fate)).unwrap_or_default(),
        number(unknowing.and_then(|u| u.max_load_n)),
        number(failure.map(|f| f.cohesive_percent)),
        number(failure.map(|f| f.adhesive_percent)),
        number(failure.map(|f| f.glue_percent)),
        failure.map(|f| f.place.clone()).unwrap_or_default(),
    ]
}

/// The reason in words; for a way out that the outcome does not name, what happened.
fn reason(piece: &Piece) -> String {
    let own = piece.reason.clone().unwrap_or_default();
    match (piece.fate.outcome_key(), own.is_empty()) {
        ("withdrawn", true) => piece.fate.label().to_owned(),
        ("withdrawn", false) => format!("{}: {own}", piece.fate.label()),
        ("invalid", true) => piece.mode.map(|m| m.label().to_owned()).unwrap_or_default(),
        _ => own,
    }
}

/// Every comparison, the deciding ones first, at full precision.
///
/// # Errors
/// [`CsvFault`].
pub fn comparisons(plan: &Plan, findings: &Findings) -> Result<Vec<u8>, CsvFault> {
    let names = [
        "rank",
        "response",
        "stage_days",
        "condition",
        "role",
        "against",
        "pieces",
        "holders",
        "mean",
        "reference_pieces",
        "reference_holders",
        "reference_mean",
        "unit_of_replication",
        "spreads",
        "confidence_percent",
        "intervals_hold_together",
        "ratio",
        "ratio_lower",
        "ratio_upper",
        "ratio_df",
        "ratio_critical",
        "difference",
        "difference_se",
        "difference_df",
        "difference_t",
        "difference_critical",
        "difference_lower",
        "difference_upper",
        "adjusted_p",
        "instrument_floor_percent",
        "margin_percent",
        "verdict",
    ];
    let mut rows = vec![names.map(str::to_owned).to_vec()];
    if let Some(primary) = &findings.primary {
        for (member, judged) in primary.family.members.iter().zip(&primary.judged) {
            let verdict = judged.verdict.map(|v| v.label(primary.margin_percent));
            let mut cells = comparison(plan, "primary", &primary.family, member);
            cells.push(primary.margin_percent.to_string());
            cells.push(verdict.unwrap_or_default());
            rows.push(cells);
        }
    }
    for family in &findings.secondary {
        for member in &family.members {
            let mut cells = comparison(plan, "secondary", family, member);
            cells.extend([String::new(), String::new()]);
            rows.push(cells);
        }
    }
    write(&rows)
}

fn comparison(plan: &Plan, rank: &str, family: &Family, member: &Member) -> Vec<String> {
    let against = serde_word(&family.against);
    let mut cells = vec![
        rank.to_owned(),
        family.response.key(),
        family.stage_days.to_string(),
        member.name.clone(),
        member.exposed.group.role(plan).to_owned(),
        against,
        member.exposed.pieces.to_string(),
        member.exposed.holders.to_string(),
        number(member.exposed.mean),
        member.reference.pieces.to_string(),
        member.reference.holders.to_string(),
        number(member.reference.mean),
        serde_word(&family.method.unit),
        family.method.spreads.key().to_owned(),
        family.confidence_percent.to_string(),
        family.is_simultaneous.to_string(),
    ];
    let r = member.ratio.as_ref();
    cells.extend([
        number(r.map(|r| r.ratio)),
        number(r.and_then(|r| r.lower)),
        number(r.and_then(|r| r.upper)),
        number(r.map(|r| r.df)),
        number(r.map(|r| r.critical)),
    ]);
    let d = member.difference.as_ref();
    cells.extend([
        number(d.map(|d| d.difference)),
        number(d.map(|d| d.se)),
        number(d.map(|d| d.df)),
        number(d.map(|d| d.t)),
        number(d.map(|d| d.critical)),
        number(d.map(|d| d.lower)),
        number(d.map(|d| d.upper)),
        number(d.map(|d| d.p_adjusted)),
        number(member.resolution_percent),
    ]);
    cells
}

/// The word under which a closed list is stored.
fn serde_word<T: serde::Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        _ => String::new(),
    }
}

/// The shortest digits that read back as the same number.
fn number(value: Option<f64>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

pub(super) fn write(rows: &[Vec<String>]) -> Result<Vec<u8>, CsvFault> {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    for row in rows {
        writer.write_record(row.iter().map(|cell| inert(cell)))?;
    }
    let done = writer.into_inner().map_err(|fault| fault.into_error());
    done.map_err(|fault| CsvFault(csv::Error::from(fault)))
}

/// Words that a spreadsheet would take for a formula get an apostrophe in front, as is common
/// practice (no source); numbers, with their minus sign, stay as they are.
pub(super) fn inert(cell: &str) -> String {
    let is_formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
    if is_formula && cell.parse::<f64>().is_err() {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_formula_in_a_remark_stays_words_and_numbers_stay_numbers() {
        assert_eq!(inert("=SUM(A1)"), "'=SUM(A1)");
        assert_eq!(inert("-0.25"), "-0.25");
        assert_eq!(inert("plain"), "plain");
    }

    #[test]
    fn rows_follow_rfc_4180() {
        let rows = vec![vec![
            "a,b".to_owned(),
            "say \"no\"".to_owned(),
            "two\nlines".to_owned(),
        ]];
        let written = String::from_utf8(write(&rows).unwrap()).unwrap();
        assert_eq!(written, "\"a,b\",\"say \"\"no\"\"\",\"two\nlines\"\r\n");
    }
}
