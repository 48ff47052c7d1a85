//! Quantities and units: SI inside, the value as typed and its unit kept beside it.

use serde::{Deserialize, Serialize};

use super::fault::Fault;

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Dimension {
    /// Mass; inside in grams.
    Mass,
    /// Length; inside in millimetres.
    Length,
    /// Force; inside in newtons.
    Force,
}

impl Dimension {
    /// As stored and sent.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Mass => "mass",
            Self::Length => "length",
            Self::Force => "force",
        }
    }

    /// Reads the key.
    #[must_use]
    pub fn parse(key: &str) -> Option<Self> {
        [Self::Mass, Self::Length, Self::Force]
            .into_iter()
            .find(|d| d.key() == key)
    }
}

/// A unit that a form offers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Unit {
    /// Milligram.
    #[serde(rename = "mg")]
    Milligram,
    /// Gram.
    #[serde(rename = "g")]
    Gram,
    /// Kilogram.
    #[serde(rename = "kg")]
    Kilogram,
    /// Grain, 64.79891 mg.
    #[serde(rename = "gr")]
    Grain,
    /// Avoirdupois ounce, 28.349523125 g.
    #[serde(rename = "oz")]
    Ounce,
    /// Avoirdupois pound, 453.59237 g.
    #[serde(rename = "lb")]
    Pound,
    /// Micrometre.
    #[serde(rename = "um")]
    Micrometre,
    /// Millimetre.
    #[serde(rename = "mm")]
    Millimetre,
    /// Centimetre.
    #[serde(rename = "cm")]
    Centimetre,
    /// Thousandth of an inch, 25.4 µm.
    #[serde(rename = "mil")]
    Mil,
    /// Inch, 25.4 mm.
    #[serde(rename = "in")]
    Inch,
    /// Newton.
    #[serde(rename = "N")]
    Newton,
    /// Kilonewton.
    #[serde(rename = "kN")]
    Kilonewton,
    /// Kilogram-force, 9.80665 N.
    #[serde(rename = "kgf")]
    KilogramForce,
    /// Gram-force, 0.00980665 N: what a hook scale shows as g when it is pulled.
    #[serde(rename = "gf")]
    GramForce,
    /// Pound-force, 4.4482216152605 N.
    #[serde(rename = "lbf")]
    PoundForce,
}

use Unit::*;

/// Every unit, in the order in which forms list them.
pub const ALL: [Unit; 16] = [
    Gram,
    Milligram,
    Kilogram,
    Grain,
    Ounce,
    Pound,
    Millimetre,
    Micrometre,
    Centimetre,
    Inch,
    Mil,
    Newton,
    Kilonewton,
    KilogramForce,
    GramForce,
    PoundForce,
];

impl Unit {
    /// What it measures.
    #[must_use]
    pub fn dimension(self) -> Dimension {
        match self {
            Milligram | Gram | Kilogram | Grain | Ounce | Pound => Dimension::Mass,
            Micrometre | Millimetre | Centimetre | Mil | Inch => Dimension::Length,
            Newton | Kilonewton | KilogramForce | GramForce | PoundForce => Dimension::Force,
        }
    }

    /// As printed.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Milligram => "mg",
            Gram => "g",
            Kilogram => "kg",
            Grain => "gr",
            Ounce => "oz",
            Pound => "lb",
            Micrometre => "µm",
            Millimetre => "mm",
            Centimetre => "cm",
            Mil => "mil",
            Inch => "in",
            Newton => "N",
            Kilonewton => "kN",
            KilogramForce => "kgf",
            GramForce => "gf",
            PoundForce => "lbf",
        }
    }

    /// Converts to grams, millimetres or newtons.
    ///
    /// # Source
    /// Exact by definition: inch 25.4 mm and pound 453.59237 g (1959 agreement), standard gravity
    /// 9.80665 m/s² (CGPM 1901).
    #[must_use]
    pub fn to_si(self, value: f64) -> f64 {
        match self {
            Milligram => value / 1000.0,
            Micrometre => value / 1000.0,
            Gram | Millimetre | Newton => value,
            Kilogram | Kilonewton => value * 1000.0,
            Grain => value * 0.064_798_91,
            Ounce => value * 28.349_523_125,
            Pound => value * 453.592_37,
            Centimetre => value * 10.0,
            Mil => value * 0.0254,
            Inch => value * 25.4,
            KilogramForce => value * 9.806_65,
            GramForce => value * 0.009_806_65,
            PoundForce => value * 4.448_221_615_260_5,
        }
    }

    /// The units that measure a dimension.
    pub fn of(dimension: Dimension) -> impl Iterator<Item = Self> {
        ALL.into_iter()
            .filter(move |unit| unit.dimension() == dimension)
    }

    /// Reads the symbol of a unit of the given dimension.
    ///
    /// # Errors
    /// A [`Fault`] that lists what would do; a mass unit where a force is meant is told apart.
    pub fn parse(field: &str, text: &str, dimension: Dimension) -> Result<Self, Fault> {
        let found = Self::of(dimension).find(|unit| unit.key() == text || unit.symbol() == text);
        found.ok_or_else(|| {
            let offered: Vec<_> = Self::of(dimension).map(Self::symbol).collect();
            Fault::new(
                field,
                format!("The unit must be one of {}.", offered.join(", ")),
            )
        })
    }

    /// As stored and sent (ASCII).
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Micrometre => "um",
            other => other.symbol(),
        }
    }
}

