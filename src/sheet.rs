//! Sheets (.xlsx, ISO/IEC 29500) as text: their cells, parted by tabs, as a spreadsheet would copy them.
//!
//! Such a file is a ZIP archive, which [`unpack`] looks at first. Cells are read one by one and not laid out in a
//! field as wide and high as they claim.

use std::fmt;
use std::io::Cursor;
use std::panic::{UnwindSafe, catch_unwind};

use calamine::{DataRef, Reader, Xlsx};

use crate::unpack::{self, NoArchive};

/// The most characters of text that come of it.
const MOST_TEXT: usize = 24 << 20;
/// The most rows and columns.
const MOST_ROWS: u32 = 400_000;
const MOST_COLUMNS: u32 = 256;

/// Why a sheet cannot be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoSheet {
    /// It is no such archive, or a damaged one.
    Damaged,
    /// It unpacks to more than is read.
    TooLarge,
    /// No sheet with cells.
    Empty,
}

impl fmt::Display for NoSheet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Damaged => "This is no .xlsx file, or a damaged one. Save it again, or as CSV.",
            Self::TooLarge => {
                "This .xlsx file unpacks to more than is read here. Save the one sheet as CSV."
            }
            Self::Empty => "This .xlsx file has no sheet with cells.",
        })
    }
}

impl std::error::Error for NoSheet {}

/// The first sheet that has cells, as lines of cells parted by tabs. Numbers are written with a point.
///
/// # Errors
/// [`NoSheet`].
pub fn as_text(bytes: &[u8]) -> Result<String, NoSheet> {
    caught(|| first_filled(bytes))
}

/// What the library cannot cope with is a damaged file, not a fault of the server.
fn caught(read: impl FnOnce() -> Result<String, NoSheet> + UnwindSafe) -> Result<String, NoSheet> {
    catch_unwind(read).unwrap_or(Err(NoSheet::Damaged))
}

fn first_filled(bytes: &[u8]) -> Result<String, NoSheet> {
    let mut book = opened(bytes)?;
    for name in book.sheet_names() {
        let text = sheet(&mut book, &name)?;
        if !text.trim().is_empty() {
            return Ok(text);
        }
    }
    Err(NoSheet::Empty)
}

/// Every sheet that has cells, one below the other, each with a line of its name above it where there are
/// several: machines write one test to a sheet and call the sheet by its piece.
///
/// # Errors
/// [`NoSheet`].
pub fn all_as_text(bytes: &[u8]) -> Result<String, NoSheet> {
    caught(|| all_filled(bytes))
}

fn all_filled(bytes: &[u8]) -> Result<String, NoSheet> {
    let mut book = opened(bytes)?;
    let mut sheets: Vec<(String, String)> = Vec::new();
    let mut length = 0;
    for name in book.sheet_names() {
        let text = sheet(&mut book, &name)?;
        length += text.len();
        if length > MOST_TEXT {
            return Err(NoSheet::TooLarge);
        }
        if !text.trim().is_empty() {
            sheets.push((name, text));
        }
    }
    match sheets.as_slice() {
        [] => Err(NoSheet::Empty),
        [(_, text)] => Ok(text.clone()),
        several => {
            let named = several
                .iter()
                .map(|(name, text)| format!("{name}\n{text}\n"));
            Ok(named.collect())
        }
    }
}

/// The workbook, once its archive is known to be modest.
fn opened(bytes: &[u8]) -> Result<Xlsx<Cursor<&[u8]>>, NoSheet> {
    unpack::must_be_a_modest_workbook(bytes).map_err(|why| match why {
        NoArchive::Damaged => NoSheet::Damaged,
        NoArchive::TooLarge => NoSheet::TooLarge,
    })?;
    Xlsx::new(Cursor::new(bytes)).map_err(|_| NoSheet::Damaged)
}

