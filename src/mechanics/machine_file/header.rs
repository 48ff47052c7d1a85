//! The lines above a table: names of columns, units beside them or in a line of their own, and
//! labels that span several columns.

use super::dialect::Delimiter;
use super::unit::{self, Measure, Unit};

/// What the header says of one column.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Heading {
    /// Its name, without the unit; empty when it has none.
    pub name: String,
    /// Its unit.
    pub unit: Option<Unit>,
    /// What stands above the name, in its column or the nearest one to the left.
    pub label: Option<String>,
}

/// So many lines above a table are looked at for its columns.
const LOOKED_AT: usize = 8;

/// What the lines above a table say of its columns.
#[must_use]
pub fn headings(head: &[&str], columns: usize, delimiter: Delimiter) -> Vec<Heading> {
    let mut found = vec![Heading::default(); columns];
    let lines = head.iter().rev().take(LOOKED_AT);
    let mut rows: Vec<Vec<String>> = lines
        .map(|line| cells(uncommented(line), columns, delimiter))
        .filter(|row| row.iter().any(|cell| !cell.is_empty()))
        .collect();
    if rows.first().is_some_and(|row| is_units(row)) {
        for (heading, cell) in found.iter_mut().zip(rows.remove(0)) {
            heading.unit = unit::parse(&cell);
        }
    }
    // The names are the nearest line that names a thing that is known, else the nearest one that may.
    let may = |row: &Vec<String>| is_names(row, columns);
    let names = rows.iter().position(|row| may(row) && says_something(row));
    let names = names.or_else(|| rows.iter().position(may));
    let rest = names.map_or(0, |at| at + 1);
    let names = names.and_then(|at| rows.get(at)).cloned();
    for (heading, cell) in found.iter_mut().zip(names.unwrap_or_default()) {
        let (name, unit) = name_and_unit(&cell);
        heading.name = name;
        heading.unit = heading.unit.or(unit);
    }
    let rows = rows.into_iter().skip(rest);
    for row in rows.filter(|row| is_spread(row, columns)).take(2) {
        add_labels(&mut found, &row);
    }
    found
}

fn add_labels(found: &mut [Heading], row: &[String]) {
    let mut last: Option<&String> = None;
    for (at, heading) in found.iter_mut().enumerate() {
        last = row.get(at).filter(|cell| !cell.is_empty()).or(last);
        if heading.label.is_none() {
            heading.label = last.cloned();
        }
    }
}

/// A header line without the sign that marks it as a remark.
fn uncommented(line: &str) -> &str {
    let line = line.trim_start();
    let bare = line.trim_start_matches(['#', '%']);
    bare.strip_prefix("//").unwrap_or(bare).trim_start()
}

/// Some cell names a quantity that is known.
fn says_something(row: &[String]) -> bool {
    row.iter().any(|cell| {
        let (name, unit) = name_and_unit(cell);
        let (role, _) = super::role::by_header(&name, unit);
        role != super::role::Role::Unused
    })
}

/// The cells of a header line. Where the line is parted otherwise than the numbers, another mark is
/// tried.
fn cells(line: &str, columns: usize, delimiter: Delimiter) -> Vec<String> {
    let parted = |by: Delimiter| -> Vec<String> {
        let cells = by.cells(line).take(super::MOST_COLUMNS);
        cells.map(str::to_owned).collect()
    };
    if delimiter != Delimiter::Blanks {
        let own = parted(delimiter);
        if own.len() >= columns.min(2) {
            return own;
        }
    }
    let wide: Vec<String> = line
        .split(['\t'])
        .flat_map(|part| part.split("  "))
        .map(|cell| cell.trim().trim_matches('"').to_owned())
        .filter(|cell| !cell.is_empty())
        .collect();
    let others = Delimiter::ALL.into_iter().filter(|by| *by != delimiter);
    let mut ways = std::iter::once(wide)
        .chain(others.map(parted))
        .chain([with_brackets(line), parted(delimiter)]);
    ways.find(|way| way.len() == columns)
        .unwrap_or_else(|| parted(delimiter))
}

/// Parted by blanks, each unit in brackets joined to the name before it.
fn with_brackets(line: &str) -> Vec<String> {
    let mut joined: Vec<String> = Vec::new();
    for token in line.split_whitespace() {
        match joined.last_mut() {
            Some(before) if token.starts_with(['[', '(', '/']) || before.ends_with('/') => {
                before.push(' ');
                before.push_str(token);
            }
            _ => joined.push(token.to_owned()),
        }
    }
    joined
}

/// Most cells are units, and none is a word: a line of units.
fn is_units(row: &[String]) -> bool {
    let filled = || row.iter().filter(|cell| !cell.is_empty());
    let is_none = |cell: &&String| ["-", "[]", "()", "[-]", "(-)"].contains(&cell.as_str());
    let units = filled().filter(|cell| unit::parse(cell).is_some()).count();
    let odd = filled().filter(|cell| unit::parse(cell).is_none() && !is_none(cell));
    // A strange unit, as °C or J, is short.
    units > 0 && odd.clone().count() <= units && odd.clone().all(|cell| cell.chars().count() <= 8)
}

