//! Bytes → a header and lines of cells: the encoding, what parts the columns, and lines that do not
//! fit the header.

use crate::tidy::naming::is_known;
use crate::tidy::problem::Problems;

/// Most bytes of a file; a piece takes some 200.
pub const MOST_BYTES: usize = 16_000_000;
/// Most lines with a piece, and most cells.
const MOST_LINES: usize = 50_000;
const MOST_CELLS: usize = 1_000_000;
/// So many cells of a header tell what parts them.
const MOST_LOOKED_AT: usize = 1_000;

/// What parts the columns, in the order in which they are tried.
const DELIMITERS: [(u8, &str); 3] = [(b',', "comma"), (b';', "semicolon"), (b'\t', "tab")];

/// The cells of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// What parts the columns, in words.
    pub delimiter: &'static str,
    /// On which line the header stands.
    pub header_line: u64,
    /// Names of the columns, as spelt.
    pub header: Vec<String>,
    /// Blank columns after them, which a spreadsheet may add.
    blank_end: usize,
    /// The lines below that are not blank.
    pub lines: Vec<Line>,
}

/// A line below the header; it has as many cells as the header.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Its number in the file, from 1.
    pub number: u64,
    /// Its cells, without blanks at their ends.
    pub cells: Vec<String>,
}

/// Reads the cells; lines that do not fit the header are told and left out.
pub fn read(bytes: &[u8], problems: &mut Problems) -> Option<Table> {
    if bytes.len() > MOST_BYTES {
        problems.file(format!(
            "The file is larger than {} MB; expected one line for each piece.",
            MOST_BYTES / 1_000_000
        ));
        return None;
    }
    let text = decoded(bytes, problems)?;
    let table = cells(&text, problems);
    let has_odd_mark = text.matches('"').count() % 2 == 1;
    if let Some((_, last)) = table.as_ref().filter(|_| has_odd_mark) {
        let told = "A quotation mark has no pair, in this line or before it; expected two around a cell and \
             two for one inside it.";
        problems.line(*last, told);
    }
    let (table, _) = table?;
    if table.is_none() {
        problems.file(
            "The file is empty; expected a header with the names of the columns, then one line for \
             each piece.",
        );
    }
    table
}

/// The cells of a text, if it has any, and the number of its last line; `None` when it cannot be read any further.
fn cells(text: &str, problems: &mut Problems) -> Option<(Option<Table>, u64)> {
    let (delimiter, called) = delimiter(text);
    let parts = |byte: &u8| [delimiter, b'\n', b'\r'].contains(byte);
    if text.bytes().filter(parts).count() > MOST_CELLS {
        problems.file("The file has more than a million cells; expected one line for each piece.");
        return None;
    }
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut table: Option<Table> = None;
    let mut last = 0;
    for record in reader.records() {
        let Ok(record) = record else {
            problems.line(last + 1, "This line cannot be read as cells.");
            return None;
        };
        let number = record.position().map_or(last + 1, csv::Position::line);
        last = number;
        let cells: Vec<String> = record.iter().map(str::to_owned).collect();
        if cells.iter().all(String::is_empty) {
            continue;
        }
        match &mut table {
            None => {
                let all = cells.len();
                let header = without_blank_end(cells, 0);
                table = Some(Table {
                    delimiter: called,
                    header_line: number,
                    blank_end: all - header.len(),
                    header,
                    lines: Vec::new(),
                });
            }
            Some(table) if table.lines.len() >= MOST_LINES => {
                let told = format!("There are more than {MOST_LINES} lines with a piece.");
                problems.line(number, told);
                return None;
            }
            Some(table) => add(table, number, cells, called, problems),
        }
    }
    Some((table, last))
}

/// UTF-8 without its mark; anything else is told with the line where it begins to be something else.
fn decoded(bytes: &[u8], problems: &mut Problems) -> Option<String> {
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        problems.file("The file is UTF-16; expected UTF-8. Save it as “CSV UTF-8”.");
        return None;
    }
    let bytes = bytes.strip_prefix(&[0xef, 0xbb, 0xbf]).unwrap_or(bytes);
    match std::str::from_utf8(bytes) {
        Ok(text) if text.contains('\0') => {
            problems.file("The file holds zero bytes; expected text: a table saved as CSV.");
            None
        }
        // The reader of cells counts a line that ends in CR and LF at the CR: every number would be one
        // short.
        Ok(text) => Some(text.replace("\r\n", "\n")),
        Err(fault) => {
            let before = bytes.get(..fault.valid_up_to()).unwrap_or_default();
            let line = before.iter().filter(|b| **b == b'\n').count() as u64 + 1;
            problems.line(
                line,
                "This line is not UTF-8; expected UTF-8. Save the file as “CSV UTF-8”.",
            );
            None
        }
    }
}

