//! Units as machines write them, and what one of them is in N, mm, s, MPa and 1.

/// What is measured in a unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// In N.
    Force,
    /// In mm.
    Length,
    /// In s.
    Time,
    /// In MPa.
    Stress,
    /// Pure number.
    Strain,
}

/// A unit that a column may have.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// As it is written, and its name in forms and in what is remembered.
    pub symbol: &'static str,
    /// What it measures.
    pub measure: Measure,
    /// One of it in the unit used inside.
    pub factor: f64,
}

const fn unit(symbol: &'static str, measure: Measure, factor: f64) -> Unit {
    Unit {
        symbol,
        measure,
        factor,
    }
}

/// All units, the one used inside first for each measure.
///
/// # Source
/// Exact by definition: kilogram-force from 9.80665 m/s² (CGPM 1901), pound 0.45359237 kg and inch
/// 25.4 mm (agreement of 1959).
pub const ALL: [Unit; 34] = {
    use Measure::{Force, Length, Strain, Stress, Time};
    [
        unit("N", Force, 1.0),
        unit("kN", Force, 1e3),
        unit("mN", Force, 1e-3),
        unit("cN", Force, 1e-2),
        unit("daN", Force, 10.0),
        unit("MN", Force, 1e6),
        unit("kgf", Force, 9.806_65),
        unit("gf", Force, 9.806_65e-3),
        unit("lbf", Force, 4.448_221_615_260_5),
        unit("klbf", Force, 4_448.221_615_260_5),
        unit("ozf", Force, 0.278_013_850_953_781_2),
        unit("mm", Length, 1.0),
        unit("µm", Length, 1e-3),
        unit("cm", Length, 10.0),
        unit("m", Length, 1e3),
        unit("in", Length, 25.4),
        unit("mil", Length, 0.0254),
        unit("s", Time, 1.0),
        unit("ms", Time, 1e-3),
        unit("min", Time, 60.0),
        unit("h", Time, 3600.0),
        unit("MPa", Stress, 1.0),
        unit("N/mm²", Stress, 1.0),
        unit("kPa", Stress, 1e-3),
        unit("Pa", Stress, 1e-6),
        unit("GPa", Stress, 1e3),
        unit("kgf/mm²", Stress, 9.806_65),
        unit("psi", Stress, 6.894_757_293_168_361e-3),
        unit("ksi", Stress, 6.894_757_293_168_361),
        unit("%", Strain, 1e-2),
        unit("mm/mm", Strain, 1.0),
        unit("µm/m", Strain, 1e-6),
        unit("‰", Strain, 1e-3),
        unit("in/in", Strain, 1.0),
    ]
};

/// Other spellings, in lower case, of the symbols above.
const ALSO: [(&str, &str); 44] = [
    ("newton", "N"),
    ("newtons", "N"),
    ("kilonewton", "kN"),
    ("kp", "kgf"),
    ("kg", "kgf"),
    ("kg-f", "kgf"),
    ("kg-force", "kgf"),
    ("kilopond", "kgf"),
    ("g", "gf"),
    ("g-force", "gf"),
    ("lb", "lbf"),
    ("lbs", "lbf"),
    ("lb-f", "lbf"),
    ("pound", "lbf"),
    ("pounds", "lbf"),
    ("kip", "klbf"),
    ("oz", "ozf"),
    ("millimeter", "mm"),
    ("millimetre", "mm"),
    ("um", "µm"),
    ("μm", "µm"),
    ("micron", "µm"),
    ("microns", "µm"),
    ("inch", "in"),
    ("inches", "in"),
    ("\"", "in"),
    ("sec", "s"),
    ("sec.", "s"),
    ("sek", "s"),
    ("second", "s"),
    ("seconds", "s"),
    ("sekunden", "s"),
    ("secondes", "s"),
    ("msec", "ms"),
    ("minutes", "min"),
    ("n/mm2", "N/mm²"),
    ("n/mm^2", "N/mm²"),
    ("n/mm**2", "N/mm²"),
    ("kp/mm2", "kgf/mm²"),
    ("percent", "%"),
    ("prozent", "%"),
    ("m/m", "mm/mm"),
    ("microstrain", "µm/m"),
    ("µε", "µm/m"),
];

/// The unit that a text names, with or without brackets around it.
///
/// Capitals count where they tell units apart (mN and MN) and not otherwise.
#[must_use]
pub fn parse(text: &str) -> Option<Unit> {
    let bare = text
        .trim()
        .trim_matches(|sign| "[](){}<>".contains(sign))
        .trim();
    if bare.is_empty() || bare.len() > 16 {
        return None;
    }
    if let Some(found) = by_symbol(bare) {
        return Some(found);
    }
    let low = bare.to_lowercase();
    if let Some((_, symbol)) = ALSO.iter().find(|(spelling, _)| *spelling == low) {
        return by_symbol(symbol);
    }
    let mut alike = ALL.iter().filter(|unit| unit.symbol.to_lowercase() == low);
    // MN and mN, each written otherwise: too far apart to guess.
    let found = alike.next()?;
    alike.next().is_none().then_some(*found)
}

/// The unit of exactly this symbol.
#[must_use]
pub fn by_symbol(symbol: &str) -> Option<Unit> {
    ALL.iter().find(|unit| unit.symbol == symbol).copied()
}

/// The unit used inside for a measure.
#[must_use]
pub fn inside(measure: Measure) -> Unit {
    let found = ALL.iter().find(|unit| unit.measure == measure);
    found.copied().unwrap_or(unit("N", Measure::Force, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Trade handbook 3.17 (exact by definition).
    #[test]
    fn spellings_and_factors() {
        for (text, symbol, factor) in [
            ("[kN]", "kN", 1000.0),
            ("(lbf)", "lbf", 4.4482216152605),
            ("Kg", "kgf", 9.80665),
            ("N/mm2", "N/mm²", 1.0),
            ("μm", "µm", 0.001),
            ("psi", "psi", 0.006894757293168),
            ("NEWTON", "N", 1.0),
            ("mN", "mN", 0.001),
            ("MN", "MN", 1e6),
            (" mm ", "mm", 1.0),
            ("MPA", "MPa", 1.0),
        ] {
            let unit = parse(text).unwrap();
            assert_eq!(unit.symbol, symbol, "{text}");
            assert!((unit.factor / factor - 1.0).abs() < 1e-12, "{text}");
        }
        for text in ["", "Mn", "furlong", "N m N m N m N m N m"] {
            assert_eq!(parse(text), None, "{text}");
        }
    }
}
