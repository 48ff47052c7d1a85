//! One cell → one value. What is wrong is told as what was expected.

use chrono::{Datelike, NaiveDate};
use serde::de::value::StrDeserializer;
use serde::de::{Deserialize, IntoDeserializer};

use crate::study::guard::YEARS;

/// Longest text of a cell, in characters.
const LONGEST: usize = 5_000;

/// Longest number, in characters: more than any program writes.
const LONGEST_NUMBER: usize = 40;

/// A number with a point or a comma, as a spreadsheet or a program writes it, with an exponent if need
/// be. No thousands separators: their meaning differs between countries.
///
/// # Errors
/// What was expected.
pub fn number(text: &str) -> Result<f64, String> {
    let plain = text.replace(',', ".").replace('−', "-");
    let mantissa = plain.split(['e', 'E']).next().unwrap_or_default();
    let is_shaped = plain
        .chars()
        .all(|c| c.is_ascii_digit() || ".-+eE".contains(c))
        && mantissa.chars().any(|c| c.is_ascii_digit());
    if text.chars().filter(|c| matches!(c, '.' | ',')).count() > 1 {
        return Err(format!(
            "{} is no plain number; expected one mark before the decimals and none between thousands, \
             such as 1234.5 or 1234,5.",
            quoted(text)
        ));
    }
    let value: Option<f64> = plain.parse().ok();
    match value.filter(|v| is_shaped && v.is_finite() && text.len() <= LONGEST_NUMBER) {
        Some(value) => Ok(value),
        None => Err(format!(
            "{} is no number; expected one such as 12.34 or 12,34, without a unit.",
            quoted(text)
        )),
    }
}

/// A number above zero.
///
/// # Errors
/// What was expected.
pub fn positive(text: &str) -> Result<f64, String> {
    let value = number(text)?;
    if value > 0.0 {
        Ok(value)
    } else {
        Err(format!(
            "{text} is not above zero; expected a value above zero."
        ))
    }
}

/// A number of at least zero.
///
/// # Errors
/// What was expected.
pub fn not_negative(text: &str) -> Result<f64, String> {
    let value = number(text)?;
    if value >= 0.0 {
        Ok(value)
    } else {
        Err(format!("{text} is below zero; expected zero or more."))
    }
}

/// Whole days of a stage.
///
/// # Errors
/// What was expected.
pub fn days(text: &str) -> Result<u32, String> {
    let value = number(text).ok().filter(|v| v.fract() == 0.0);
    match value.filter(|v| (1.0..=36_525.0).contains(v)) {
        // In range and whole.
        Some(value) => Ok(value as u32),
        None => Err(format!(
            "{} is no number of days; expected a whole number from 1 to 36525.",
            quoted(text)
        )),
    }
}

/// A count from 0.
///
/// # Errors
/// What was expected.
pub fn count(text: &str) -> Result<u32, String> {
    text.parse().map_err(|_| {
        format!(
            "{} is no whole number; expected one such as 3.",
            quoted(text)
        )
    })
}

/// A day as `2025-03-04` or `4.3.2025`.
///
/// # Errors
/// What was expected.
pub fn day(text: &str) -> Result<NaiveDate, String> {
    ["%Y-%m-%d", "%d.%m.%Y"]
        .iter()
        .find_map(|form| NaiveDate::parse_from_str(text, form).ok())
        .filter(|day| YEARS.contains(&day.year()))
        .ok_or_else(|| {
            format!(
                "{} is no day; expected one such as 2025-03-04 or 4.3.2025.",
                quoted(text)
            )
        })
}

/// `yes` or `no`.
///
/// # Errors
/// What was expected.
pub fn claim(text: &str) -> Result<bool, String> {
    match text.to_ascii_lowercase().as_str() {
        "yes" | "true" | "1" => Ok(true),
        "no" | "false" | "0" => Ok(false),
        _ => Err(format!("{} is neither; expected yes or no.", quoted(text))),
    }
}

/// Words, of a length that a page can show. The apostrophe that keeps a spreadsheet from taking words
/// for a formula is taken off again.
///
/// # Errors
/// What was expected.
pub fn words(text: &str) -> Result<String, String> {
    let text = match text.strip_prefix('\'') {
        Some(rest) if rest.starts_with(['=', '+', '-', '@']) => rest,
        _ => text,
    };
    if text.chars().count() > LONGEST {
        return Err(format!("This is longer than {LONGEST} characters."));
    }
    Ok(text.to_owned())
}

/// One of a closed list, by the key under which it is stored.
///
/// # Errors
/// The list.
pub fn one_of<T>(text: &str, offered: &[&str]) -> Result<T, String>
where
    T: for<'de> Deserialize<'de>,
{
    let text = text.to_ascii_lowercase();
    keyed(&text).ok_or_else(|| expected(&text, offered))
}

/// The sentence for a word that is not in a closed list.
#[must_use]
pub fn expected(text: &str, offered: &[&str]) -> String {
    format!(
        "{} is not among those known; expected one of {}.",
        quoted(text),
        offered.join(", ")
    )
}

/// The value stored under a key.
#[must_use]
pub fn keyed<T>(key: &str) -> Option<T>
where
    T: for<'de> Deserialize<'de>,
{
    let source: StrDeserializer<'_, serde::de::value::Error> = key.into_deserializer();
    T::deserialize(source).ok()
}

/// What stands in the cell, cut to what a line of a message holds.
#[must_use]
pub fn quoted(text: &str) -> String {
    let mut short: String = text.chars().filter(|c| !c.is_control()).take(40).collect();
    if text.chars().count() > 40 {
        short.push('…');
    }
    format!("“{short}”")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_as_spreadsheets_and_programs_write_them() {
        for (text, value) in [
            ("12.5", 12.5),
            ("12,5", 12.5),
            ("−0,5", -0.5),
            ("0.08333333333333333", 1.0 / 12.0),
            ("1,2E-03", 0.0012),
            ("+7", 7.0),
        ] {
            assert_eq!(number(text), Ok(value), "{text}");
        }
        for text in [
            "", "NaN", "inf", "1.234,5", "1 000", "12g", "0x1", "١٢", ".", "-", "1e999", "e5",
        ] {
            assert!(number(text).is_err(), "{text}");
        }
        assert!(number("1.234.567").unwrap_err().contains("thousands"));
    }

    #[test]
    fn days_are_read_year_first_or_with_points() {
        let day_of = |y, m, d| NaiveDate::from_ymd_opt(y, m, d).unwrap();
        assert_eq!(day("2025-03-04"), Ok(day_of(2025, 3, 4)));
        assert_eq!(day("4.3.2025"), Ok(day_of(2025, 3, 4)));
        assert!(day("3/4/2025").is_err());
        assert!(day("4.3.0202").is_err() && day("9999-01-01").is_err());
    }

    #[test]
    fn an_apostrophe_against_formulas_is_taken_off() {
        assert_eq!(words("'=SUM(A1)").as_deref(), Ok("=SUM(A1)"));
        assert_eq!(words("'tis").as_deref(), Ok("'tis"));
        assert!(words(&"x".repeat(5_001)).is_err());
    }
}
