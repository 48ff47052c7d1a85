//! One line → one row of typed values; what is wrong in a cell is told beside it, and the other cells
//! are read all the same.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Deserialize;

use crate::analysis::piece::{Fate, PieceName};
use crate::study::break_test::FailureMode;
use crate::study::reading::{MoistureState, Occasion, Quantity};
use crate::tidy::cell;
use crate::tidy::columns::{Column, Fixed};
use crate::tidy::further::{FATES, More, more};
use crate::tidy::header::Columns;
use crate::tidy::problem::{Place, Problems};
use crate::tidy::table::{Line, Table};

/// What a piece is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Broken at the start.
    Baseline,
    /// Kept indoors for the same time.
    StorageControl,
    /// Exposed.
    Exposed,
    /// Made later for comparison.
    LateReference,
}

const ROLES: [&str; 4] = ["baseline", "storage_control", "exposed", "late_reference"];

/// A line of the file.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Its line.
    pub line: u64,
    /// The piece.
    pub specimen: PieceName,
    /// Lot; empty when not given.
    pub lot: String,
    /// Build; empty when not given.
    pub build: String,
    /// Condition; `None` when empty.
    pub condition: Option<String>,
    /// Role; `None` when the column or the cell is not there.
    pub role: Option<Role>,
    /// Days of the stage.
    pub stage_days: Option<u32>,
    /// Holder.
    pub holder: Option<String>,
    /// Values in g and mm.
    pub readings: BTreeMap<(Quantity, Occasion), f64>,
    /// Moisture states.
    pub states: BTreeMap<(Quantity, Occasion), MoistureState>,
    /// What the instruments resolve, in % of the value before.
    pub resolutions: BTreeMap<Quantity, f64>,
    /// Maximum load in N.
    pub max_load_n: Option<f64>,
    /// What came of it.
    pub fate: Fate,
    /// Why.
    pub reason: Option<String>,
    /// Day of the test.
    pub tested_on: Option<NaiveDate>,
    /// What only an edition's file has.
    pub more: More,
    /// Whether the cell of its role, right or wrong, says something.
    pub says_role: bool,
    /// Whether the cell of its stage, right or wrong, says something.
    pub says_stage: bool,
}

/// The cells of one line with their columns.
pub(super) struct Cells<'t> {
    table: &'t Table,
    pub(super) columns: &'t Columns,
    line: &'t Line,
}

impl Cells<'_> {
    fn text(&self, at: usize) -> &str {
        self.line.cells.get(at).map_or("", String::as_str)
    }

    /// Whether something stands in a cell.
    fn says(&self, fixed: Fixed) -> bool {
        let at = self.columns.fixed(fixed);
        at.is_some_and(|at| !self.text(at).is_empty())
    }

    /// Whether something stands in the cell of the load.
    fn says_load(&self) -> bool {
        let columns = self.columns.all.iter().enumerate();
        let mut loads = columns.filter(|(_, c)| matches!(c, Some(Column::MaxLoad(_))));
        loads.any(|(at, _)| !self.text(at).is_empty())
    }

    fn place(&self, at: usize) -> Place {
        Place::Cell {
            line: self.line.number,
            column: at + 1,
            name: self.table.header.get(at).cloned().unwrap_or_default(),
        }
    }

    /// The value of a cell; `None` when it is empty, or wrong, which is told.
    pub(super) fn read<T>(
        &self,
        at: Option<usize>,
        problems: &mut Problems,
        parse: impl Fn(&str) -> Result<T, String>,
    ) -> Option<T> {
        let at = at?;
        match self.text(at) {
            "" => None,
            text => match parse(text) {
                Ok(value) => Some(value),
                Err(sentence) => {
                    problems.push(self.place(at), sentence);
                    None
                }
            },
        }
    }

    pub(super) fn fixed<T>(
        &self,
        wanted: Fixed,
        problems: &mut Problems,
        parse: impl Fn(&str) -> Result<T, String>,
    ) -> Option<T> {
        self.read(self.columns.fixed(wanted), problems, parse)
    }

    /// Tells something about a cell, or about the line when there is no such column.
    pub(super) fn tell(
        &self,
        about: Option<usize>,
        problems: &mut Problems,
        sentence: impl Into<String>,
    ) {
        match about {
            Some(at) => problems.push(self.place(at), sentence),
            None => problems.line(self.line.number, sentence),
        }
    }
}