/// A line of names: about as many cells as the table has columns, and no number among them.
fn is_names(row: &[String], columns: usize) -> bool {
    let filled = row.iter().filter(|cell| !cell.is_empty()).count();
    let is_wide = row.len() <= columns + 1 && filled * 2 >= columns && filled >= columns.min(2);
    is_wide && !row.iter().any(|cell| is_figure(cell))
}

/// A line whose cells stand above several columns.
fn is_spread(row: &[String], columns: usize) -> bool {
    row.len() >= 2 && row.len() <= columns + 1 && (columns > 2 || row.len() == columns)
}

fn is_figure(cell: &str) -> bool {
    super::number::Decimal::ALL
        .iter()
        .any(|decimal| super::number::parse(cell, *decimal).is_some())
}

/// A column's name and the unit written with it: `Force [kN]`, `Weg in mm`, `F / N`, `load_N`.
#[must_use]
pub fn name_and_unit(cell: &str) -> (String, Option<Unit>) {
    for (open, close) in [('[', ']'), ('(', ')'), ('<', '>'), ('{', '}')] {
        let bracket = cell.rsplit_once(open);
        let Some((before, inside)) = bracket else {
            continue;
        };
        if let Some(unit) = inside.split(close).next().and_then(unit::parse) {
            return (tidy(before), Some(unit));
        }
    }
    let seams = cell
        .char_indices()
        .filter(|(_, sign)| " /,_:".contains(*sign));
    for (at, sign) in seams {
        let (before, after) = cell.split_at_checked(at).unwrap_or((cell, ""));
        let after = after.get(sign.len_utf8()..).unwrap_or_default();
        if before.trim().is_empty() {
            continue;
        }
        if let Some(unit) = unit::parse(after) {
            return (tidy(before), Some(unit));
        }
    }
    (tidy(cell), None)
}

/// A name without what led to its unit, no longer than a name is.
fn tidy(name: &str) -> String {
    let name = name.trim().trim_end_matches([':', ',', '/', '_']).trim();
    let name = name.strip_suffix(" in").unwrap_or(name);
    name.chars().take(80).collect()
}

/// Units that a line of the header gives for a whole file, as `Load unit: kN`.
#[must_use]
pub fn file_units(head: &[&str]) -> Vec<Unit> {
    let words = ["unit", "einheit", "unidad", "eenheid"];
    let mut found: Vec<Unit> = Vec::new();
    for line in head {
        let low = line.to_lowercase();
        if !words.iter().any(|word| low.contains(word)) {
            continue;
        }
        let tokens = line.split([';', ':', '=', ',', '\t', ' ', '"']);
        for unit in tokens.filter_map(unit::parse) {
            if !found.iter().any(|one| one.measure == unit.measure) {
                found.push(unit);
            }
        }
    }
    found
}

/// The unit among these that measures so.
#[must_use]
pub fn of_measure(units: &[Unit], measure: Measure) -> Option<Unit> {
    units.iter().find(|unit| unit.measure == measure).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(cell: &str) -> (String, &'static str) {
        let (name, unit) = name_and_unit(cell);
        (name, unit.map_or("", |unit| unit.symbol))
    }

    #[test]
    fn a_unit_beside_the_name_is_found() {
        for (cell, name, unit) in [
            ("Force [kN]", "Force", "kN"),
            ("Weg in mm", "Weg", "mm"),
            ("F / N", "F", "N"),
            ("load_N", "load", "N"),
            ("Spannung N/mm²", "Spannung", "N/mm²"),
            ("Load, lbf", "Load", "lbf"),
            ("Strain (ext) (%)", "Strain (ext)", "%"),
            ("Crosshead", "Crosshead", ""),
            ("Extension (in)", "Extension", "in"),
        ] {
            assert_eq!(told(cell), (name.to_owned(), unit), "{cell}");
        }
    }

    #[test]
    fn names_units_and_labels_in_lines_of_their_own() {
        let head = [
            "Job 7;;;",
            "AB12;;CD34;",
            "Kraft;Weg;Kraft;Weg",
            "N;mm;N;mm",
        ];
        let found = headings(&head, 4, Delimiter::Semicolon);
        let of = |at: usize| (found[at].name.as_str(), found[at].label.as_deref());
        assert_eq!(of(0), ("Kraft", Some("AB12")));
        assert_eq!(of(3), ("Weg", Some("CD34")));
        assert_eq!(found[3].unit.unwrap().symbol, "mm");
        let blank = headings(&["Time (s)  Force (N)"], 2, Delimiter::Blanks);
        assert_eq!(blank[1].name, "Force");
        let tight = headings(&["time [s] force [N]"], 2, Delimiter::Blanks);
        assert_eq!(
            (tight[1].name.as_str(), tight[1].unit.unwrap().symbol),
            ("force", "N")
        );
    }

    #[test]
    fn units_for_the_whole_file() {
        let units = file_units(&["Load unit: kN", "Einheit Weg;µm"]);
        assert_eq!(of_measure(&units, Measure::Force).unwrap().symbol, "kN");
        assert_eq!(of_measure(&units, Measure::Length).unwrap().symbol, "µm");
    }
}
