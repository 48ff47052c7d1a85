//! A block of results out of a spreadsheet: cells to columns that are understood, columns to the fields
//! of a test's form. Nothing is judged here; what is not understood stays as it was typed.

use super::{FailureMode, Looks, Outcome};
use crate::study::code::BlindCode;
use crate::study::units::Unit;

/// More rows than this are no consignment.
pub const MOST_ROWS: usize = 2_000;
/// More columns than this are no list of results.
pub const MOST_COLUMNS: usize = 60;
/// Nor is a row of more bytes than this, or all of them a tenth of that long.
const LONGEST_ROW: usize = 20_000;

/// What a column of the block holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Column {
    /// The blind code.
    Code,
    /// The load, in the unit that the header names, when it names one.
    Load(Option<LoadUnit>),
    /// The unit of each load.
    Unit,
    /// The energy of an impact test, J.
    Energy,
    /// Whether the test counts.
    Outcome,
    /// How the piece failed.
    Mode,
    /// What it looked like.
    Looks,
    /// A reason or remark.
    Reason,
    /// Something else, left out.
    Other,
}

impl Column {
    /// Those that can be chosen, without a unit.
    pub const CHOICES: [Self; 9] = [
        Self::Other,
        Self::Code,
        Self::Load(None),
        Self::Unit,
        Self::Energy,
        Self::Outcome,
        Self::Mode,
        Self::Looks,
        Self::Reason,
    ];

    /// As forms send it.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Code => "code",
            Self::Load(_) => "load",
            Self::Unit => "unit",
            Self::Energy => "energy",
            Self::Outcome => "outcome",
            Self::Mode => "mode",
            Self::Looks => "looks",
            Self::Reason => "reason",
            Self::Other => "other",
        }
    }

    /// In words.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Code => "blind code",
            Self::Load(_) => "maximum load",
            Self::Unit => "unit of the load",
            Self::Energy => "energy in J",
            Self::Outcome => "validity",
            Self::Mode => "how it failed",
            Self::Looks => "what it looked like",
            Self::Reason => "reason or remark",
            Self::Other => "left out",
        }
    }

    /// Reads the key.
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::CHOICES.into_iter().find(|one| one.key() == key)
    }
}

/// A unit beside a load.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoadUnit {
    /// A force.
    Force(Unit),
    /// A mass (kg, g, lb, oz): whether a scale showed a pull or a mass was hung up has to be said.
    Mass,
}

impl LoadUnit {
    /// Reads a unit as people write it.
    #[must_use]
    pub fn of(text: &str) -> Option<Self> {
        let bare: String = text.chars().filter(|sign| sign.is_alphabetic()).collect();
        Some(match bare.to_lowercase().as_str() {
            "n" | "newton" | "newtons" => Self::Force(Unit::Newton),
            "kn" => Self::Force(Unit::Kilonewton),
            "kgf" | "kp" => Self::Force(Unit::KilogramForce),
            "gf" | "pond" => Self::Force(Unit::GramForce),
            "lbf" => Self::Force(Unit::PoundForce),
            "kg" | "g" | "lb" | "lbs" | "oz" => Self::Mass,
            _ => return None,
        })
    }
}

/// A block, understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Block {
    /// The names above the columns, where there are any.
    pub header: Vec<String>,
    /// What each column holds.
    pub columns: Vec<Column>,
    /// The cells below, each row as long as `columns`.
    pub rows: Vec<Vec<String>>,
}

/// Why a block cannot be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoBlock {
    /// Nothing in it.
    Empty,
    /// Too many rows or columns.
    TooLarge,
}

impl std::fmt::Display for NoBlock {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Empty => f.write_str("Nothing to read here: paste the rows, or choose a file."),
            Self::TooLarge => write!(
                f,
                "This is more than a list of results: at most {MOST_ROWS} rows of {MOST_COLUMNS} columns."
            ),
        }
    }
}

