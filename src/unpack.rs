//! ZIP archives that others sent. Such a file can hold far more than it weighs and claims what it likes of itself, so
//! its entries are counted before its list is read, and unpacked into nothing before anything of it is kept.

use std::fmt;
use std::io::{Cursor, Read};

use zip::ZipArchive;

/// The most bytes that all parts of a workbook may unpack to, and those besides its sheets: a reader of sheets
/// keeps the words and styles of a workbook in memory, several times as large as they are in the file.
const MOST_UNPACKED: u64 = 48 << 20;
const MOST_BESIDE: u64 = 12 << 20;
/// The most parts of a workbook.
const MOST_PARTS: usize = 2_000;
/// The most words that a workbook may say it holds: a reader makes room for as many at once.
const MOST_WORDS: u64 = 1_000_000;
/// More than two corners take, in bytes.
const LONGEST_REFERENCE: usize = 64;
/// How an entry of an archive's list begins (APPNOTE.TXT 4.3.12).
const ENTRY: &[u8; 4] = b"PK\x01\x02";

/// Why an archive is not opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoArchive {
    /// It is none, or a damaged one.
    Damaged,
    /// It holds or unpacks to more than is read.
    TooLarge,
}

impl fmt::Display for NoArchive {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Damaged => "it is no archive, or a damaged one",
            Self::TooLarge => "it holds more than is read here",
        })
    }
}

/// Whether bytes begin as a ZIP archive does.
#[must_use]
pub fn is_archive(bytes: &[u8]) -> bool {
    bytes.starts_with(b"PK\x03\x04")
}

/// Opens an archive that lists no more entries than this.
///
/// # Errors
/// [`NoArchive`].
pub fn open<B: AsRef<[u8]>>(bytes: B, most: usize) -> Result<ZipArchive<Cursor<B>>, NoArchive> {
    // The library keeps some hundred bytes of each entry, whatever the archive says of their number.
    let listed = bytes.as_ref().windows(ENTRY.len()).filter(|at| at == ENTRY);
    if listed.count() > most {
        return Err(NoArchive::TooLarge);
    }
    ZipArchive::new(Cursor::new(bytes)).map_err(|_| NoArchive::Damaged)
}

/// Unpacks a workbook (.xlsx) into nothing and counts; what can make its reader ask for more memory than there is
/// is refused.
///
/// # Errors
/// [`NoArchive`].
pub fn must_be_a_modest_workbook(bytes: &[u8]) -> Result<(), NoArchive> {
    let mut archive = open(bytes, MOST_PARTS)?;
    let (mut left, mut beside) = (MOST_UNPACKED, MOST_BESIDE);
    for at in 0..archive.len() {
        let file = archive.by_index(at).map_err(|_| NoArchive::Damaged)?;
        let name = file.name().map_err(|_| NoArchive::Damaged)?.to_lowercase();
        let is_words = name.ends_with("sharedstrings.xml");
        let is_sheet = name.contains("worksheets/");
        let mut part = file.take(if is_words { beside + 1 } else { left + 1 });
        let read = if is_words || is_sheet {
            let mut text = Vec::new();
            let read = part.read_to_end(&mut text);
            let read = read.map_err(|_| NoArchive::Damaged)?;
            if is_words {
                must_hold_few_words(&text)?;
            } else {
                must_have_short_references(&text)?;
            }
            read as u64
        } else {
            std::io::copy(&mut part, &mut std::io::sink()).map_err(|_| NoArchive::Damaged)?
        };
        left = left.checked_sub(read).ok_or(NoArchive::TooLarge)?;
        if !is_sheet {
            beside = beside.checked_sub(read).ok_or(NoArchive::TooLarge)?;
        }
    }
    Ok(())
}

/// The reader makes room for as many words as the list of words says that it has, before it has seen any.
fn must_hold_few_words(text: &[u8]) -> Result<(), NoArchive> {
    // Only in one byte a sign can it be seen what it says.
    if text.contains(&0) || text.starts_with(&[0xFF]) || text.starts_with(&[0xFE]) {
        return Err(NoArchive::Damaged);
    }
    const COUNT: &[u8] = b"uniqueCount";
    let said = text.windows(COUNT.len()).enumerate();
    for (at, _) in said.filter(|(_, part)| *part == COUNT) {
        let rest = text.get(at + COUNT.len()..).unwrap_or_default().iter();
        let is_digit = |byte: &&u8| byte.is_ascii_digit();
        let digits = rest
            .skip_while(|byte| b"= \t\r\n\"'+".contains(byte))
            .take_while(is_digit);
        let count = digits.fold(0_u64, |sum, digit| {
            sum.saturating_mul(10)
                .saturating_add(u64::from(digit - b'0'))
        });
        if count > MOST_WORDS {
            return Err(NoArchive::TooLarge);
        }
    }
    Ok(())
}

/// Cells stand in columns of three letters and rows of seven digits at most (ISO/IEC 29500-1, 18.3.1.4); the reader
/// counts beyond what it can count to.
fn must_have_short_references(text: &[u8]) -> Result<(), NoArchive> {
    let is_blank = |byte: &&u8| byte.is_ascii_whitespace();
    let signs = text.iter().enumerate().filter(|(_, byte)| **byte == b'=');
    for (at, _) in signs {
        let (before, after) = text.split_at(at);
        let mut name = before.iter().rev().skip_while(is_blank);
        let name: Vec<u8> = name.by_ref().take(4).copied().collect();
        let is_reference = matches!(name.as_slice(), [b'r', blank, ..] | [b'f', b'e', b'r', blank] if blank.is_ascii_whitespace());
        let value = after.iter().skip(1).skip_while(is_blank).skip(1);
        if is_reference && !is_sound(value.take_while(|byte| !b"\"'".contains(byte))) {
            return Err(NoArchive::Damaged);
        }
    }
    Ok(())
}

