//! Bytes to text: which encoding a machine wrote in, and what is no text at all.

use super::Unreadable;
use encoding_rs::{UTF_16BE, UTF_16LE, WINDOWS_1252};
use std::borrow::Cow;

/// The largest file that is read, in bytes; the largest that can be kept, too.
pub const LARGEST: usize = 32 << 20;

/// How the text of a file was stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8, with or without its mark; ASCII as well.
    Utf8,
    /// UTF-16, low byte first.
    Utf16Le,
    /// UTF-16, high byte first.
    Utf16Be,
    /// Latin-1, read as its superset Windows-1252.
    Latin1,
}

impl Encoding {
    /// The usual name.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Utf8 => "UTF-8",
            Self::Utf16Le | Self::Utf16Be => "UTF-16",
            Self::Latin1 => "Latin-1",
        }
    }
}

/// The text of a file and how it was stored. UTF-8 is borrowed, all else copied.
///
/// # Errors
/// Empty, too large, a spreadsheet's own format, or not text.
pub fn decode(bytes: &[u8]) -> Result<(Cow<'_, str>, Encoding), Unreadable> {
    if bytes.len() > LARGEST {
        return Err(Unreadable::TooLarge);
    }
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return Err(Unreadable::Empty);
    }
    // The heads of a zip archive and of a compound document: what spreadsheets write.
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(&[0xD0, 0xCF, 0x11, 0xE0]) {
        return Err(Unreadable::Spreadsheet);
    }
    let (text, encoding) = by_encoding(bytes);
    if is_binary(&text) {
        return Err(Unreadable::NotText);
    }
    Ok((text, encoding))
}

fn by_encoding(bytes: &[u8]) -> (Cow<'_, str>, Encoding) {
    let wide = |little: bool, bytes| {
        let (encoding, kind) = if little {
            (UTF_16LE, Encoding::Utf16Le)
        } else {
            (UTF_16BE, Encoding::Utf16Be)
        };
        (encoding.decode_with_bom_removal(bytes).0, kind)
    };
    if bytes.starts_with(&[0xFF, 0xFE]) {
        return wide(true, bytes);
    }
    if bytes.starts_with(&[0xFE, 0xFF]) {
        return wide(false, bytes);
    }
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    if let Some(little) = unmarked_utf16(bytes) {
        return wide(little, bytes);
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => (Cow::Borrowed(text), Encoding::Utf8),
        // A file cut off within its last character is still UTF-8.
        Err(fault) if fault.error_len().is_none() => {
            let whole = bytes.get(..fault.valid_up_to()).unwrap_or_default();
            (String::from_utf8_lossy(whole), Encoding::Utf8)
        }
        Err(_) => {
            let (text, _) = WINDOWS_1252.decode_without_bom_handling(bytes);
            (text, Encoding::Latin1)
        }
    }
}

/// Numbers in UTF-16 have a zero in every second byte; `Some(true)` when the low byte comes first.
fn unmarked_utf16(bytes: &[u8]) -> Option<bool> {
    let head = bytes.get(..bytes.len().min(4096)).unwrap_or_default();
    let zeros = |odd: usize| {
        let every_second = head.iter().skip(odd).step_by(2);
        every_second.filter(|byte| **byte == 0).count()
    };
    let (even, odd, half) = (zeros(0), zeros(1), head.len() / 2);
    match () {
        () if half >= 4 && odd * 10 > half * 7 && even * 10 < half => Some(true),
        () if half >= 4 && even * 10 > half * 7 && odd * 10 < half => Some(false),
        () => None,
    }
}

/// More than one sign in a hundred is one that no text holds.
fn is_binary(text: &str) -> bool {
    let head = text.as_bytes();
    let head = head.get(..head.len().min(1 << 16)).unwrap_or_default();
    let strange = |byte: &&u8| byte.is_ascii_control() && !b"\t\r\n\x0B\x0C\x1A".contains(byte);
    let count = head.iter().filter(strange).count();
    head.contains(&0) && count * 20 > head.len() || count * 100 > head.len()
}

/// The lines of a text, whichever of the three line ends it has, numbered from 1.
pub fn lines(text: &str) -> impl Iterator<Item = (u32, &str)> {
    let end = if text.as_bytes().contains(&b'\n') {
        '\n'
    } else {
        '\r'
    };
    let bared = text.split(end).map(|line| {
        let line = line.strip_suffix('\r').unwrap_or(line);
        line.strip_suffix('\u{1a}').unwrap_or(line)
    });
    (1..).zip(bared)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utf16(text: &str, little: bool) -> Vec<u8> {
        let bytes = |unit: u16| {
            if little {
                unit.to_le_bytes()
            } else {
                unit.to_be_bytes()
            }
        };
        text.encode_utf16().flat_map(bytes).collect()
    }

    #[test]
    fn each_encoding_is_known_by_its_bytes() {
        let text = "Zeit;Kraft\n0,1;12,5\n0,2;13,5\n";
        let told = |bytes: &[u8]| {
            let (text, encoding) = decode(bytes).unwrap();
            (text.into_owned(), encoding)
        };
        assert_eq!(told(text.as_bytes()), (text.into(), Encoding::Utf8));
        let marked = ["\u{feff}", text].concat();
        assert_eq!(told(marked.as_bytes()), (text.into(), Encoding::Utf8));
        assert_eq!(told(&utf16(&marked, true)).1, Encoding::Utf16Le);
        assert_eq!(
            told(&utf16(&marked, false)),
            (text.into(), Encoding::Utf16Be)
        );
        assert_eq!(told(&utf16(text, true)), (text.into(), Encoding::Utf16Le));
        assert_eq!(told(&utf16(text, false)), (text.into(), Encoding::Utf16Be));
        // "Längenänderung in µm" in ISO 8859-1.
        let latin = told(b"L\xE4ngen\xE4nderung in \xB5m\n");
        assert_eq!(latin, ("Längenänderung in µm\n".into(), Encoding::Latin1));
        // UTF-8 cut off within the last character.
        assert_eq!(told(b"12 \xC2"), ("12 ".into(), Encoding::Utf8));
    }

    #[test]
    fn what_is_no_text_is_named() {
        assert_eq!(decode(b" \r\n").unwrap_err(), Unreadable::Empty);
        assert_eq!(
            decode(b"PK\x03\x04rest").unwrap_err(),
            Unreadable::Spreadsheet
        );
        assert_eq!(
            decode(&[1, 2, 3, 0, 4, 5, 0, 6]).unwrap_err(),
            Unreadable::NotText
        );
    }

    #[test]
    fn all_line_ends_count() {
        for text in ["a\nb\nc", "a\r\nb\r\nc", "a\rb\rc"] {
            let read: Vec<_> = lines(text).collect();
            assert_eq!(read, [(1, "a"), (2, "b"), (3, "c")]);
        }
    }
}