/// The cells of pasted text, parted by tabs, else by semicolons, else by commas (RFC 4180).
///
/// # Errors
/// [`NoBlock`].
pub fn cells(text: &str) -> Result<Vec<Vec<String>>, NoBlock> {
    let text = text.trim_start_matches('\u{feff}');
    let by = "\t;,".bytes().find(|by| text.as_bytes().contains(by));
    if text.len() > MOST_ROWS * LONGEST_ROW / 10 {
        return Err(NoBlock::TooLarge);
    }
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(by.unwrap_or(b'\t'))
        .flexible(true)
        .has_headers(false)
        .from_reader(text.as_bytes());
    let mut rows = Vec::new(); // UTF-8, and rows may differ in length, so reading does not fail.
    for record in reader.records().map_while(Result::ok) {
        let is_long = record.as_slice().len() > LONGEST_ROW;
        if is_long || record.len() > MOST_COLUMNS || rows.len() > MOST_ROWS {
            return Err(NoBlock::TooLarge);
        }
        let row: Vec<String> = record.iter().map(|cell| cell.trim().to_owned()).collect();
        let is_filled = row.iter().any(|cell| !cell.is_empty());
        rows.extend(is_filled.then_some(row));
    }
    Ok(rows)
}

impl Block {
    /// Understands cells; `codes` are those of the consignment.
    ///
    /// # Errors
    /// [`NoBlock`].
    pub fn of(mut rows: Vec<Vec<String>>, codes: &[&BlindCode]) -> Result<Self, NoBlock> {
        let width = rows.iter().map(Vec::len).max().unwrap_or(0);
        if width == 0 {
            return Err(NoBlock::Empty);
        }
        if width > MOST_COLUMNS || rows.len() > MOST_ROWS {
            return Err(NoBlock::TooLarge);
        }
        for row in &mut rows {
            row.resize(width, String::new());
        }
        let is_code = |cell: &String| cell.parse().is_ok_and(|code| codes.contains(&&code));
        let has_header = rows.first().is_some_and(|first| {
            let has_code = first.iter().any(is_code);
            let has_number = first.iter().any(|cell| is_number(cell));
            !has_code && !has_number
        });
        let header = if has_header {
            rows.remove(0)
        } else {
            Vec::new()
        };
        if rows.is_empty() {
            return Err(NoBlock::Empty);
        }
        let columns = columns(&header, &rows, width, &is_code);
        Ok(Self {
            header,
            columns,
            rows,
        })
    }

    /// The cell of a row that a kind of column holds; the first such column counts.
    #[must_use]
    pub fn cell(&self, row: usize, key: &str) -> &str {
        let at = self.columns.iter().position(|column| column.key() == key);
        let row = self.rows.get(row);
        at.zip(row)
            .and_then(|(at, row)| row.get(at))
            .map_or("", String::as_str)
    }

    /// The unit that the header of the loads names.
    #[must_use]
    pub fn unit(&self) -> Option<LoadUnit> {
        self.columns.iter().find_map(|column| match column {
            Column::Load(unit) => *unit,
            _ => None,
        })
    }
}

fn is_number(cell: &str) -> bool {
    let bare = cell.trim_start_matches(['>', '≥', '=', ' ']);
    let bare = bare.trim_end_matches(|sign: char| sign.is_alphabetic() || sign == ' ');
    !bare.is_empty()
        && bare
            .chars()
            .all(|sign| sign.is_ascii_digit() || ".,-".contains(sign))
}

fn columns(
    header: &[String],
    rows: &[Vec<String>],
    width: usize,
    is_code: &impl Fn(&String) -> bool,
) -> Vec<Column> {
    let mut found: Vec<Column> = Vec::with_capacity(width);
    for at in 0..width {
        let cells: Vec<&String> = rows.iter().filter_map(|row| row.get(at)).collect();
        let filled: Vec<&String> = cells.into_iter().filter(|cell| !cell.is_empty()).collect();
        let name = header.get(at).map_or("", String::as_str);
        let mut column = by_name(name);
        // Codes are known when they are seen, whatever stands above them.
        let coded = filled.iter().filter(|cell| is_code(cell)).count();
        if coded > 0 && 2 * coded >= filled.len() {
            column = Some(Column::Code);
        }
        let column = column.unwrap_or_else(|| by_cells(&filled));
        let is_taken = found.iter().any(|other| other.key() == column.key());
        found.push(if is_taken { Column::Other } else { column });
    }
    found
}

