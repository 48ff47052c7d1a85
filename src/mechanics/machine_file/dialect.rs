//! What stands between the cells of a line and within its numbers, found by trying.

use super::number::{self, Decimal};
use super::text::lines;

/// What stands between two cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Delimiter {
    /// A tab.
    Tab,
    /// A semicolon.
    Semicolon,
    /// A comma.
    Comma,
    /// An upright stroke.
    Bar,
    /// One blank or more.
    Blanks,
}

impl Delimiter {
    /// All, the surest first: where two read a file equally well, the earlier one is taken.
    pub const ALL: [Self; 5] = [
        Self::Tab,
        Self::Semicolon,
        Self::Bar,
        Self::Comma,
        Self::Blanks,
    ];

    /// The name in forms and in what is remembered; also how it is told.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Tab => "tab",
            Self::Semicolon => "semicolon",
            Self::Comma => "comma",
            Self::Bar => "bar",
            Self::Blanks => "blanks",
        }
    }

    /// Reads [`Delimiter::key`].
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.key() == key)
    }

    fn sign(self) -> u8 {
        match self {
            Self::Tab => b'\t',
            Self::Semicolon => b';',
            Self::Comma => b',',
            Self::Bar => b'|',
            Self::Blanks => b' ',
        }
    }

    /// The cells of a line, without the quotes and blanks around them.
    #[must_use]
    pub fn cells(self, line: &str) -> Cells<'_> {
        let line = match self {
            Self::Blanks => line.trim(),
            // A stroke at the outer edges only frames the table.
            Self::Bar => line.trim().trim_matches('|'),
            _ => line,
        };
        Cells {
            rest: (!line.is_empty()).then_some(line),
            delimiter: self,
        }
    }
}

/// The cells of one line.
#[derive(Debug, Clone)]
pub struct Cells<'a> {
    rest: Option<&'a str>,
    delimiter: Delimiter,
}

impl<'a> Iterator for Cells<'a> {
    type Item = &'a str;

    fn next(&mut self) -> Option<&'a str> {
        let rest = self.rest?;
        let start = self.quoted(rest).unwrap_or(0);
        let sign = self.delimiter.sign();
        let blanks = self.delimiter == Delimiter::Blanks;
        let ends = |byte: u8| byte == sign || blanks && byte == b'\t';
        let tail = rest.as_bytes().get(start..).unwrap_or_default();
        let end = tail.iter().position(|byte| ends(*byte));
        let cell = match end {
            Some(end) => {
                let after = rest.get(start + end + 1..).unwrap_or_default();
                self.rest = Some(if blanks { after.trim_start() } else { after });
                rest.get(..start + end).unwrap_or_default()
            }
            None => {
                self.rest = None;
                rest
            }
        };
        Some(bare(cell))
    }
}

impl Cells<'_> {
    /// Where a quoted cell's closing quote ends, so that a delimiter inside does not part it.
    fn quoted(&self, rest: &str) -> Option<usize> {
        let inner = rest.trim_start().strip_prefix('"')?;
        let opened = rest.len() - inner.len();
        Some(opened + inner.find('"')? + 1)
    }
}

/// A cell without blanks and quotes around it, and without the guard that spreadsheets put before
/// text.
fn bare(cell: &str) -> &str {
    // Digits at both ends: nothing to take off, and no need to look at it as letters.
    if let [first, .., last] = cell.as_bytes()
        && first.is_ascii_digit()
        && last.is_ascii_digit()
    {
        return cell;
    }
    let cell = cell.trim();
    match cell
        .strip_prefix('"')
        .and_then(|rest| rest.strip_suffix('"'))
    {
        Some(inner) => inner.trim(),
        None => cell,
    }
}

/// How a file parts its cells and writes its numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dialect {
    /// Between the cells.
    pub delimiter: Delimiter,
    /// Within the numbers.
    pub decimal: Decimal,
    /// How many numbers most lines hold.
    pub columns: usize,
}

/// About so many lines are tried; more tell nothing new.
const TRIED: usize = 240;

/// The dialect in which most lines of the text are numbers throughout; `None` where no line is.
///
/// What is fixed by a person is not guessed.
#[must_use]
pub fn guess(
    text: &str,
    delimiter: Option<Delimiter>,
    decimal: Option<Decimal>,
) -> Option<Dialect> {
    let sample = sample(text);
    let mut best: Option<(usize, Dialect)> = None;
    for one in Delimiter::ALL {
        for mark in Decimal::ALL {
            let is_ruled_out = delimiter.is_some_and(|fixed| fixed != one)
                || decimal.is_some_and(|fixed| fixed != mark);
            if is_ruled_out {
                continue;
            }
            let (lines, columns) = score(&sample, one, mark);
            let dialect = Dialect {
                delimiter: one,
                decimal: mark,
                columns,
            };
            let is_better = best.is_none_or(|(most, found)| {
                // Nearly as many lines but more columns: a text column hides in the other reading.
                let close = lines * 10 >= most * 9 && most * 10 >= lines * 9;
                if close {
                    columns > found.columns
                } else {
                    lines > most
                }
            });
            if lines > 0 && is_better {
                best = Some((lines, dialect));
            }
        }
    }
    best.map(|(_, dialect)| dialect)
}

