//! Files of testing machines: delimited text in any dialect, read without knowing the machine.
//!
//! The order of the work: [`text`] (bytes to lines), [`dialect`] (what parts cells, which decimal
//! mark), [`table`] (runs of numbers and the words above them), [`header`] (names and units),
//! [`role`] (what each column holds), [`assemble`] (curves). What was guessed is said in
//! [`Column::because`], and [`Hints`] put it right. Nothing here panics or fails on a strange file
//! without saying which line or what is missing.

pub mod assemble;
pub mod dialect;
pub mod header;
pub mod number;
pub mod role;
pub mod table;
pub mod text;
pub mod unit;

use dialect::{Delimiter, Dialect};
use number::Decimal;
use role::{Because, Role};
use std::fmt;
use text::Encoding;
use unit::Unit;

/// So many columns are read; the rest is left.
pub const MOST_COLUMNS: usize = 128;
/// So many numbers are read from one file: 32 MB of them.
pub const MOST_NUMBERS: usize = 4 << 20;

/// So many tables below each other are read from one file.
pub const MOST_TABLES: usize = 2_000;

/// Why a file cannot be read at all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Unreadable {
    /// Nothing in it.
    Empty,
    /// Larger than [`text::LARGEST`].
    TooLarge,
    /// A spreadsheet's own format.
    Spreadsheet,
    /// Not text.
    NotText,
    /// No run of lines with numbers.
    NoTable,
    /// More than [`MOST_NUMBERS`].
    TooManyNumbers,
    /// More than [`MOST_TABLES`].
    TooManyTables,
}

impl fmt::Display for Unreadable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Empty => "The file is empty.",
            Self::TooLarge => "The file is larger than 32 MB.",
            Self::Spreadsheet => {
                "This is a spreadsheet's own format. Save the sheet as text (CSV) and send that."
            }
            Self::NotText => "This is not a text file. Have the machine export the curve as text.",
            Self::NoTable => {
                "No table was found: at least three lines of numbers below each other are needed."
            }
            Self::TooManyNumbers => {
                "The file holds more than four million numbers. Export the curve with fewer points."
            }
            Self::TooManyTables => {
                "The file holds more than two thousand tables. Part it into several files."
            }
        })
    }
}

/// What is wrong with one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The line's number, from 1.
    pub line: u32,
    /// What is wrong.
    pub what: What,
}

/// The ways in which a line of a table can be wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum What {
    /// A cell among numbers is none.
    NoNumber {
        /// Which column, from 1.
        column: usize,
        /// What stands there.
        cell: String,
    },
    /// More cells than the table has columns.
    CellTooMany {
        /// The first of them.
        cell: String,
    },
    /// A line of words in the midst of the numbers.
    WordsAmongNumbers {
        /// The line.
        text: String,
    },
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let line = self.line;
        match &self.what {
            What::NoNumber { column, cell } => {
                write!(
                    f,
                    "Line {line}: “{cell}” in column {column} is no number; it was left out."
                )
            }
            What::CellTooMany { cell } => write!(
                f,
                "Line {line} has more cells than the table has columns, from “{cell}” on; they were left out."
            ),
            What::WordsAmongNumbers { text } => {
                write!(
                    f,
                    "Line {line} stands among the numbers and is none: “{text}”."
                )
            }
        }
    }
}

/// The problems of a file: the first ones in full, all of them counted.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Problems {
    /// The first ones.
    pub first: Vec<Problem>,
    /// How many there are.
    pub count: usize,
}

impl Problems {
    const SHOWN: usize = 20;

    fn push(&mut self, problem: Problem) {
        self.count += 1;
        if self.first.len() < Self::SHOWN {
            self.first.push(problem);
        }
    }
}

/// What a person has put right, or put right before in a file of the same layout.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Hints {
    /// Between cells.
    pub delimiter: Option<Delimiter>,
    /// Within numbers.
    pub decimal: Option<Decimal>,
    /// Per column from the first: what it holds and in which unit; a column beyond the list is
    /// guessed.
    pub columns: Vec<Option<(Role, Option<Unit>)>>,
}

/// One column as it was understood.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Its name; empty without one.
    pub name: String,
    /// What stands above the name.
    pub label: Option<String>,
    /// What it holds.
    pub role: Role,
    /// Why that was thought.
    pub because: Because,
    /// The unit; that of the inside where the file says none.
    pub unit: Option<Unit>,
    /// The file says no unit, so that the one used inside was taken.
    pub is_unit_assumed: bool,
}

/// One table with its columns understood.
#[derive(Debug, Clone)]
pub struct Block {
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its numbers, in the file's units, and the words above them.
    pub table: table::Table,
}

/// A machine file as it was understood.
#[derive(Debug, Clone)]
pub struct MachineFile {
    /// How its text was stored.
    pub encoding: Encoding,
    /// How it parts cells and numbers.
    pub dialect: Dialect,
    /// Its tables in the order of the file.
    pub blocks: Vec<Block>,
    /// What was wrong in it.
    pub problems: Problems,
}

/// Reads a file.
///
/// # Errors
/// What makes it unreadable as a whole; single bad lines are in [`MachineFile::problems`].
pub fn read(bytes: &[u8], hints: &Hints) -> Result<MachineFile, Unreadable> {
    let (text, encoding) = text::decode(bytes)?;
    let dialect = dialect::guess(&text, hints.delimiter, hints.decimal);
    let dialect = dialect.ok_or(Unreadable::NoTable)?;
    let (tables, problems) = table::tables(&text, dialect)?;
    let mut blocks: Vec<Block> = Vec::new();
    for table in tables {
        let columns = understand(&table, dialect, hints, blocks.last());
        blocks.push(Block { columns, table });
    }
    Ok(MachineFile {
        encoding,
        dialect,
        blocks,
        problems,
    })
}

