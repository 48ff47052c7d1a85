//! The name of a column → the column: units at the end of names, and names that nearly are one.

use crate::study::property::Property;
use crate::study::reading::{Occasion, Quantity};
use crate::study::units::{Dimension, Unit};
use crate::tidy::cell::quoted;
use crate::tidy::columns::{Column, FIXED, USUAL};

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
    if let Some(found) = property(&name) {
        return Ok(found);
    }
    if let Some(found) = measured(&name) {
        return found;
    }
    Err(nearest(&name))
}

/// A property of the test, or its uncertainty.
fn property(name: &str) -> Option<Column> {
    let all = || Property::ALL.into_iter();
    if let Some(key) = name.strip_suffix("_u_percent") {
        return Property::parse(key).map(Column::PropertyUncertainty);
    }
    all().find(|one| one.column() == name).map(Column::Property)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tidy::columns::described;

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