fn sheet(book: &mut Xlsx<Cursor<&[u8]>>, name: &str) -> Result<String, NoSheet> {
    // A chart sheet has no cells.
    let Ok(mut cells) = book.worksheet_cells_reader(name) else {
        return Ok(String::new());
    };
    let mut text = String::new();
    let (mut row, mut column) = (0_u32, 0_u32);
    while let Some(cell) = cells.next_cell().map_err(|_| NoSheet::Damaged)? {
        let (at_row, at_column) = cell.get_position();
        let value = words(cell.get_value());
        if value.is_empty() {
            continue;
        }
        // Cells stand in their order; one that goes back belongs to a damaged sheet.
        if at_row < row || at_row == row && at_column < column {
            return Err(NoSheet::Damaged);
        }
        if at_row > MOST_ROWS || at_column > MOST_COLUMNS {
            return Err(NoSheet::TooLarge);
        }
        while row < at_row {
            text.push('\n');
            (row, column) = (row + 1, 0);
        }
        while column < at_column {
            text.push('\t');
            column += 1;
        }
        text.push_str(&value);
        if text.len() > MOST_TEXT {
            return Err(NoSheet::TooLarge);
        }
    }
    Ok(text)
}

/// A cell as it would be typed, on one line and without tabs.
fn words(value: &DataRef<'_>) -> String {
    let text = match value {
        DataRef::Int(number) => number.to_string(),
        DataRef::Float(number) => number.to_string(),
        DataRef::Bool(is_so) => is_so.to_string(),
        DataRef::String(text) => text.clone(),
        DataRef::SharedString(text) => (*text).to_owned(),
        DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => text.clone(),
        DataRef::DateTime(moment) => moment.as_f64().to_string(),
        DataRef::Error(_) | DataRef::Empty => String::new(),
    };
    text.replace(['\t', '\n', '\r'], " ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use rust_xlsxwriter::Workbook;
    use std::io::Write;
    use zip::ZipWriter;
    use zip::write::SimpleFileOptions;

    /// A file by a library that shares nothing with the reader.
    fn written() -> Vec<u8> {
        let mut book = Workbook::new();
        book.add_worksheet();
        let sheet = book.add_worksheet();
        sheet.write_string(0, 0, "Blind code").unwrap();
        sheet.write_string(0, 2, "Load [N]").unwrap();
        sheet.write_number(2, 2, 312.5).unwrap();
        book.save_to_buffer().unwrap()
    }

    #[test]
    fn the_first_sheet_with_cells_comes_as_text() {
        assert_eq!(
            as_text(&written()).unwrap(),
            "Blind code\t\tLoad [N]\n\n\t\t312.5"
        );
    }

    #[test]
    fn several_sheets_come_one_below_the_other_under_their_names() {
        assert_eq!(
            all_as_text(&written()),
            as_text(&written()),
            "one has cells"
        );
        let mut book = Workbook::new();
        for (name, load) in [("B4N", 1.0), ("C7K", 2.5)] {
            let sheet = book.add_worksheet();
            sheet.set_name(name).unwrap();
            sheet.write_string(0, 0, "Load [N]").unwrap();
            sheet.write_number(1, 0, load).unwrap();
        }
        let bytes = book.save_to_buffer().unwrap();
        let text = "B4N\nLoad [N]\n1\nC7K\nLoad [N]\n2.5\n";
        assert_eq!(all_as_text(&bytes).unwrap(), text);
    }

    #[test]
    fn what_is_no_sheet_is_named() {
        assert_eq!(as_text(b"PK\x03\x04 and more"), Err(NoSheet::Damaged));
        let whole = written();
        for cut in [1, whole.len() / 3, whole.len() - 30] {
            assert!(as_text(&whole[..cut]).is_err());
        }
    }

    /// 60 MB of zeros in some tens of kilobytes.
    #[test]
    fn an_archive_that_unpacks_to_too_much_is_refused() {
        let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
        let deflated = SimpleFileOptions::default();
        archive.start_file("xl/workbook.xml", deflated).unwrap();
        for _ in 0..60 {
            archive.write_all(&vec![b' '; 1 << 20]).unwrap();
        }
        let bytes = archive.finish().unwrap().into_inner();
        assert!(bytes.len() < 1 << 20);
        assert_eq!(as_text(&bytes), Err(NoSheet::TooLarge));
    }

    /// A cell at the far corner would be a field of 17 thousand million cells.
    #[test]
    fn a_cell_far_out_is_refused() {
        let mut book = Workbook::new();
        let sheet = book.add_worksheet();
        sheet.write_number(0, 0, 1.0).unwrap();
        sheet.write_number(1_048_575, 16_383, 1.0).unwrap();
        let bytes = book.save_to_buffer().unwrap();
        assert_eq!(as_text(&bytes), Err(NoSheet::TooLarge));
    }
}
