//! A block of results out of a spreadsheet: cells to columns that are understood, columns to the fields
//! of a test's form. Nothing is judged here; what is not understood stays as it was typed.

mod column;

pub use column::{Column, LoadUnit};

use super::{FailureMode, Looks, Outcome};
use crate::study::code::BlindCode;
use column::columns;

/// More rows than this are no consignment.
pub const MOST_ROWS: usize = 2_000;
/// More columns than this are no list of results.
pub const MOST_COLUMNS: usize = 60;
/// Nor is a row of more bytes than this, or all of them a tenth of that long.
const LONGEST_ROW: usize = 20_000;

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
    /// Understands cells; `codes` are those of the consignment, and only a pull-off test has shares of
    /// where a bond came apart.
    ///
    /// # Errors
    /// [`NoBlock`].
    pub fn of(
        mut rows: Vec<Vec<String>>,
        codes: &[&BlindCode],
        is_pull_off: bool,
    ) -> Result<Self, NoBlock> {
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
        let columns = columns(&header, &rows, (width, is_pull_off), &is_code);
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

/// A load as a cell has it: the number, the unit beside it, and whether it is only a lower bound.
#[must_use]
pub fn load(cell: &str) -> (&str, Option<LoadUnit>, bool) {
    let bare = cell.trim();
    let rest = bare.trim_start_matches(['>', '≥', '=', ' ']);
    let is_bound = rest.len() < bare.len() && !bare.starts_with('=');
    let number = rest
        .trim_end_matches(|sign: char| sign.is_alphabetic())
        .trim_end();
    if number.is_empty() {
        // A word where a number is expected stays as it was typed.
        return (rest, None, is_bound);
    }
    let unit = rest.get(number.len()..).map(str::trim);
    (number, unit.and_then(LoadUnit::of), is_bound)
}

/// A share of the area as a cell has it: without its sign, and nothing where a stroke stands for none.
#[must_use]
pub fn share(cell: &str) -> &str {
    let bare = cell.trim().trim_end_matches('%').trim_end();
    if matches!(bare, "-" | "–" | "—") {
        return "";
    }
    bare
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
    use crate::study::units::Unit;

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
        let block = Block::of(cells(&text).unwrap(), &[&one], false).unwrap();
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
        let block = Block::of(cells(&text).unwrap(), &[&one, &other], false).unwrap();
        assert_eq!(keys(&block), ["other", "code", "load", "unit", "outcome"]);
        assert_eq!(load(block.cell(1, "load")), ("290", None, true));
        assert_eq!(
            load("31.2 kg"),
            (
                "31.2",
                Some(LoadUnit::Mass(Some(Unit::KilogramForce))),
                false
            )
        );
    }

    /// What came apart where (ISO 4624, from memory): the words of the trade above columns of shares; a load
    /// of an adhesive is a load, and only a pull-off test has shares.
    #[test]
    fn shares_of_a_pull_off_failure_are_matched() {
        let one = code(0);
        let text = format!(
            "Code\tAdhesion force N\tCohesive failure %\tAdhesive failure %\tGlue\tInterface\tFailure mode\n\
             {one}\t1571\t60 %\t40\t–\tprimer / steel\tbroke\n"
        );
        let rows = cells(&text).unwrap();
        let block = Block::of(rows.clone(), &[&one], true).unwrap();
        let want = [
            "code",
            "load",
            "cohesive",
            "adhesive",
            "glue",
            "failed_at",
            "mode",
        ];
        assert_eq!(keys(&block), want);
        let shares = ["cohesive", "adhesive", "glue"].map(|key| share(block.cell(0, key)));
        assert_eq!(shares, ["60", "40", ""]);
        let plain = Block::of(rows, &[&one], false).unwrap();
        assert!(plain.columns.iter().all(|column| !column.is_of_bond()));
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
        assert_eq!(
            Block::of(cells("").unwrap(), &[], false),
            Err(NoBlock::Empty)
        );
        assert_eq!(cells(&"a\t".repeat(100)), Err(NoBlock::TooLarge));
        assert_eq!(cells(&"a\n".repeat(3000)), Err(NoBlock::TooLarge));
    }
}