impl MachineFile {
    /// What is the same in all files of one layout: the columns' names, without digits, and units.
    /// A person's corrections are remembered under it.
    #[must_use]
    pub fn layout(&self) -> String {
        let mut layout = format!(
            "{}|{}",
            self.dialect.delimiter.key(),
            self.dialect.decimal.key()
        );
        let columns = self.blocks.first().map_or(&[][..], |block| &block.columns);
        for column in columns {
            layout.push('|');
            let name = column.name.to_lowercase();
            layout.extend(name.chars().filter(|sign| !sign.is_ascii_digit()));
            // A unit put right must never be carried over to a file that says another.
            layout.push_str(column.unit.map_or("", |unit| unit.symbol));
        }
        layout
    }

    /// All lines of words, of all tables, in the order of the file.
    pub fn head(&self) -> impl Iterator<Item = &str> {
        let lines = self.blocks.iter().flat_map(|block| &block.table.head);
        lines.map(String::as_str)
    }
}

fn understand(
    table: &table::Table,
    dialect: Dialect,
    hints: &Hints,
    before: Option<&Block>,
) -> Vec<Column> {
    let head: Vec<&str> = table.head.iter().map(String::as_str).collect();
    let headings = header::headings(&head, table.columns.len(), dialect.delimiter);
    let file_units = header::file_units(&head);
    let has_load = headings.iter().any(|heading| {
        let (role, _) = role::by_header(&heading.name, heading.unit);
        matches!(role, Role::Load | Role::Stress)
    });
    let mut columns: Vec<Column> = Vec::new();
    for (at, heading) in headings.into_iter().enumerate() {
        let unit = heading.unit.or(table.units.get(at).copied().flatten());
        let is_text = table.texts.get(at).is_some_and(Option::is_some);
        let (role, because) = match () {
            () if unit.is_none() && has_load && role::names_pieces(&heading.name) => {
                (Role::Piece, Because::Name)
            }
            () if is_text => (Role::Unused, Because::Nothing),
            () => role::by_header(&heading.name, unit),
        };
        columns.push(Column {
            name: heading.name,
            label: heading.label,
            role,
            because,
            unit,
            is_unit_assumed: false,
        });
    }
    settle(&mut columns, table, before);
    for (column, hint) in columns.iter_mut().zip(&hints.columns) {
        if let Some((role, unit)) = hint {
            (column.role, column.because) = (*role, Because::Said);
            column.unit = unit.or(column.unit);
        }
    }
    for column in &mut columns {
        complete_unit(column, &file_units);
    }
    columns
}

/// Settles what no single column can tell: a table below another without names of its own, a table
/// without names at all, and lengths that nothing but their unit calls travel.
fn settle(columns: &mut [Column], table: &table::Table, before: Option<&Block>) {
    let is_silent = |column: &Column| column.because == Because::Nothing;
    if columns.iter().all(|column| column.role == Role::Unused) {
        match before.filter(|block| block.columns.len() == columns.len()) {
            Some(block) if columns.iter().all(is_silent) => {
                for (column, model) in columns.iter_mut().zip(&block.columns) {
                    (column.role, column.because, column.unit) =
                        (model.role, model.because, model.unit);
                    column.name.clone_from(&model.name);
                }
            }
            _ => by_numbers(columns, table),
        }
        return;
    }
    let is_named = |role: Role| move |c: &Column| c.role == role && c.because == Because::Name;
    for role in [Role::Travel, Role::Load, Role::Strain, Role::Time] {
        if columns.iter().any(is_named(role)) {
            for column in columns.iter_mut() {
                if column.role == role && column.because == Because::Unit {
                    column.role = Role::Unused;
                }
            }
        }
    }
    let has_load = columns
        .iter()
        .any(|c| matches!(c.role, Role::Load | Role::Stress));
    if !has_load {
        by_numbers(columns, table);
    }
}

fn by_numbers(columns: &mut [Column], table: &table::Table) {
    let numeric: Vec<usize> = (0..columns.len())
        .filter(|at| table.texts.get(*at).is_none_or(Option::is_none))
        .filter(|at| {
            columns
                .get(*at)
                .is_some_and(|c| c.role == Role::Unused && c.because == Because::Nothing)
        })
        .collect();
    let values: Vec<&[f64]> = numeric
        .iter()
        .filter_map(|at| table.columns.get(*at).map(Vec::as_slice))
        .collect();
    let taken: Vec<Role> = columns.iter().map(|column| column.role).collect();
    for (at, role) in numeric.iter().zip(role::by_numbers(&values)) {
        if let Some(column) = columns.get_mut(*at)
            && role != Role::Unused
            && !taken.contains(&role)
        {
            (column.role, column.because) = (role, Because::Numbers);
        }
    }
}

/// A unit that does not fit the column's role, or none: the file's own line of units, else the unit
/// used inside.
fn complete_unit(column: &mut Column, file_units: &[Unit]) {
    let Some(measure) = column.role.measure() else {
        return;
    };
    if column.unit.is_some_and(|unit| unit.measure == measure) {
        return;
    }
    let told = header::of_measure(file_units, measure);
    column.is_unit_assumed = told.is_none();
    column.unit = Some(told.unwrap_or_else(|| unit::inside(measure)));
}

#[cfg(test)]
mod tests;
