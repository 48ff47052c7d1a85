//! Tables in a text: runs of lines that are numbers, with the lines of words above each.

use std::collections::HashMap;

use super::dialect::{Dialect, is_number};
use super::number;
use super::text::lines;
use super::unit::{self, Unit};
use super::{MOST_COLUMNS, MOST_NUMBERS, MOST_TABLES, Problem, Problems, Unreadable, What};

/// One run of numbers, column by column; a missing or unreadable number is NaN.
#[derive(Debug, Clone, Default)]
pub struct Table {
    /// The lines of words above it.
    pub head: Vec<String>,
    /// The number of each row's line in the file.
    pub lines: Vec<u32>,
    /// The numbers.
    pub columns: Vec<Vec<f64>>,
    /// The unit that stands in the cells of a column, from its first row.
    pub units: Vec<Option<Unit>>,
    /// For a column of words, which of the table's `words` stands in each row.
    pub texts: Vec<Option<Vec<u32>>>,
    /// The distinct words of the columns of words.
    pub words: Vec<String>,
    /// Where each of them stands.
    places: HashMap<String, u32>,
    /// Its first lines as they stand, in case it proves to be part of a header.
    first: Vec<String>,
}

/// So many rows in sequence make a table.
const FEWEST_ROWS: usize = 3;
/// Tables shorter than this beside a long one are a part of its header: dimensions, settings.
const SHORT: usize = 8;
/// So many lines of words may stand within a table.
const LONGEST_GAP: usize = 50;
/// So many lines of a header are kept, and so many signs of each.
const MOST_HEAD: usize = 200;
const LONGEST_HEAD: usize = 300;
/// So many different words in a column of words; a clock's readings are more.
const MOST_WORDS: usize = 1000;

impl Table {
    /// How many rows it has.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.lines.len()
    }

    fn open(head: Vec<String>, rows: &[(u32, &str)], dialect: Dialect) -> Self {
        let first = rows.first().map_or("", |(_, line)| line);
        let cells = dialect.delimiter.cells(first).take(MOST_COLUMNS);
        let mut table = Self {
            head,
            ..Self::default()
        };
        for cell in cells {
            let is_text = !cell.is_empty() && !is_number(cell, dialect.decimal);
            let unit = number::with_unit(cell, dialect.decimal);
            table
                .units
                .push(unit.and_then(|(_, unit)| unit::parse(unit)));
            table.texts.push(is_text.then(Vec::new));
            table.columns.push(Vec::new());
        }
        table.first = rows.iter().map(|(_, line)| short(line)).collect();
        table
    }

    /// Takes a line as a row; `false` when half of it or more is
    /// words where numbers stand.
    fn push(&mut self, number: u32, line: &str, dialect: Dialect, faults: &mut Problems) -> bool {
        let row = self.rows();
        let (mut numbers, mut texts, mut strange) = (0, 0, None);
        let mut cells = dialect.delimiter.cells(line);
        for (at, column) in self.columns.iter_mut().enumerate() {
            let cell = cells.next().unwrap_or_default();
            if let Some(texts) = self.texts.get_mut(at).and_then(Option::as_mut) {
                texts.push(word(&mut self.words, &mut self.places, cell));
                column.push(f64::NAN);
                continue;
            }
            let value = value(cell, dialect);
            numbers += usize::from(value.is_some());
            if value.is_none() && !cell.is_empty() {
                texts += 1;
                strange = strange.or(Some((at, short(cell))));
            }
            column.push(value.unwrap_or(f64::NAN));
        }
        if numbers <= texts {
            self.cut(row);
            return false;
        }
        self.lines.push(number);
        let extra = cells.find(|cell| !cell.is_empty());
        let what = match (strange, extra) {
            (Some((column, cell)), _) => Some(What::NoNumber {
                column: column + 1,
                cell,
            }),
            (None, Some(cell)) => Some(What::CellTooMany { cell: short(cell) }),
            (None, None) => None,
        };
        if let Some(what) = what {
            faults.push(Problem { line: number, what });
        }
        if self.first.len() < SHORT && row >= FEWEST_ROWS {
            self.first.push(short(line));
        }
        true
    }

    fn cut(&mut self, rows: usize) {
        for column in &mut self.columns {
            column.truncate(rows);
        }
        for texts in self.texts.iter_mut().flatten() {
            texts.truncate(rows);
        }
    }

    /// Whether a row that follows on a line of words carries on where this table stopped: a column
    /// that ran upwards runs on. A new curve starts at its beginning again.
    fn goes_on(&self, line: &str, dialect: Dialect) -> bool {
        let runs_on = |(column, cell): (&Vec<f64>, &str)| {
            let tail = column
                .get(column.len().saturating_sub(5)..)
                .unwrap_or_default();
            let is_rising = tail.windows(2).all(|pair| matches!(pair, [a, b] if a < b));
            let next = value(cell, dialect);
            matches!((tail.last(), next), (Some(last), Some(next)) if is_rising && next >= *last)
        };
        let mut cells = self.columns.iter().zip(dialect.delimiter.cells(line));
        cells.any(runs_on)
    }
}

