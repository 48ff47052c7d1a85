//! Tables in a form: fields of the same name, aligned by their position.

use crate::study::fault::Faults;
use crate::study::typed::Typed;

/// Every field that stands in a table of the plan's form.
pub const ROW_FIELDS: &[&str] = &[
    "dimension_name",
    "dimension_places",
    "dimension_nominal",
    "stage_days",
    "stage_window",
    "condition_key",
    "condition_name",
    "condition_environment",
    "condition_place",
    "condition_holders",
    "condition_replicates",
    "condition_renew",
];

/// Rows that are looked at; what a browser of ours sends has fewer.
const MOST_ROWS: usize = 100;

/// The name of a field in a row (from 0), for its mistake and for its place on the page.
#[must_use]
pub fn row_field(name: &str, row: usize) -> String {
    format!("{name}-{}", row + 1)
}

/// One table as it was sent.
pub(super) struct Rows<'t> {
    columns: Vec<(&'static str, Vec<&'t str>)>,
}

/// One row of it.
pub(super) struct Row<'r> {
    rows: &'r Rows<'r>,
    /// Its position, from 0.
    pub(super) at: usize,
}

impl<'t> Rows<'t> {
    /// The fields of these names; the first one decides whether a row counts.
    pub(super) fn of(typed: &'t Typed, names: &[&'static str]) -> Self {
        let column = |name: &&'static str| (*name, typed.all(name));
        Self {
            columns: names.iter().map(column).collect(),
        }
    }

    /// Everything typed into one column.
    pub(super) fn column(&self, name: &str) -> &[&'t str] {
        let found = self.columns.iter().find(|(known, _)| *known == name);
        found.map_or(&[], |(_, values)| values)
    }

    /// The rows whose first field is filled in, and a fault when there are more than `most`.
    pub(super) fn filled(&self, most: usize, what: &str, faults: &mut Faults) -> Vec<Row<'_>> {
        let Some((name, firsts)) = self.columns.first() else {
            return Vec::new();
        };
        let filled = |(_, text): &(usize, &&str)| !text.is_empty();
        let count = firsts.iter().enumerate().filter(filled).count();
        if count > most {
            faults.push(
                row_field(name, 0),
                format!("A plan has at most {most} {what}."),
            );
        }
        let rows = firsts.iter().enumerate().take(MOST_ROWS).filter(filled);
        rows.map(|(at, _)| Row { rows: self, at }).collect()
    }
}

impl<'r> Row<'r> {
    /// What stands in a field of the row.
    pub(super) fn text(&self, name: &str) -> &'r str {
        self.rows.column(name).get(self.at).copied().unwrap_or("")
    }

    /// The field's name with the row's number.
    pub(super) fn field(&self, name: &str) -> String {
        row_field(name, self.at)
    }
}
