//! The columns of a tidy file: their names with units, what stands in them, and names that nearly
//! are one.

use crate::study::reading::{Occasion, Quantity};
use crate::study::units::{Dimension, Unit};
use crate::tidy::cell::quoted;
use crate::tidy::problem::{Place, Problems};
use crate::tidy::table::Table;

/// What a column holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Column {
    /// One of those that have one name only.
    Fixed(Fixed),
    /// A mass or dimension.
    Reading(Quantity, Occasion, Unit),
    /// The moisture state of a mass or dimension.
    State(Quantity, Occasion),
    /// Expanded uncertainty (k = 2) of a change from the instruments alone, in % of the value before.
    Resolution(Quantity),
    /// Maximum load.
    MaxLoad(Unit),
    /// Maximum load before the test was changed knowing the group.
    UnknowingLoad(Unit),
}

/// A column with one name only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fixed {
    /// What the piece is called.
    Specimen,
    /// Lot of material.
    Lot,
    /// Build.
    Build,
    /// Condition.
    Condition,
    /// Role.
    Role,
    /// Days of the stage.
    StageDays,
    /// Holder.
    Holder,
    /// What came of it.
    Outcome,
    /// Why.
    Reason,
    /// Day of the test.
    TestDate,
    /// Place in the order of making.
    Order,
    /// Whether it was put out.
    PutOut,
    /// Days from out to in.
    DaysOut,
    /// State on recovery.
    Recovery,
    /// How it was identified.
    Identity,
    /// Whether it came back without a mark.
    Nameless,
    /// What came of it, finer than the outcome.
    Fate,
    /// How it failed.
    FailureMode,
    /// Which of the test sessions.
    Session,
    /// What a reader should know.
    Flags,
    /// What came of it before its test was changed knowing the group.
    UnknowingFate,
}

/// Columns with one name only, and what stands in them.
const FIXED: [(&str, Fixed, &str); 21] = [
    (
        "specimen",
        Fixed::Specimen,
        "what the piece is called; each name once",
    ),
    ("lot", Fixed::Lot, "lot of material"),
    ("build", Fixed::Build, "print plate, mould shot, board"),
    (
        "condition",
        Fixed::Condition,
        "where it was; empty for baseline and late_reference",
    ),
    (
        "role",
        Fixed::Role,
        "baseline, storage_control, exposed or late_reference",
    ),
    (
        "stage_days",
        Fixed::StageDays,
        "planned days of its stage; empty for baseline and late_reference",
    ),
    (
        "holder",
        Fixed::Holder,
        "the jar, rack, plot or bag that it shared",
    ),
    (
        "outcome",
        Fixed::Outcome,
        "valid, invalid, lower_bound, total_loss, lost or withdrawn; empty: valid where there is a load",
    ),
    ("reason", Fixed::Reason, "why, in words"),
    ("test_date", Fixed::TestDate, "2025-03-04 or 4.3.2025"),
    ("order", Fixed::Order, "place in the order of making"),
    (
        "put_out",
        Fixed::PutOut,
        "yes or no; yes by default for pieces with a stage",
    ),
    ("days_out", Fixed::DaysOut, "days that it was out"),
    (
        "recovery",
        Fixed::Recovery,
        "whole, damaged, fragments, not_found, accident or in_error",
    ),
    (
        "identity",
        Fixed::Identity,
        "mark, place, elimination or unknown",
    ),
    (
        "nameless",
        Fixed::Nameless,
        "yes when it came back without a mark and was named then",
    ),
    (
        "fate",
        Fixed::Fate,
        "finer than outcome: for withdrawn also not_tested, lost_on_the_way, destroyed, in_error",
    ),
    (
        "failure_mode",
        Fixed::FailureMode,
        "break, crack, opened, layer_split, grip_slip, grip_break …",
    ),
    ("session", Fixed::Session, "number of the test session"),
    (
        "flags",
        Fixed::Flags,
        "incident, outside_window, knowing_group, out_of_order …, parted by blanks",
    ),
    (
        "unknowing_fate",
        Fixed::UnknowingFate,
        "fate before the test was changed knowing the group",
    ),
];

/// How many of [`FIXED`] everybody needs; the others let an edition's file carry everything.
const USUAL: usize = 10;

/// The columns with units, and what stands in them.
const MEASURED: [(&str, &str); 7] = [
    (
        "mass_before_<unit>",
        "mass before exposure, such as mass_before_g or mass_before_mg",
    ),
    ("mass_after_<unit>", "mass after exposure"),
    (
        "mass_state_before, mass_state_after",
        "as_received, conditioned, wet or re_dried; the same for a dimension",
    ),
    (
        "<dimension>_before_<unit>",
        "such as width_before_mm; width_mm is the same",
    ),
    ("<dimension>_after_<unit>", "such as width_after_mm"),
    ("max_load_<unit>", "such as max_load_n or max_load_lbf"),
    (
        "<quantity>_change_u_percent",
        "what the instruments resolve of a change: U (k = 2) in % of the value before",
    ),
];

