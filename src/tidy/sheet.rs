//! A workbook (.xlsx) → the text of a table, as if its first sheet had been saved as CSV. An archive can hold
//! far more than it weighs, so that [`unpack`] looks at it first.

use std::collections::BTreeMap;
use std::io::Cursor;

use calamine::{Data, Reader, Xlsx, XlsxError};

use crate::unpack::{self, NoArchive};

/// Most cells of a sheet that hold something, most rows and most columns.
const MOST_CELLS: usize = 1_000_000;
const MOST_ROWS: u32 = 20_000;
const MOST_COLUMNS: u32 = 400;

/// The first sheet as CSV in UTF-8: its lines are the sheet's rows.
///
/// # Errors
/// In words, when it is none, or too large.
pub fn to_csv(bytes: &[u8]) -> Result<Vec<u8>, String> {
    unpack::must_be_a_modest_workbook(bytes).map_err(|why| match why {
        NoArchive::Damaged => "This workbook is damaged.".to_owned(),
        NoArchive::TooLarge => {
            "This workbook unpacks to more than is read here; save the sheet as CSV.".to_owned()
        }
    })?;
    // What the library cannot cope with is a damaged file, not a fault of the server.
    let read = std::panic::catch_unwind(|| first_sheet(bytes));
    read.unwrap_or_else(|_| Err("This workbook is damaged.".to_owned()))
}

fn first_sheet(bytes: &[u8]) -> Result<Vec<u8>, String> {
    let unreadable = |_: XlsxError| {
        "This workbook cannot be read; save the sheet as CSV and send that.".to_owned()
    };
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).map_err(unreadable)?;
    let names = book.sheet_names();
    let first = names
        .first()
        .ok_or_else(|| "The workbook has no sheet.".to_owned())?;
    // Cell by cell: a sheet with one cell in its last corner would be a table of seventeen thousand million.
    let mut reader = book.worksheet_cells_reader(first).map_err(unreadable)?;
    let mut rows: BTreeMap<u32, BTreeMap<u32, String>> = BTreeMap::new();
    let mut count = 0;
    while let Some(cell) = reader.next_cell().map_err(unreadable)? {
        let (row, column) = cell.get_position();
        let told = text(&Data::from(cell.get_value().clone()));
        if told.is_empty() {
            continue;
        }
        count += 1;
        if count > MOST_CELLS || row >= MOST_ROWS || column >= MOST_COLUMNS {
            return Err(
                "The first sheet is larger than any study; send the table alone.".to_owned(),
            );
        }
        rows.entry(row).or_default().insert(column, told);
    }
    written(&rows)
}

fn written(rows: &BTreeMap<u32, BTreeMap<u32, String>>) -> Result<Vec<u8>, String> {
    let last = rows.keys().next_back().copied();
    let last = last.ok_or_else(|| "The first sheet is empty.".to_owned())?;
    let width = rows.values().filter_map(|row| row.keys().next_back()).max();
    let width = width.copied().unwrap_or_default();
    let mut writer = csv::WriterBuilder::new().from_writer(Vec::new());
    for number in 0..=last {
        let row = rows.get(&number);
        let cell = |column: u32| {
            row.and_then(|row| row.get(&column))
                .map_or("", String::as_str)
        };
        let cells = (0..=width).map(cell);
        writer
            .write_record(cells)
            .map_err(|fault| fault.to_string())?;
    }
    writer.into_inner().map_err(|fault| fault.to_string())
}

/// A cell as it would be typed. A line break within a cell would part a row in two, so that it is a blank.
fn text(cell: &Data) -> String {
    match cell {
        Data::Empty => String::new(),
        Data::Float(number) => number.to_string(),
        Data::Int(number) => number.to_string(),
        Data::Bool(true) => "yes".to_owned(),
        Data::Bool(false) => "no".to_owned(),
        Data::DateTime(date) => {
            let (year, month, day, ..) = date.to_ymd_hms_milli();
            format!("{year:04}-{month:02}-{day:02}")
        }
        other => other.to_string().replace(['\r', '\n'], " "),
    }
}