fn value(cell: &str, dialect: Dialect) -> Option<f64> {
    if cell.is_empty() {
        return None;
    }
    number::parse(cell, dialect.decimal).or_else(|| {
        let (value, unit) = number::with_unit(cell, dialect.decimal)?;
        unit::parse(unit).map(|_| value)
    })
}

fn word(words: &mut Vec<String>, places: &mut HashMap<String, u32>, cell: &str) -> u32 {
    let cell = short(cell);
    if let Some(known) = places.get(&cell) {
        return *known;
    }
    if words.len() < MOST_WORDS {
        let at = u32::try_from(words.len()).unwrap_or(u32::MAX);
        places.insert(cell.clone(), at);
        words.push(cell);
    }
    u32::try_from(words.len().saturating_sub(1)).unwrap_or(u32::MAX)
}

/// A line or cell as it is kept: no longer than can be shown.
pub(super) fn short(text: &str) -> String {
    text.trim().chars().take(LONGEST_HEAD).collect()
}

/// Walks the lines of a text and gathers its tables.
struct Walk<'a> {
    dialect: Dialect,
    head: Vec<String>,
    pending: Vec<(u32, &'a str)>,
    table: Option<Table>,
    /// Lines of words after the table's last row, which may turn out to stand in its midst.
    gap: Vec<(u32, &'a str)>,
    done: Vec<Table>,
    problems: Problems,
    numbers: usize,
}

/// All tables of a text, and its last lines of words.
///
/// # Errors
/// No table, or more numbers than are read.
pub fn tables(text: &str, dialect: Dialect) -> Result<(Vec<Table>, Problems), Unreadable> {
    let mut walk = Walk {
        dialect,
        head: Vec::new(),
        pending: Vec::new(),
        table: None,
        gap: Vec::new(),
        done: Vec::new(),
        problems: Problems::default(),
        numbers: 0,
    };
    for (number, line) in lines(text) {
        if line.trim().is_empty() {
            continue;
        }
        walk.step(number, line);
        if walk.numbers > MOST_NUMBERS {
            return Err(Unreadable::TooManyNumbers);
        }
        if walk.done.len() > MOST_TABLES {
            return Err(Unreadable::TooManyTables);
        }
    }
    walk.close();
    let tables = without_short(walk.done);
    if tables.is_empty() {
        return Err(Unreadable::NoTable);
    }
    Ok((tables, walk.problems))
}

impl<'a> Walk<'a> {
    fn step(&mut self, number: u32, line: &'a str) {
        let Some(table) = self.table.as_mut() else {
            self.outside(number, line);
            return;
        };
        if !self.gap.is_empty() {
            if !self.is_row(line) {
                self.gap.push((number, line));
                // After so many lines of words no table goes on.
                if self.gap.len() > LONGEST_GAP {
                    self.close();
                }
                return;
            }
            let words = self.gap.iter().filter(|(_, line)| !self.has_number(line));
            let goes_on = words.count() <= 1
                && self
                    .table
                    .as_ref()
                    .is_some_and(|table| table.goes_on(line, self.dialect));
            if !goes_on {
                self.close();
                self.outside(number, line);
                return;
            }
            self.note_gap();
        } else if table.push(number, line, self.dialect, &mut self.problems) {
            self.numbers += table.columns.len();
            return;
        } else {
            self.gap.push((number, line));
            return;
        }
        if let Some(table) = self.table.as_mut() {
            table.push(number, line, self.dialect, &mut self.problems);
            self.numbers += table.columns.len();
        }
    }

    fn note_gap(&mut self) {
        for (line, text) in self.gap.drain(..) {
            let what = What::WordsAmongNumbers { text: short(text) };
            self.problems.push(Problem { line, what });
        }
    }

    /// A line outside any table: one of a header, or one of the first rows.
    fn outside(&mut self, number: u32, line: &'a str) {
        if !self.is_row(line) {
            self.spill();
            self.keep(line);
            return;
        }
        let alike = self
            .pending
            .last()
            .is_none_or(|(_, before)| self.shape(before) == self.shape(line));
        if !alike {
            self.spill();
        }
        self.pending.push((number, line));
        if self.pending.len() == FEWEST_ROWS {
            let rows = std::mem::take(&mut self.pending);
            let head = std::mem::take(&mut self.head);
            let mut table = Table::open(head, &rows, self.dialect);
            for (number, line) in rows {
                table.push(number, line, self.dialect, &mut self.problems);
            }
            self.table = Some(table);
        }
    }

    /// Rows too few for a table belong to the header.
    fn spill(&mut self) {
        for (_, line) in std::mem::take(&mut self.pending) {
            self.keep(line);
        }
    }

    fn keep(&mut self, line: &str) {
        if self.head.len() >= MOST_HEAD {
            // The last lines say what the columns are; the first ones what the test is.
            self.head.remove(MOST_HEAD / 2);
        }
        self.head.push(short(line));
    }

    fn close(&mut self) {
        if let Some(table) = self.table.take() {
            self.done.push(table);
        }
        self.spill();
        for (_, line) in std::mem::take(&mut self.gap) {
            self.keep(line);
        }
    }

    fn has_number(&self, line: &str) -> bool {
        let mut cells = self.dialect.delimiter.cells(line).take(MOST_COLUMNS);
        cells.any(|cell| is_number(cell, self.dialect.decimal))
    }

    fn is_row(&self, line: &str) -> bool {
        let (mut numbers, mut texts) = (0, 0);
        for cell in self.dialect.delimiter.cells(line).take(MOST_COLUMNS) {
            if is_number(cell, self.dialect.decimal) {
                numbers += 1;
            } else if !cell.is_empty() {
                texts += 1;
            }
        }
        numbers >= self.dialect.columns.clamp(1, 2) && texts <= numbers
    }

    /// Which cells of a line are numbers, which words, which empty.
    fn shape(&self, line: &str) -> Vec<u8> {
        let cells = self.dialect.delimiter.cells(line).take(MOST_COLUMNS);
        let kind = |cell: &str| match () {
            () if cell.is_empty() => 0,
            () if is_number(cell, self.dialect.decimal) => 1,
            () => 2,
        };
        cells.map(kind).collect()
    }
}

/// Short tables beside a long one become lines of the header of the table that follows.
fn without_short(tables: Vec<Table>) -> Vec<Table> {
    let longest = tables.iter().map(Table::rows).max().unwrap_or(0);
    let is_part =
        |table: &Table| table.rows() < SHORT && table.rows() * 20 < longest.max(SHORT * 20);
    let mut head: Vec<String> = Vec::new();
    let mut kept = Vec::new();
    let only_short = tables.iter().all(is_part);
    for mut table in tables {
        if is_part(&table) && !only_short && longest >= SHORT {
            head.append(&mut table.head);
            head.append(&mut table.first);
            continue;
        }
        head.append(&mut table.head);
        table.head = std::mem::take(&mut head);
        kept.push(table);
    }
    kept
}