/// The columns in words, for `--help`.
#[must_use]
pub fn described() -> String {
    let mut text = String::from("Columns, in any order; those not used are left out:\n");
    let mut line = |name: &str, what: &str| text.push_str(&format!("  {name:<36} {what}\n"));
    for (name, _, what) in FIXED.iter().take(USUAL) {
        line(name, what);
    }
    for (name, what) in MEASURED {
        line(name, what);
    }
    text.push_str("Further columns, which an edition's file has:\n");
    let mut line = |name: &str, what: &str| text.push_str(&format!("  {name:<36} {what}\n"));
    for (name, _, what) in FIXED.iter().skip(USUAL) {
        line(name, what);
    }
    line(
        "unknowing_max_load_<unit>",
        "maximum load before that change",
    );
    let units = |dimension| {
        let keys: Vec<String> = Unit::of(dimension)
            .map(|u| u.key().to_lowercase())
            .collect();
        keys.join(" ")
    };
    text.push_str(&format!(
        "Units of mass: {}; of length: {}; of load: {}.",
        units(Dimension::Mass),
        units(Dimension::Length),
        units(Dimension::Force)
    ));
    text
}

/// Dimensions whose name with a unit alone is taken for a reading before exposure.
const DIMENSIONS: [&str; 6] = [
    "width",
    "thickness",
    "diameter",
    "length",
    "height",
    "depth",
];

/// Why a name is no column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoColumn {
    /// It is something of the file's own, and is not read.
    NotRead,
    /// It nearly is one; what was expected.
    Nearly(String),
}

/// Whether a header's cell names a column; used to find out what parts the columns.
#[must_use]
pub fn is_known(name: &str) -> bool {
    column(name.trim().trim_matches('"')).is_ok()
}

/// A name as columns are spelt: small letters, underscores.
fn plain(name: &str) -> String {
    let fit = |c: char| match c {
        ' ' | '-' => '_',
        'µ' | 'μ' => 'u',
        other => other,
    };
    name.trim().to_lowercase().chars().map(fit).collect()
}

/// Reads the name of a column.
///
/// # Errors
/// [`NoColumn`].
pub fn column(name: &str) -> Result<Column, NoColumn> {
    let name = plain(name);
    if let Some((_, fixed, _)) = FIXED.iter().find(|(known, _, _)| *known == name) {
        return Ok(Column::Fixed(*fixed));
    }
    if let Some(rest) = name.strip_prefix("unknowing_max_load") {
        return unit(rest, Dimension::Force, &name).map(Column::UnknowingLoad);
    }
    if let Some(rest) = name.strip_prefix("max_load") {
        return unit(rest, Dimension::Force, &name).map(Column::MaxLoad);
    }
    if let Some(found) = measured(&name) {
        return found;
    }
    Err(nearest(&name))
}

/// The unit after a name, `_n`.
fn unit(rest: &str, dimension: Dimension, name: &str) -> Result<Unit, NoColumn> {
    let key = rest.strip_prefix('_').unwrap_or_default();
    let found = Unit::of(dimension).find(|unit| unit.key().to_lowercase() == key);
    found.ok_or_else(|| {
        let stem = name.strip_suffix(rest).unwrap_or(name);
        let offered: Vec<String> = Unit::of(dimension)
            .map(|unit| format!("{stem}_{}", unit.key().to_lowercase()))
            .collect();
        NoColumn::Nearly(format!(
            "{} needs its unit at the end of its name; expected one of {}.",
            quoted(name),
            offered.join(", ")
        ))
    })
}

/// Masses, dimensions, their states and what the instruments resolve; `None` when the name is nothing
/// of the kind.
fn measured(name: &str) -> Option<Result<Column, NoColumn>> {
    if let Some(stem) = name.strip_suffix("_change_u_percent") {
        return quantity(stem).map(|q| Ok(Column::Resolution(q)));
    }
    for (word, occasion) in [("before", Occasion::Before), ("after", Occasion::After)] {
        if let Some(stem) = name.strip_suffix(&format!("_state_{word}")) {
            return quantity(stem).map(|q| Ok(Column::State(q, occasion)));
        }
        let (stem, rest) = match name.split_once(&format!("_{word}_")) {
            Some((stem, key)) => (stem, format!("_{key}")),
            None => match name.strip_suffix(&format!("_{word}")) {
                Some(stem) if stem == "mass" || DIMENSIONS.contains(&stem) => (stem, String::new()),
                _ => continue,
            },
        };
        let quantity = quantity(stem)?;
        let found = unit(&rest, quantity.dimension(), name);
        // Somebody's own column, such as `weather_before_start`.
        let is_own = found.is_err() && stem != "mass" && !DIMENSIONS.contains(&stem);
        if is_own {
            return None;
        }
        return Some(found.map(|unit| Column::Reading(quantity, occasion, unit)));
    }
    // `width_mm` alone: read once, before exposure.
    let (stem, key) = name.rsplit_once('_')?;
    let unit = Unit::of(Dimension::Length).find(|unit| unit.key() == key)?;
    let is_dimension = DIMENSIONS.contains(&stem);
    is_dimension.then(|| {
        let quantity = Quantity::Length(stem.to_owned());
        Ok(Column::Reading(quantity, Occasion::Before, unit))
    })
}

