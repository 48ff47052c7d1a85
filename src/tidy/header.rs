//! The header of a file, understood as a whole.

use crate::study::property::Property;
use crate::study::reading::{Occasion, Quantity};
use crate::tidy::columns::{Column, Fixed};
use crate::tidy::naming::{NoColumn, column};
use crate::tidy::problem::{Place, Problems};
use crate::tidy::table::Table;

/// The header understood.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Columns {
    /// What each column holds; `None` for those not read.
    pub all: Vec<Option<Column>>,
    /// Names of those not read.
    pub not_read: Vec<String>,
}

impl Columns {
    /// Reads the header.
    pub fn of(table: &Table, problems: &mut Problems) -> Self {
        let mut columns = Self::default();
        for (at, name) in table.header.iter().enumerate() {
            let place = Place::Cell {
                line: table.header_line,
                column: at + 1,
                name: name.clone(),
            };
            let found = match column(name) {
                Ok(found) if columns.all.contains(&Some(found.clone())) => {
                    problems.push(place, "This column is there twice; expected once.");
                    None
                }
                Ok(found) => Some(found),
                Err(NoColumn::Nearly(sentence)) => {
                    problems.push(place, sentence);
                    None
                }
                Err(NoColumn::NotRead) => {
                    columns.not_read.push(name.clone());
                    None
                }
            };
            columns.all.push(found);
        }
        columns.one_unit_each(table, problems);
        columns
    }

    /// The same reading in two units would be two answers to one question.
    fn one_unit_each(&self, table: &Table, problems: &mut Problems) {
        let kind = |column: &Column| match column {
            Column::Reading(quantity, occasion, _) => Some((Some(quantity.clone()), *occasion, 0)),
            Column::MaxLoad(_) => Some((None, Occasion::After, 1)),
            Column::UnknowingLoad(_) => Some((None, Occasion::After, 2)),
            _ => None,
        };
        let mut seen = Vec::new();
        for (at, (column, name)) in self.all.iter().zip(&table.header).enumerate() {
            let Some(kind) = column.as_ref().and_then(kind) else {
                continue;
            };
            if seen.contains(&kind) {
                let place = Place::Cell {
                    line: table.header_line,
                    column: at + 1,
                    name: name.clone(),
                };
                problems.push(
                    place,
                    "The same is given in two columns; expected one of them.",
                );
            }
            seen.push(kind);
        }
    }

    /// Where a column stands.
    #[must_use]
    pub fn place(&self, wanted: &Column) -> Option<usize> {
        let is_it = |column: &Option<Column>| column.as_ref() == Some(wanted);
        self.all.iter().position(is_it)
    }

    /// Where a column with one name stands.
    #[must_use]
    pub fn fixed(&self, wanted: Fixed) -> Option<usize> {
        self.place(&Column::Fixed(wanted))
    }

    /// Every quantity that is read, mass first, then dimensions by name.
    #[must_use]
    pub fn quantities(&self) -> Vec<Quantity> {
        let read = |column: &Column| match column {
            Column::Reading(quantity, _, _) => Some(quantity.clone()),
            _ => None,
        };
        let mut found: Vec<Quantity> = self.all.iter().flatten().filter_map(read).collect();
        found.sort();
        found.dedup();
        found
    }

    /// Whether a quantity is read on an occasion.
    #[must_use]
    pub fn reads(&self, wanted: &Quantity, on: Occasion) -> bool {
        let is_it = |column: &Column| matches!(column, Column::Reading(q, occasion, _) if q == wanted && *occasion == on);
        self.all.iter().flatten().any(is_it)
    }

    /// Whether a property is given.
    #[must_use]
    pub fn has(&self, property: Property) -> bool {
        let columns = self.all.iter().flatten();
        columns
            .into_iter()
            .any(|one| *one == Column::Property(property))
    }

    /// Whether loads are given.
    #[must_use]
    pub fn has_load(&self) -> bool {
        let is_it = |column: &Column| matches!(column, Column::MaxLoad(_));
        self.all.iter().flatten().any(is_it)
    }
}