/// Reads every line.
pub fn rows(table: &Table, columns: &Columns, problems: &mut Problems) -> Vec<Row> {
    let read = |line: &Line| {
        let cells = Cells {
            table,
            columns,
            line,
        };
        row(&cells, problems)
    };
    let mut rows: Vec<Row> = table.lines.iter().filter_map(read).collect();
    // By length, then letter by letter: A2 before A10. So the order of the lines changes nothing.
    rows.sort_by(|a, b| {
        let key = |row: &Row| (row.specimen.as_str().len(), row.specimen.clone());
        key(a).cmp(&key(b)).then(a.line.cmp(&b.line))
    });
    for (first, second) in rows.iter().zip(rows.iter().skip(1)) {
        if first.specimen == second.specimen {
            problems.line(
                second.line,
                format!(
                    "The piece {} stands on line {} already; expected each piece once.",
                    cell::quoted(second.specimen.as_str()),
                    first.line
                ),
            );
        }
    }
    rows
}

fn row(cells: &Cells<'_>, problems: &mut Problems) -> Option<Row> {
    let words = |fixed, problems: &mut Problems| {
        cells
            .fixed(fixed, problems, cell::words)
            .unwrap_or_default()
    };
    let specimen = words(Fixed::Specimen, problems);
    let at = cells.columns.fixed(Fixed::Specimen);
    if specimen.is_empty() && at.is_some() {
        cells.tell(
            at,
            problems,
            "The piece has no name; expected one, each once.",
        );
    }
    let max_load_n = max_load(cells, problems, |column| {
        matches!(column, Column::MaxLoad(_))
    });
    let reason = cells.fixed(Fixed::Reason, problems, cell::words);
    let (fate, reason) = fate(cells, max_load_n, reason, problems);
    let mut row = Row {
        line: cells.line.number,
        specimen: PieceName::new(specimen),
        lot: words(Fixed::Lot, problems),
        build: words(Fixed::Build, problems),
        condition: cells.fixed(Fixed::Condition, problems, cell::words),
        role: cells.fixed(Fixed::Role, problems, |t| cell::one_of(t, &ROLES)),
        stage_days: cells.fixed(Fixed::StageDays, problems, cell::days),
        holder: cells.fixed(Fixed::Holder, problems, cell::words),
        readings: BTreeMap::new(),
        states: BTreeMap::new(),
        resolutions: BTreeMap::new(),
        max_load_n: if fate == Fate::TotalLoss {
            Some(0.0)
        } else {
            max_load_n
        },
        fate,
        reason,
        tested_on: cells.fixed(Fixed::TestDate, problems, cell::day),
        more: more(cells, problems),
        says_role: cells.says(Fixed::Role),
        says_stage: cells.says(Fixed::StageDays),
    };
    readings(cells, &mut row, problems);
    row.reason = own_reason(&row);
    Some(row)
}

/// The load of the column asked for, in N.
pub(super) fn max_load(
    cells: &Cells<'_>,
    problems: &mut Problems,
    is_it: impl Fn(&Column) -> bool,
) -> Option<f64> {
    let columns = cells.columns.all.iter().enumerate();
    let mut loads = columns.filter_map(|(at, column)| match column {
        Some(column @ (Column::MaxLoad(unit) | Column::UnknowingLoad(unit))) if is_it(column) => {
            Some((at, *unit))
        }
        _ => None,
    });
    let (at, unit) = loads.next()?;
    let value = cells.read(Some(at), problems, cell::not_negative)?;
    Some(unit.to_si(value))
}

fn readings(cells: &Cells<'_>, row: &mut Row, problems: &mut Problems) {
    for (at, column) in cells.columns.all.iter().enumerate() {
        match column {
            Some(Column::Reading(quantity, occasion, unit)) => {
                let value = cells.read(Some(at), problems, cell::positive);
                let key = (quantity.clone(), *occasion);
                row.readings
                    .extend(value.map(|value| (key, unit.to_si(value))));
            }
            Some(Column::State(quantity, occasion)) => {
                let offered = MoistureState::ALL.map(MoistureState::key);
                let state = cells.read(Some(at), problems, |t| cell::one_of(t, &offered));
                let key = (quantity.clone(), *occasion);
                row.states.extend(state.map(|state| (key, state)));
            }
            Some(Column::Resolution(quantity)) => {
                let value = cells.read(Some(at), problems, cell::not_negative);
                row.resolutions
                    .extend(value.map(|value| (quantity.clone(), value)));
            }
            _ => {}
        }
    }
}