/// Texts up to this size are looked at line by line.
const SMALL: usize = 1 << 16;

/// Lines with figures, spread evenly over the text. In a long one they are found from places in it, so
/// that it costs no more than a short one.
fn sample(text: &str) -> Vec<&str> {
    let has_digit = |line: &&str| line.bytes().any(|byte| byte.is_ascii_digit());
    if text.len() <= SMALL {
        let filled: Vec<&str> = lines(text)
            .map(|(_, line)| line)
            .filter(has_digit)
            .collect();
        let step = filled.len().div_ceil(TRIED).max(1);
        return filled.into_iter().step_by(step).collect();
    }
    let places = (0..TRIED).filter_map(|rank| text.get(place(text, rank)..));
    // The first piece at a place is the rest of some line; the one after it is whole.
    let whole = places.filter_map(|rest| lines(rest).map(|(_, line)| line).nth(1));
    whole.filter(has_digit).collect()
}

fn place(text: &str, rank: usize) -> usize {
    text.floor_char_boundary(text.len() / TRIED * rank)
}

/// How many lines hold numbers, weighed, and in how many columns.
fn score(sample: &[&str], delimiter: Delimiter, decimal: Decimal) -> (usize, usize) {
    let mut counts: Vec<(usize, usize)> = Vec::new();
    for line in sample {
        let (mut numbers, mut texts, mut doubtful) = (0, 0, 0);
        for cell in delimiter.cells(line).take(super::MOST_COLUMNS) {
            if is_number(cell, decimal) {
                numbers += 1;
                doubtful += usize::from(number::is_doubtful(cell, decimal));
            } else if !cell.is_empty() {
                texts += 1;
            }
        }
        if numbers == 0 || texts > numbers {
            continue;
        }
        // Numbers throughout, all of them beyond doubt, count twice.
        let weight = if texts + doubtful == 0 { 2 } else { 1 };
        match counts.iter_mut().find(|(columns, _)| *columns == numbers) {
            Some((_, lines)) => *lines += weight,
            None => counts.push((numbers, weight)),
        }
    }
    // Curves side by side end one by one: the widest count that is not rare stands for the table.
    let all: usize = counts.iter().map(|(_, lines)| lines).sum();
    let columns = counts
        .iter()
        .filter(|(_, lines)| *lines * 5 >= all)
        .map(|(columns, _)| *columns)
        .max();
    (all, columns.unwrap_or(0))
}

pub(super) fn is_number(cell: &str, decimal: Decimal) -> bool {
    number::parse(cell, decimal).is_some()
        || number::with_unit(cell, decimal)
            .is_some_and(|(_, unit)| super::unit::parse(unit).is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(text: &str) -> (Delimiter, Decimal, usize) {
        let dialect = guess(text, None, None).unwrap();
        (dialect.delimiter, dialect.decimal, dialect.columns)
    }

    #[test]
    fn the_marks_are_found_by_trying() {
        use {Decimal as D, Delimiter as S};
        for (text, want) in [
            ("0.1,5\n0.2,6\n", (S::Comma, D::Point, 2)),
            ("0,1;5,25\n0,2;6,5\n", (S::Semicolon, D::Comma, 2)),
            ("0,1\t5\n0,2\t6,5\n", (S::Tab, D::Comma, 2)),
            ("0.1 5.0\n0.2   6\n", (S::Blanks, D::Point, 2)),
            ("0,1 5,0\n0,2   6,1\n", (S::Blanks, D::Comma, 2)),
            (
                "\"0,1\",\"5,25\"\n\"0,2\",\"6,5\"\n",
                (S::Comma, D::Comma, 2),
            ),
            ("| 0.1 | 5 |\n| 0.2 | 6 |\n", (S::Bar, D::Point, 2)),
            ("1,234\t0.52\n1,235\t0.53\n", (S::Tab, D::Point, 2)),
            ("0.1, 5, 7\n0.2, 6, 8\n", (S::Comma, D::Point, 3)),
            (
                "12.5 N;0.1 mm\n13.5 N;0.2 mm\n",
                (S::Semicolon, D::Point, 2),
            ),
        ] {
            assert_eq!(found(text), want, "{text}");
        }
        assert_eq!(guess("no number here", None, None), None);
    }

    #[test]
    fn a_delimiter_within_quotes_does_not_part() {
        let cells: Vec<_> = Delimiter::Comma.cells("\"a, b\", 2 ,\"\"").collect();
        assert_eq!(cells, ["a, b", "2", ""]);
    }
}
