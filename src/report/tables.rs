//! Tables ready to print: words and digits, nothing to compute.

pub mod beside;
pub mod comparisons;
pub mod stages;

use crate::analysis::accounting::{Accounting, Cell};
use crate::analysis::digits::{fixed, plain};
use crate::analysis::findings::Findings;
use crate::analysis::groups::GroupFinding;
use crate::analysis::names;
use crate::analysis::piece::{Group, Piece, Value};
use crate::report::format::{group_decimals, unit};
use crate::study::plan::{Plan, Response};

/// A table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Table {
    /// What it shows.
    pub caption: String,
    /// Column heads; the first is that of the row names.
    pub head: Vec<String>,
    /// Rows.
    pub rows: Vec<TableRow>,
    /// Whether all cells are numbers, to be set below each other.
    pub is_numbers: bool,
}

/// A row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TableRow {
    /// Its name.
    pub name: String,
    /// Its cells.
    pub cells: Vec<String>,
}

impl Table {
    /// The first sentence of its caption, which names it.
    #[must_use]
    pub fn short(&self) -> &str {
        let end = self.caption.find(". ");
        let first = end.and_then(|end| self.caption.get(..end));
        first.unwrap_or(&self.caption).trim_end_matches('.')
    }
}

fn heads(names: &[&str]) -> Vec<String> {
    names.iter().map(|name| (*name).to_owned()).collect()
}

/// Each group by itself, one table for each response.
#[must_use]
pub fn groups(plan: &Plan, findings: &Findings) -> Vec<Table> {
    let mut responses: Vec<&Response> = Vec::new();
    for group in &findings.groups {
        if !responses.contains(&&group.response) {
            responses.push(&group.response);
        }
    }
    let of = |response: &Response| -> Table {
        let here = findings.groups.iter().filter(|g| g.response == *response);
        let confidence = plain(plan.confidence_percent);
        let is_load = response.needs_breaking();
        let mut head = heads(&["Set", "n", "Mean", "SD"]);
        head.extend(is_load.then(|| "CV, %".to_owned()));
        head.extend(heads(&["Median", "Least", "Most"]));
        head.push(format!("{confidence} % interval of the mean"));
        Table {
            caption: format!(
                "{} in {}, each set by itself. The intervals describe each mean; they compare nothing.",
                names::capital(&response.label()),
                unit(response)
            ),
            head,
            rows: here.map(|group| group_row(group, is_load)).collect(),
            is_numbers: true,
        }
    };
    responses.into_iter().map(of).collect()
}

fn group_row(group: &GroupFinding, is_load: bool) -> TableRow {
    let digits = group_decimals(group.sd, group.mean);
    let show = |value: f64| fixed(value, digits);
    let dash = || "–".to_owned();
    let mut cells = vec![
        group.n.to_string(),
        show(group.mean),
        group.sd.map_or_else(dash, show),
    ];
    if is_load {
        cells.push(group.cv_percent.map_or_else(dash, |cv| fixed(cv, 1)));
    }
    cells.extend([show(group.median), show(group.min), show(group.max)]);
    let interval = group.interval.map(|(lower, upper)| {
        let mark = if group.is_widened {
            " (the instrument's limit)"
        } else {
            ""
        };
        format!("{} to {}{mark}", show(lower), show(upper))
    });
    cells.push(
        interval
            .or_else(|| group.no_interval.clone())
            .unwrap_or_else(dash),
    );
    TableRow {
        name: set_name(&group.group, &group.name, group.is_storage_control),
        cells,
    }
}

/// A set's name with its stage.
#[must_use]
pub fn set_name(group: &Group, name: &str, is_storage_control: bool) -> String {
    let control = if is_storage_control {
        " (storage control)"
    } else {
        ""
    };
    match group.stage_days() {
        Some(days) => format!("{name}{control}, {days} days"),
        None => name.to_owned(),
    }
}