/// A column by what stands above it, in small letters.
fn by_name(name: &str) -> Option<Column> {
    let low = name.to_lowercase();
    let has = |words: &[&str]| words.iter().any(|word| low.contains(word));
    if low.is_empty() {
        return None;
    }
    Some(if has(&["energy", "joule"]) {
        Column::Energy
    } else if has(&["unit"]) {
        Column::Unit
    } else if has(&["load", "force", "fmax", "f max", "peak", "maximum"]) {
        Column::Load(unit_in(name))
    } else if has(&["fail", "mode", "how it", "broke"]) {
        Column::Mode
    } else if has(&["valid", "outcome", "result", "counts"]) {
        Column::Outcome
    } else if has(&["look"]) {
        Column::Looks
    } else if has(&["note", "remark", "reason", "comment", "why"]) {
        Column::Reason
    } else if has(&["code", "piece", "blind"]) {
        Column::Code
    } else {
        return None;
    })
}

/// The unit that a header names: after the name, mostly in brackets.
fn unit_in(name: &str) -> Option<LoadUnit> {
    let parts = name.split(|sign: char| !sign.is_alphanumeric());
    let parts: Vec<&str> = parts.filter(|part| !part.is_empty()).collect();
    parts
        .iter()
        .skip(1)
        .rev()
        .find_map(|part| LoadUnit::of(part))
}

/// A column without a name that is understood, by its cells.
fn by_cells(filled: &[&String]) -> Column {
    let most = |is_it: &dyn Fn(&str) -> bool| {
        let count = filled.iter().filter(|cell| is_it(cell)).count();
        count > 0 && 2 * count > filled.len()
    };
    if most(&|cell| LoadUnit::of(cell).is_some() && !is_number(cell)) {
        Column::Unit
    } else if most(&is_number) {
        // A running number is no load: whole, from 1, each one more than the last.
        let numbers = filled.iter().map(|cell| cell.parse::<usize>().ok());
        let is_rank = numbers.zip(1..).all(|(number, rank)| number == Some(rank));
        if is_rank {
            Column::Other
        } else {
            Column::Load(None)
        }
    } else if most(&|cell| outcome(cell).is_some()) {
        Column::Outcome
    } else if most(&|cell| mode(cell).is_some()) {
        Column::Mode
    } else if most(&|cell| looks(cell).is_some()) {
        Column::Looks
    } else {
        Column::Reason
    }
}

/// A load as a cell has it: the number, the unit beside it, and whether it is only a lower bound.
#[must_use]
pub fn load(cell: &str) -> (&str, Option<LoadUnit>, bool) {
    let bare = cell.trim();
    let rest = bare.trim_start_matches(['>', '≥', '=', ' ']);
    let is_bound = rest.len() < bare.len() && !bare.starts_with('=');
    let number = rest
        .trim_end_matches(|sign: char| sign.is_alphabetic())
        .trim_end();
    let unit = rest.get(number.len()..).map(str::trim);
    (number, unit.and_then(LoadUnit::of), is_bound)
}

/// What a cell says of a test's validity.
#[must_use]
pub fn outcome(cell: &str) -> Option<Outcome> {
    let low = cell.to_lowercase();
    let known = Outcome::ALL
        .into_iter()
        .find(|one| one.key() == low || one.label() == low);
    known.or(match low.as_str() {
        "ok" | "yes" | "y" | "true" | "good" => Some(Outcome::Valid),
        "no" | "n" | "false" | "bad" | "not valid" => Some(Outcome::Invalid),
        ">" | ">=" | "≥" | "at least" | "lower bound" | "censored" => Some(Outcome::LowerBound),
        "total loss" | "zero" => Some(Outcome::TotalLoss),
        _ => None,
    })
}