/// Outcomes as files spell them; see [`Fate::outcome_key`].
const OUTCOMES: [&str; 6] = [
    "valid",
    "invalid",
    "lower_bound",
    "total_loss",
    "lost",
    "withdrawn",
];

/// What came of the piece, from its outcome, its load and, in an edition's file, its fate; and the
/// reason, without the fate that an edition writes in front of it.
fn fate(
    cells: &Cells<'_>,
    load: Option<f64>,
    reason: Option<String>,
    problems: &mut Problems,
) -> (Fate, Option<String>) {
    let said = cells.fixed(Fixed::Outcome, problems, outcome);
    let finer: Option<Fate> = cells.fixed(Fixed::Fate, problems, |t| cell::one_of(t, &FATES));
    let at = cells.columns.fixed(Fixed::Outcome);
    if let Some((said, finer)) = said.zip(finer)
        && said.outcome_key() != finer.outcome_key()
    {
        let expected = finer.outcome_key();
        let sentence = format!("Outcome and fate differ; expected {expected} for this fate.");
        cells.tell(at, problems, sentence);
    }
    let by_load = if load.is_some() {
        Fate::Valid
    } else {
        Fate::NotTested
    };
    let fate = finer.or(said).unwrap_or(by_load);
    check_load(cells, fate, load, at, problems);
    let label = fate.label();
    let is_finer = finer.is_some() && fate.outcome_key() == "withdrawn";
    let reason = match reason {
        Some(text) if is_finer => text
            .strip_prefix(label)
            .map(|rest| rest.trim_start_matches([':', ' ']).to_owned())
            .filter(|rest| !rest.is_empty())
            .or_else(|| (text != label).then_some(text)),
        other => other,
    };
    (fate, reason)
}

/// What came of a piece by the outcome column alone.
fn outcome(text: &str) -> Result<Fate, String> {
    match text.to_ascii_lowercase().as_str() {
        // Taken out of the study: what else befell it, an edition's file says under `fate`.
        "withdrawn" => Ok(Fate::Destroyed),
        key if OUTCOMES.contains(&key) => cell::one_of(key, &OUTCOMES),
        other => Err(cell::expected(other, &OUTCOMES)),
    }
}

/// A load where there can be none, or none where there must be one.
fn check_load(
    cells: &Cells<'_>,
    fate: Fate,
    load: Option<f64>,
    at: Option<usize>,
    problems: &mut Problems,
) {
    let has_none = cells.columns.has_load() && !cells.says_load();
    let sentence = match (fate, load) {
        (Fate::Valid | Fate::LowerBound, Some(0.0)) => {
            "A load of 0 is no such outcome; expected a load above zero, or total_loss for a piece that \
             could not carry load."
        }
        (Fate::Valid | Fate::LowerBound, None) if has_none => {
            "This outcome needs a load, and there is none; expected a load, or another outcome."
        }
        (Fate::TotalLoss, Some(load)) if load > 0.0 => {
            "A total loss could not carry load, and there is one; expected 0 or an empty cell."
        }
        (Fate::Lost | Fate::Destroyed | Fate::NotTested | Fate::LostOnTheWay, Some(_)) => {
            "A piece with this outcome was not tested, and there is a load; expected an empty cell."
        }
        _ => return,
    };
    cells.tell(at, problems, sentence);
}

/// An edition writes the failure mode where an invalid test has no reason of its own.
fn own_reason(row: &Row) -> Option<String> {
    let mode = row.more.mode.map(FailureMode::label);
    let is_mode = row.fate == Fate::Invalid && row.reason.as_deref() == mode;
    row.reason.clone().filter(|_| !is_mode)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::piece::Flag;
    use crate::tidy::further::FLAGS;

    #[test]
    fn the_lists_are_those_of_the_analysis() {
        for key in FATES {
            let fate: Fate = cell::keyed(key).unwrap();
            assert!(OUTCOMES.contains(&fate.outcome_key()));
        }
        for key in FLAGS {
            assert!(cell::keyed::<Flag>(key).is_some(), "{key}");
        }
        for key in ROLES {
            assert!(cell::keyed::<Role>(key).is_some(), "{key}");
        }
    }
}