/// The one with which the header names most columns that are known; at a tie the one that parts most.
fn delimiter(text: &str) -> (u8, &'static str) {
    let header = text
        .lines()
        .find(|line| !line.trim().is_empty())
        .unwrap_or_default();
    let rank = |delimiter: u8| {
        let cells = header.split(char::from(delimiter)).take(MOST_LOOKED_AT);
        let cells: Vec<&str> = cells.collect();
        let known = cells.iter().filter(|cell| is_known(cell)).count();
        (known, cells.len())
    };
    let mut best = (b',', "comma");
    for (delimiter, called) in DELIMITERS {
        if rank(delimiter) > rank(best.0) {
            best = (delimiter, called);
        }
    }
    best
}

fn add(table: &mut Table, number: u64, cells: Vec<String>, called: &str, problems: &mut Problems) {
    let wanted = table.header.len();
    // Only as many blank cells as the header has, or a number parted in two would go unseen.
    let cells = if cells.len() <= wanted + table.blank_end {
        without_blank_end(cells, wanted)
    } else {
        cells
    };
    if cells.len() == wanted {
        table.lines.push(Line { number, cells });
        return;
    }
    let hint = if called == "comma" && cells.len() > wanted {
        " A decimal comma parts a number in two here: part the columns by semicolons or tabs, or put \
         the number between quotation marks."
    } else {
        ""
    };
    problems.line(
        number,
        format!(
            "This line has {} cells, parted by a {called}; expected {wanted}, as in the header.{hint}",
            cells.len()
        ),
    );
}

/// Without blank cells after the last that is wanted: spreadsheets add them.
fn without_blank_end(mut cells: Vec<String>, wanted: usize) -> Vec<String> {
    while cells.len() > wanted && cells.last().is_some_and(String::is_empty) {
        cells.pop();
    }
    cells
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(bytes: &[u8]) -> (Option<Table>, Vec<String>) {
        let mut problems = Problems::default();
        let table = read(bytes, &mut problems);
        let told = problems.told.iter().map(ToString::to_string).collect();
        (table, told)
    }

    #[test]
    fn commas_semicolons_tabs_and_a_byte_order_mark_are_all_the_same_table() {
        let files: [&[u8]; 4] = [
            b"specimen,max_load_n\nA1,\"12,5\"\n",
            b"specimen;max_load_n\r\nA1;12,5\r\n",
            b"specimen\tmax_load_n\nA1\t12,5\n\n",
            b"\xef\xbb\xbfspecimen;max_load_n;\nA1; 12,5 ;\n;;\n",
        ];
        for file in files {
            let (table, told) = cells(file);
            assert!(told.is_empty(), "{told:?}");
            let table = table.unwrap();
            assert_eq!(table.header, ["specimen", "max_load_n"]);
            assert_eq!(table.lines.len(), 1);
            assert_eq!(table.lines[0].cells, ["A1", "12,5"]);
        }
    }

    #[test]
    fn what_cannot_be_read_is_told_with_its_line() {
        for file in [
            &b"specimen,max_load_n\r\nA1,12,5\r\nA2\r\n"[..],
            b"\xef\xbb\xbfspecimen,max_load_n\r\nA1,12,5\r\nA2\r\n",
        ] {
            let (_, told) = cells(file);
            assert!(
                told[0].starts_with("line 2:") && told[1].starts_with("line 3:"),
                "{told:?}"
            );
        }
        let (_, told) = cells(b"specimen,max_load_n\nA1,12,5\nA2\n");
        assert!(
            told[0].starts_with("line 2: This line has 3 cells"),
            "{told:?}"
        );
        assert!(told[0].contains("decimal comma"));
        assert!(
            told[1].starts_with("line 3: This line has 1 cells"),
            "{told:?}"
        );
        let (table, told) = cells(b"specimen,reason\nA1,gr\xfcn\n");
        assert!(table.is_none() && told[0].starts_with("line 2: This line is not UTF-8"));
        assert!(cells(b"\xff\xfes\0").1[0].contains("UTF-16"));
        assert!(cells(b" \n \n").1[0].contains("empty"));
        assert!(cells(b"specimen,reason\nA1,\"x\n").1[0].contains("no pair"));
    }
}
