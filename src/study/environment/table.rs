//! A logger's file as text and as rows of cells, whatever parts them.

use super::layout::ReadFault;

/// The most rows of a file: a reading a minute for more than a year.
pub const MOST_ROWS: usize = 600_000;
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

/// The rows of a text, each with its cells without surrounding blanks.
///
/// # Errors
/// When there are too many rows or columns, or the text is no table at all.
pub fn rows(text: &str, delimiter: u8) -> Result<Vec<Vec<String>>, ReadFault> {
    if text.contains('\0') {
        return Err(ReadFault::NoText);
    }
    let mut file = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    for record in file.records() {
        let record = record.map_err(|_| ReadFault::NoText)?;
        if record.len() > MOST_COLUMNS {
            return Err(ReadFault::TooManyColumns);
        }
        if rows.len() >= MOST_ROWS {
            return Err(ReadFault::TooManyRows);
        }
        rows.push(record.iter().map(|cell| cell.trim().to_owned()).collect());
    }
    Ok(rows)
}
