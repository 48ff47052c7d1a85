//! A logger's file as text and as rows of cells, whatever parts them.

use super::layout::ReadFault;

/// The most rows of a file: a reading a minute for more than a year.
pub const MOST_ROWS: usize = 600_000;
/// The most cells: fifteen columns of as many.
const MOST_CELLS: usize = 15 * MOST_ROWS;
/// The longest row, in bytes.
const LONGEST_ROW: usize = 1 << 16;
/// The most columns.
pub const MOST_COLUMNS: usize = 60;

/// What may part cells, as a form offers it.
pub const DELIMITERS: [(&str, &str); 4] = [
    ("comma", "comma"),
    ("semicolon", "semicolon"),
    ("tab", "tab"),
    ("bar", "upright bar"),
];

/// The byte of a delimiter's name.
#[must_use]
pub fn delimiter(name: &str) -> Option<u8> {
    Some(match name {
        "comma" => b',',
        "semicolon" => b';',
        "tab" => b'\t',
        "bar" => b'|',
        _ => return None,
    })
}

/// The text of a file and what its encoding was taken for. A mark at the beginning decides; without one
/// it is UTF-8 if it can be, else Windows-1252, which every byte fits.
#[must_use]
pub fn text(bytes: &[u8]) -> (String, &'static str) {
    if let Some((encoding, _)) = encoding_rs::Encoding::for_bom(bytes) {
        let (text, _, _) = encoding.decode(bytes);
        return (text.into_owned(), encoding.name());
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => (text.to_owned(), "UTF-8"),
        Err(_) => {
            let (text, _, _) = encoding_rs::WINDOWS_1252.decode(bytes);
            (text.into_owned(), "windows-1252")
        }
    }
}

/// The rows of a text one after the other, each with its cells without surrounding blanks. They are not kept: as
/// words, the cells of a large file take many times its size.
///
/// # Errors
/// When there are too many rows or columns, or the text is no table at all.
pub fn rows(
    text: &str,
    delimiter: u8,
) -> Result<impl Iterator<Item = Result<Vec<String>, ReadFault>>, ReadFault> {
    if text.contains('\0') {
        return Err(ReadFault::NoText);
    }
    if text
        .split(['\n', '\r'])
        .any(|line| line.len() > LONGEST_ROW)
    {
        return Err(ReadFault::NoText);
    }
    if text.bytes().filter(|byte| *byte == delimiter).count() > MOST_CELLS {
        return Err(ReadFault::TooManyColumns);
    }
    let file = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    let row = |(number, record): (usize, Result<csv::StringRecord, csv::Error>)| {
        let record = record.map_err(|_| ReadFault::NoText)?;
        if record.as_slice().len() > LONGEST_ROW {
            return Err(ReadFault::NoText);
        }
        if record.len() > MOST_COLUMNS {
            return Err(ReadFault::TooManyColumns);
        }
        if number >= MOST_ROWS {
            return Err(ReadFault::TooManyRows);
        }
        Ok(record.iter().map(|cell| cell.trim().to_owned()).collect())
    };
    Ok(file.into_records().enumerate().map(row))
}

/// The first rows of a text.
///
/// # Errors
/// As [`rows`].
pub fn first(text: &str, delimiter: u8, most: usize) -> Result<Vec<Vec<String>>, ReadFault> {
    rows(text, delimiter)?.take(most).collect()
}