/// Whether a reference can be counted to, and one of two corners does not end before it begins.
fn is_sound<'b>(reference: impl Iterator<Item = &'b u8>) -> bool {
    let reference: Vec<u8> = reference.take(LONGEST_REFERENCE).copied().collect();
    let mut before = (0, 0);
    for corner in reference.split(|byte| *byte == b':') {
        let digits = corner
            .iter()
            .position(u8::is_ascii_digit)
            .unwrap_or(corner.len());
        let (letters, digits) = corner.split_at(digits);
        if letters.len() > 3 || digits.len() > 7 {
            return false;
        }
        let column = letters.iter().fold(0_u32, |sum, letter| {
            sum * 26 + u32::from(letter.to_ascii_uppercase())
        });
        let row = digits.iter().fold(0_u32, |sum, digit| {
            sum * 10 + u32::from(digit.saturating_sub(b'0'))
        });
        if column < before.0 || row < before.1 {
            return false;
        }
        before = (column, row);
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;
    use zip::ZipWriter;
    use zip::write::SimpleFileOptions;

    fn packed(parts: &[(&str, &[u8])]) -> Vec<u8> {
        let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
        for (name, part) in parts {
            archive
                .start_file(*name, SimpleFileOptions::default())
                .unwrap();
            archive.write_all(part).unwrap();
        }
        archive.finish().unwrap().into_inner()
    }

    /// Found by reading the library: it makes room for as many words as the list claims, and a list that claims
    /// more than the computer has ends the whole program.
    #[test]
    fn a_list_of_words_that_claims_more_than_there_is_is_refused() {
        for claimed in [
            "99999999999",
            "18446744073709551615",
            "1000001",
            "99999999999999999999999",
        ] {
            for list in [
                format!("<sst uniqueCount=\"{claimed}\"><si><t>a</t></si></sst>"),
                format!("<sst count='1' uniqueCount = '{claimed}'/>"),
            ] {
                let bytes = packed(&[("xl/SharedStrings.xml", list.as_bytes())]);
                assert_eq!(
                    must_be_a_modest_workbook(&bytes),
                    Err(NoArchive::TooLarge),
                    "{list}"
                );
            }
        }
        let plain = "<sst count=\"9\" uniqueCount=\"1\"><si><t>a</t></si></sst>";
        let bytes = packed(&[("xl/sharedStrings.xml", plain.as_bytes())]);
        assert_eq!(must_be_a_modest_workbook(&bytes), Ok(()));
        let wide: Vec<u8> = plain.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let bytes = packed(&[("xl/sharedStrings.xml", &wide)]);
        assert_eq!(must_be_a_modest_workbook(&bytes), Err(NoArchive::Damaged));
    }

    /// Found by the fuzzer: columns are counted in 32 bits, and one of many letters overflows them.
    #[test]
    fn a_cell_beyond_any_column_or_row_is_damage() {
        let sheet = |text: &str| packed(&[("xl/worksheets/sheet1.xml", text.as_bytes())]);
        for wrong in [
            "<c r=\"AAAAAAAAAAAAA1\"/>",
            "<c\n r = 'A12345678'/>",
            "<dimension ref=\"A1:ABCD2\"/>",
            "<dimension ref=\"C3:A9\"/>",
            "<dimension ref=\"A9:C3\"/>",
        ] {
            assert_eq!(
                must_be_a_modest_workbook(&sheet(wrong)),
                Err(NoArchive::Damaged),
                "{wrong}"
            );
        }
        let right = "<dimension ref=\"A1:XFD1048576\"/><c r=\"XFD1048576\"><v>r=12345678901</v></c><a customer=\"ABCDEF\"/>";
        assert_eq!(must_be_a_modest_workbook(&sheet(right)), Ok(()));
    }

    #[test]
    fn words_and_styles_may_be_less_than_sheets() {
        let large = vec![b' '; 13 << 20];
        let sheet = packed(&[("xl/worksheets/sheet1.xml", &large)]);
        assert_eq!(must_be_a_modest_workbook(&sheet), Ok(()));
        for name in ["xl/styles.xml", "xl/sharedStrings.xml", "xl/workbook.xml"] {
            let bytes = packed(&[(name, &large)]);
            assert_eq!(
                must_be_a_modest_workbook(&bytes),
                Err(NoArchive::TooLarge),
                "{name}"
            );
        }
    }

    #[test]
    fn more_entries_than_are_read_are_counted_before_the_list_is_read() {
        let mut bytes = packed(&[("a", b"a")]);
        assert!(open(bytes.as_slice(), 1).is_ok());
        assert_eq!(open(bytes.as_slice(), 0).err(), Some(NoArchive::TooLarge));
        bytes.truncate(bytes.len() / 2);
        assert_eq!(open(bytes.as_slice(), 9).err(), Some(NoArchive::Damaged));
    }
}