/// The quantity of a column's stem; underscores stand for blanks.
fn quantity(stem: &str) -> Option<Quantity> {
    match stem {
        "" => None,
        "mass" => Some(Quantity::Mass),
        name => Some(Quantity::Length(name.replace('_', " "))),
    }
}

/// What a misspelt name was meant to be.
fn nearest(name: &str) -> NoColumn {
    let usual = FIXED.iter().take(USUAL);
    let mut known: Vec<&str> = usual.map(|(known, _, _)| *known).collect();
    known.extend([
        "max_load_n",
        "max_load_lbf",
        "mass_before_g",
        "mass_after_g",
    ]);
    let near = |known: &&&str| {
        let allowed = if known.len() < 6 { 1 } else { 2 };
        distance(name, known) <= allowed
    };
    match known.iter().find(near) {
        Some(meant) => NoColumn::Nearly(format!(
            "{} is no column; did you mean {meant}?",
            quoted(name)
        )),
        None => NoColumn::NotRead,
    }
}

/// Letters to change, add or take away to get from one word to the other (Levenshtein 1966).
fn distance(a: &str, b: &str) -> usize {
    if a.len().abs_diff(b.len()) > 2 {
        return usize::MAX;
    }
    let mut row: Vec<usize> = (0..=b.chars().count()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut corner = i;
        let mut left = i + 1;
        for (cell, y) in row.iter_mut().skip(1).zip(b.chars()) {
            let change = corner + usize::from(x != y);
            corner = *cell;
            left = change.min(left + 1).min(*cell + 1);
            *cell = left;
        }
        if let Some(first) = row.first_mut() {
            *first = i + 1;
        }
    }
    row.last().copied().unwrap_or(usize::MAX)
}

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

    /// Whether loads are given.
    #[must_use]
    pub fn has_load(&self) -> bool {
        let is_it = |column: &Column| matches!(column, Column::MaxLoad(_));
        self.all.iter().flatten().any(is_it)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_stand_in_the_names() {
        let width = || Quantity::Length("width".into());
        for (name, wanted) in [
            (
                "mass_before_g",
                Column::Reading(Quantity::Mass, Occasion::Before, Unit::Gram),
            ),
            (
                "Mass after mg",
                Column::Reading(Quantity::Mass, Occasion::After, Unit::Milligram),
            ),
            ("max_load_lbf", Column::MaxLoad(Unit::PoundForce)),
            ("max_load_kN", Column::MaxLoad(Unit::Kilonewton)),
            (
                "width_mm",
                Column::Reading(width(), Occasion::Before, Unit::Millimetre),
            ),
            (
                "width_before_in",
                Column::Reading(width(), Occasion::Before, Unit::Inch),
            ),
            (
                "width_after_µm",
                Column::Reading(width(), Occasion::After, Unit::Micrometre),
            ),
            ("width_state_after", Column::State(width(), Occasion::After)),
            ("mass_change_u_percent", Column::Resolution(Quantity::Mass)),
        ] {
            assert_eq!(column(name), Ok(wanted), "{name}");
        }
        let rib = Quantity::Length("rib width".into());
        let rib = Column::Reading(rib, Occasion::After, Unit::Millimetre);
        assert_eq!(column("rib_width_after_mm"), Ok(rib));
    }

    #[test]
    fn a_slip_in_a_name_is_asked_about_and_a_column_of_ones_own_is_left_alone() {
        for name in [
            "max_load",
            "max_load_kg",
            "mass_before",
            "mass_before_mm",
            "specimne",
            "max_laod_n",
        ] {
            assert!(matches!(column(name), Err(NoColumn::Nearly(_))), "{name}");
        }
        for name in [
            "notes",
            "taken_in",
            "date",
            "weather_before_start",
            "colour",
            "who",
            "",
            "_before_",
        ] {
            assert_eq!(column(name), Err(NoColumn::NotRead), "{name}");
        }
    }

    #[test]
    fn every_documented_name_is_one() {
        for (name, _, _) in FIXED {
            assert!(column(name).is_ok(), "{name}");
            assert!(described().contains(name));
        }
    }
}