/// What a cell says of how a piece failed.
#[must_use]
pub fn mode(cell: &str) -> Option<FailureMode> {
    let low = cell.to_lowercase();
    let known = FailureMode::ALL
        .into_iter()
        .find(|one| one.key() == low || one.label() == low);
    let words: [(&[&str], FailureMode); 12] = [
        (
            &["did not break", "no break", "not broken"],
            FailureMode::NoBreak,
        ),
        (&["dropped"], FailureMode::Dropped),
        (&["before", "on the way"], FailureMode::BrokeBefore),
        (&["unbent", "opened", "straightened"], FailureMode::Opened),
        (&["slip"], FailureMode::GripSlip),
        (&["grip", "jaw", "shoulder"], FailureMode::GripBreak),
        (&["flaw", "void"], FailureMode::VisibleFlaw),
        (&["layer", "split", "joint"], FailureMode::LayerSplit),
        (&["range"], FailureMode::OverRange),
        (&["speed", "align"], FailureMode::WrongSetUp),
        (&["crack"], FailureMode::Crack),
        (&["break", "broke", "broken", "snapped"], FailureMode::Break),
    ];
    let has = |(any, _): &&(&[&str], FailureMode)| any.iter().any(|word| low.contains(word));
    known.or_else(|| words.iter().find(has).map(|(_, mode)| *mode))
}

/// What a cell says of how a piece looked.
#[must_use]
pub fn looks(cell: &str) -> Option<Looks> {
    let low = cell.to_lowercase();
    Looks::ALL
        .into_iter()
        .find(|one| one.key() == low || one.label() == low)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn code(n: u8) -> BlindCode {
        let from = |n| (n..).find_map(|n| BlindCode::from_bytes([n, 3, 9, 14, 20, n + 1]));
        from(n).unwrap()
    }

    fn keys(block: &Block) -> Vec<&'static str> {
        block.columns.iter().map(|column| column.key()).collect()
    }

    #[test]
    fn a_pasted_block_with_names_is_understood() {
        let one = code(0);
        let text = format!(
            "No.\tBlind code\tPeak load [kgf]\tFailure\tValid?\tRemark\n1\t{one}\t31,2\tsnapped\tyes\t\n"
        );
        let block = Block::of(cells(&text).unwrap(), &[&one]).unwrap();
        assert_eq!(
            keys(&block),
            ["other", "code", "load", "mode", "outcome", "reason"]
        );
        assert_eq!(block.unit(), Some(LoadUnit::Force(Unit::KilogramForce)));
        assert_eq!(block.cell(0, "load"), "31,2");
    }

    #[test]
    fn a_block_without_names_is_understood_by_its_cells() {
        let (one, other) = (code(0), code(60));
        let text = format!("1;{one};312,5;N;valid\n2;{other};≥ 290;N;at least this load\n");
        let block = Block::of(cells(&text).unwrap(), &[&one, &other]).unwrap();
        assert_eq!(keys(&block), ["other", "code", "load", "unit", "outcome"]);
        assert_eq!(load(block.cell(1, "load")), ("290", None, true));
        assert_eq!(load("31.2 kg"), ("31.2", Some(LoadUnit::Mass), false));
    }

    #[test]
    fn words_of_a_bench_are_understood_and_others_are_left() {
        for (cell, want) in [
            ("unbent without breaking", FailureMode::Opened),
            ("did not break", FailureMode::NoBreak),
            ("broke on the way", FailureMode::BrokeBefore),
            ("dropped", FailureMode::Dropped),
            ("slipped in the jaws", FailureMode::GripSlip),
            ("broke at the shoulder", FailureMode::GripBreak),
            ("broke", FailureMode::Break),
        ] {
            assert_eq!(mode(cell), Some(want), "{cell}");
        }
        assert_eq!((mode("hm"), outcome("hm"), looks("hm")), (None, None, None));
    }

    #[test]
    fn too_much_and_nothing_are_refused() {
        assert_eq!(Block::of(cells("").unwrap(), &[]), Err(NoBlock::Empty));
        assert_eq!(cells(&"a\t".repeat(100)), Err(NoBlock::TooLarge));
        assert_eq!(cells(&"a\n".repeat(3000)), Err(NoBlock::TooLarge));
    }
}
