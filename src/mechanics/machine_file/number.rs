//! One cell as a number, with a decimal point or a decimal comma.

/// The mark between the whole part and the fraction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decimal {
    /// 12.5
    Point,
    /// 12,5
    Comma,
}

impl Decimal {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Point, Self::Comma];

    /// The name in forms and in what is remembered.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Point => "point",
            Self::Comma => "comma",
        }
    }

    /// As it is told.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Point => "decimal point (12.5)",
            Self::Comma => "decimal comma (12,5)",
        }
    }

    /// Reads [`Decimal::key`].
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.key() == key)
    }

    fn sign(self) -> u8 {
        match self {
            Self::Point => b'.',
            Self::Comma => b',',
        }
    }
}

/// A number as wide as this is none that a machine writes.
const WIDEST: usize = 40;

/// The number that a trimmed cell is, if it is one: finite, with its sign, fraction and exponent,
/// its thousands parted by the other mark, a blank of fixed width or an apostrophe.
#[must_use]
pub fn parse(cell: &str, decimal: Decimal) -> Option<f64> {
    if let Some(value) = short(cell.as_bytes(), decimal.sign()) {
        return Some(value);
    }
    let mut buffer = [0u8; WIDEST];
    let mut length = 0;
    // Digits since the last mark of thousands; `None` before the first one.
    let mut group: Option<usize> = None;
    let (mut digits, mut is_whole) = (0, true);
    for sign in cell.chars() {
        let kept = match sign {
            '0'..='9' => {
                digits += usize::from(is_whole);
                group = group.map(|count| count + usize::from(is_whole));
                sign as u8
            }
            _ if u32::from(sign) == u32::from(decimal.sign()) && is_whole => {
                is_whole = false;
                b'.'
            }
            '.' | ',' | '\'' | '\u{2019}' | '\u{a0}' | '\u{202f}' | '\u{2009}' if is_whole => {
                let leads = buffer.iter().find(|kept| kept.is_ascii_digit());
                let is_first = group.is_none() && (1..=3).contains(&digits) && leads != Some(&b'0');
                if !is_first && group != Some(3) {
                    return None;
                }
                group = Some(0);
                continue;
            }
            'e' | 'E' | 'd' | 'D' => {
                is_whole = false;
                b'e'
            }
            '-' | '\u{2212}' | '\u{2013}' => b'-',
            '+' => b'+',
            _ => return None,
        };
        *buffer.get_mut(length)? = kept;
        length += 1;
    }
    if group.is_some_and(|count| count != 3) {
        return None;
    }
    finite(std::str::from_utf8(buffer.get(..length)?).ok()?)
}

/// Powers of ten that are exact in a double.
const TENS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// A number of digits and one mark only, short enough that one division rounds it rightly; most
/// numbers of a file are so, and this is what makes a long file quick to read.
///
/// # Source
/// Clinger, How to read floating point numbers accurately, PLDI 1990: whole numbers below 2⁵³ and
/// powers of ten to 10²² are exact, and IEEE 754 rounds their quotient correctly.
fn short(cell: &[u8], mark: u8) -> Option<f64> {
    let (is_negative, cell) = match cell {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        _ => (false, cell),
    };
    let (mut whole, mut digits, mut places, mut is_past_mark) = (0u64, 0usize, 0usize, false);
    for byte in cell {
        match byte {
            b'0'..=b'9' => {
                whole = whole * 10 + u64::from(byte - b'0');
                digits += 1;
                places += usize::from(is_past_mark);
            }
            _ if *byte == mark && !is_past_mark => is_past_mark = true,
            _ => return None,
        }
        if digits > 18 {
            return None;
        }
    }
    if digits == 0 || whole >= 1 << 53 {
        return None;
    }
    let value = whole as f64 / TENS.get(places)?;
    Some(if is_negative { -value } else { value })
}

fn finite(text: &str) -> Option<f64> {
    text.parse().ok().filter(|value: &f64| value.is_finite())
}

/// A number with one mark in it that need not be one of thousands: `1,234` is read with a decimal
/// point as 1234 and is more likely written with a decimal comma.
#[must_use]
pub fn is_doubtful(cell: &str, decimal: Decimal) -> bool {
    let other = match decimal {
        Decimal::Point => b',',
        Decimal::Comma => b'.',
    };
    let count = |sign: u8| cell.bytes().filter(|byte| *byte == sign).count();
    count(other) == 1 && count(decimal.sign()) == 0
}

/// A number with its unit in the same cell, as `12.5 N`: the number and the unit's text.
#[must_use]
pub fn with_unit(cell: &str, decimal: Decimal) -> Option<(f64, &str)> {
    let end = cell.rfind(|sign: char| sign.is_ascii_digit())?;
    let (number, unit) = cell.split_at_checked(end + 1)?;
    let value = parse(number.trim(), decimal)?;
    let unit = unit.trim();
    (!unit.is_empty()).then_some((value, unit))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The standard library's parser is the reference: the same bits.
    #[test]
    fn the_short_way_rounds_as_the_long_one() {
        let mut seed = 88_172_645_463_325_252u64;
        for _ in 0..100_000 {
            seed ^= seed << 13;
            seed ^= seed >> 7;
            seed ^= seed << 17;
            let whole = (seed >> 11).to_string();
            let (left, right) = whole.split_at(whole.len().min(seed as usize % 10));
            let text = format!("-{left}.{right}");
            let want: f64 = text.parse().unwrap();
            assert_eq!(short(text.as_bytes(), b'.'), Some(want), "{text}");
        }
        assert_eq!(short(b".", b'.'), None);
        assert_eq!(short(b"1234567890123456789", b'.'), None);
    }

    #[test]
    fn points_commas_and_thousands() {
        use Decimal::{Comma, Point};
        for (cell, decimal, want) in [
            ("12.5", Point, Some(12.5)),
            ("-1.5E-03", Point, Some(-0.0015)),
            ("+7", Point, Some(7.0)),
            ("5.", Point, Some(5.0)),
            (".5", Point, Some(0.5)),
            ("12,5", Comma, Some(12.5)),
            ("1,5e2", Comma, Some(150.0)),
            ("1.5D+02", Point, Some(150.0)),
            ("1,234.5", Point, Some(1234.5)),
            ("1.234.567,25", Comma, Some(1_234_567.25)),
            ("1\u{202f}234,5", Comma, Some(1234.5)),
            ("1'234.5", Point, Some(1234.5)),
            ("\u{2212}3.5", Point, Some(-3.5)),
            ("0.52", Comma, None),
            ("0,174", Point, None),
            ("1,234", Point, Some(1234.0)),
            ("1,5", Point, None),
            ("1,23,4", Point, None),
            ("1.5.2", Point, None),
            ("12:30", Point, None),
            ("nan", Point, None),
            ("inf", Point, None),
            ("1e999", Point, None),
            ("", Point, None),
            ("-", Point, None),
            ("e5", Point, None),
            ("N", Comma, None),
        ] {
            assert_eq!(parse(cell, decimal), want, "{cell}");
        }
        assert_eq!(with_unit("12,5 N", Comma), Some((12.5, "N")));
        assert_eq!(with_unit("-0.25mm", Point), Some((-0.25, "mm")));
        assert_eq!(with_unit("12.5", Point), None);
    }
}