/// A number as somebody typed it, with its unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AsTyped {
    /// The characters typed.
    pub text: String,
    /// The unit chosen.
    pub unit: Unit,
}

/// Reads a decimal number with a point or a comma. Nothing else is a number: no exponents, no
/// thousands separators (whose meaning differs between countries), no `NaN`.
///
/// # Errors
/// A [`Fault`] that says what was wrong with it.
pub fn number(field: &str, called: &str, text: &str) -> Result<f64, Fault> {
    let text = text.trim();
    if text.is_empty() {
        return Err(Fault::new(field, format!("{called} is missing.")));
    }
    let body = text.strip_prefix(['-', '−', '+']).unwrap_or(text);
    let marks = body.chars().filter(|c| matches!(c, '.' | ',')).count();
    let digits = body.chars().filter(char::is_ascii_digit).count();
    if digits == 0 || digits + marks != body.chars().count() || marks > 1 {
        let sentence =
            format!("{called} must be one number such as 12.34 or 12,34, without other signs.");
        return Err(Fault::new(field, sentence));
    }
    if digits > 17 {
        return Err(Fault::new(
            field,
            format!("{called} has more digits than any instrument."),
        ));
    }
    let plain = text.replace(',', ".").replace('−', "-");
    plain
        .parse()
        .map_err(|_| Fault::new(field, format!("{called} is not a number.")))
}

/// Reads a positive number.
///
/// # Errors
/// As [`number`], and when it is not above zero.
pub fn positive(field: &str, called: &str, text: &str) -> Result<f64, Fault> {
    let value = number(field, called, text)?;
    if value > 0.0 {
        Ok(value)
    } else {
        Err(Fault::new(field, format!("{called} must be above zero.")))
    }
}

/// Reads a positive number, or nothing when the field is empty.
///
/// # Errors
/// As [`positive`].
pub fn optional(field: &str, called: &str, text: &str) -> Result<Option<f64>, Fault> {
    if text.trim().is_empty() {
        Ok(None)
    } else {
        positive(field, called, text).map(Some)
    }
}

/// Reads a whole number within bounds.
///
/// # Errors
/// A [`Fault`] that names the bounds.
pub fn whole(field: &str, called: &str, text: &str, from: u32, to: u32) -> Result<u32, Fault> {
    let text = text.trim();
    let value = text.parse::<u32>().ok().filter(|n| (from..=to).contains(n));
    value.ok_or_else(|| {
        Fault::new(
            field,
            format!("{called} must be a whole number from {from} to {to}."),
        )
    })
}

/// A number with so many significant digits at most, without trailing zeros: for sentences and for
/// filling fields, never for results.
#[must_use]
pub fn in_digits(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return "0".to_owned();
    }
    #[expect(
        clippy::cast_possible_truncation,
        reason = "the exponent of a finite number fits"
    )]
    let exponent = value.abs().log10().floor() as i32;
    let places = usize::try_from(digits - 1 - exponent).unwrap_or(0);
    let text = format!("{value:.places$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn point_and_comma_are_the_same_number() {
        for text in ["12.34", "12,34", " 12,34 ", "+12.34"] {
            assert_eq!(number("m", "The mass", text).unwrap(), 12.34);
        }
        assert_eq!(number("m", "The mass", "−0,5").unwrap(), -0.5);
    }

    #[test]
    fn what_is_no_plain_number_is_refused() {
        for text in [
            "", "1e400", "NaN", "inf", "1.234,5", "1 000", "12g", "0x1", "١٢", ".", "-",
        ] {
            assert!(number("m", "The mass", text).is_err(), "{text}");
        }
        assert!(positive("m", "The mass", "0").is_err());
        assert!(number("m", "The mass", &"9".repeat(400)).is_err());
    }

    #[test]
    fn conversions_are_exact_by_definition() {
        // Definitions: 1959 yard and pound agreement; CGPM 1901.
        assert_eq!(PoundForce.to_si(1.0), 4.448_221_615_260_5);
        assert_eq!(KilogramForce.to_si(1.0), 9.806_65);
        assert_eq!(Inch.to_si(1.0), 25.4);
        assert_eq!(Ounce.to_si(16.0), Pound.to_si(1.0));
        assert!((Grain.to_si(7000.0) - Pound.to_si(1.0)).abs() < 1e-9);
    }

    #[test]
    fn numbers_in_sentences_keep_their_digits_and_no_more() {
        for (value, text) in [
            (402.0, "402"),
            (40.25, "40.25"),
            (0.012_346, "0.01235"),
            (123_456.0, "123456"),
            (-2.5, "-2.5"),
            (0.0, "0"),
        ] {
            assert_eq!(in_digits(value, 4), text);
        }
    }

    #[test]
    fn a_mass_unit_is_not_a_force() {
        assert!(Unit::parse("unit", "kg", Dimension::Force).is_err());
        assert_eq!(
            Unit::parse("unit", "kgf", Dimension::Force),
            Ok(KilogramForce)
        );
    }
}