/// A column of the count of all pieces: its head and what it counts.
type Column = (&'static str, fn(&Cell) -> usize);

/// What happened to all pieces. Columns in which nothing is to be told are left out.
#[must_use]
pub fn accounting(accounting: &Accounting) -> Table {
    const COLUMNS: [Column; 15] = [
        ("Allocated", |c| c.allocated),
        ("Spares in place", |c| c.retests),
        ("Put out", |c| c.put_out),
        ("Came back", |c| c.back),
        ("without mark", |c| c.nameless),
        ("Not found", |c| c.lost),
        ("Destroyed", |c| c.destroyed),
        ("Withdrawn in error", |c| c.in_error),
        ("Lost on the way", |c| c.lost_on_the_way),
        ("Not tested", |c| c.not_tested),
        ("Tested", Cell::tested),
        ("Valid", |c| c.valid),
        ("At least", |c| c.lower_bound),
        ("Total loss", |c| c.total_loss),
        ("Invalid", Cell::invalid),
    ];
    let is_told = |(name, of): &&Column| {
        matches!(*name, "Allocated" | "Tested" | "Valid")
            || accounting.cells.iter().any(|cell| of(cell) > 0)
    };
    let columns: Vec<&Column> = COLUMNS.iter().filter(is_told).collect();
    let is_any_closed = accounting.cells.iter().any(|c| c.closed > 0);
    let mut head = heads(&["Set", "Planned"]);
    head.extend(columns.iter().map(|(name, _)| (*name).to_owned()));
    head.extend(is_any_closed.then(|| "Not told yet".to_owned()));
    let row = |cell: &Cell| {
        let planned = cell
            .planned
            .map_or_else(|| "–".to_owned(), |n| n.to_string());
        let counts = columns.iter().map(|(_, of)| of(cell).to_string());
        let closed = is_any_closed.then(|| cell.closed.to_string());
        TableRow {
            name: set_name(&cell.group, &cell.name, cell.is_storage_control),
            cells: std::iter::once(planned)
                .chain(counts)
                .chain(closed)
                .collect(),
        }
    };
    Table {
        caption: "Every piece by what came of it.".to_owned(),
        head,
        rows: accounting.cells.iter().map(row).collect(),
        is_numbers: true,
    }
}

/// Every piece with its values.
#[must_use]
pub fn specimens(plan: &Plan, findings: &Findings) -> Table {
    let mut responses: Vec<&Response> = Vec::new();
    for group in &findings.groups {
        if !responses.contains(&&group.response) {
            responses.push(&group.response);
        }
    }
    let mut head = heads(&["Specimen", "Set", "Holder"]);
    for response in &responses {
        head.push(format!(
            "{}, {}",
            names::capital(&response.label()),
            unit(response)
        ));
    }
    head.push("Outcome".to_owned());
    Table {
        caption: "Every piece whose results are in.".to_owned(),
        head,
        rows: findings
            .specimens
            .iter()
            .map(|p| specimen_row(plan, &responses, p))
            .collect(),
        is_numbers: false,
    }
}

fn specimen_row(plan: &Plan, responses: &[&Response], piece: &Piece) -> TableRow {
    let name = piece.group.name(plan);
    let holder = piece.holder.as_deref().and_then(|key| plan.holder(key));
    let mut cells = vec![
        set_name(&piece.group, &name, false),
        holder.map_or_else(|| "–".to_owned(), |(_, holder)| holder.name.clone()),
    ];
    cells.extend(responses.iter().map(|r| value_text(r, piece.value(r))));
    cells.push(outcome_text(piece));
    TableRow {
        name: piece.code.to_string(),
        cells,
    }
}

fn value_text(response: &Response, value: Option<Value>) -> String {
    let digits = if response.needs_breaking() { 4 } else { 3 };
    value.map_or_else(
        || "–".to_owned(),
        |v| crate::analysis::digits::significant(v.value, digits),
    )
}

fn outcome_text(piece: &Piece) -> String {
    let mut text = piece.fate.label().to_owned();
    if let Some(failure) = &piece.failure {
        text.push_str(", ");
        text.push_str(&failure.in_words());
    }
    if let Some(reason) = &piece.reason {
        text.push_str(": ");
        text.push_str(reason);
    }
    for flag in &piece.flags {
        text.push_str("; ");
        text.push_str(flag.label());
    }
    text
}
