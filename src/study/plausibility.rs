//! Does a reading look right? It is held against its siblings, the piece's own earlier reading and
//! the material's density. Nothing here refuses: a doubt is asked about once, and what is confirmed is
//! kept with that mark.

use std::f64::consts::PI;
use std::fmt;

use super::plan::Shape;
use super::units::Unit;

/// A value this many robust standard deviations from its siblings' median is asked about (common
/// practice, no source).
pub const LIMIT_SD: f64 = 4.0;

/// From so many siblings on their spread is used. With fewer, the median deviation of a normal sample
/// is so uncertain that more than 4 in 100 good values would be asked about (own simulation, 20 000
/// draws: 9.8 % with 5 siblings, 3.4 % with 8, 1.0 % with 15).
pub const FEWEST: usize = 8;

/// A value so many times larger or smaller than expected is taken for a slip of the decimal mark or
/// of the unit (common practice, no source).
const SLIP: f64 = 5.0;

/// Largest change of the same piece, in %, that is not asked about (common practice, no source).
const OWN_CHANGE_PERCENT: f64 = 5.0;

/// Density that is not asked about, relative to the material's: solid pieces reach it, printed ones
/// lie below it (common practice, no source).
const DENSITY: std::ops::RangeInclusive<f64> = 0.60..=1.03;

/// The rules as a page gets them, to check while something is typed.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Rules {
    /// [`LIMIT_SD`].
    pub limit_sd: f64,
    /// [`FEWEST`].
    pub fewest: usize,
    /// How many times larger or smaller is taken for a slip.
    pub slip: f64,
    /// Largest change of the same piece that is not asked about, in %.
    pub own_percent: f64,
    /// Density that is not asked about, relative to the material's: from, to.
    pub density: (f64, f64),
}

/// The rules of this program.
pub const RULES: Rules = Rules {
    limit_sd: LIMIT_SD,
    fewest: FEWEST,
    slip: SLIP,
    own_percent: OWN_CHANGE_PERCENT,
    density: (*DENSITY.start(), *DENSITY.end()),
};

/// How the same reading came out on other pieces so far; values in g or mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Number of siblings.
    pub n: usize,
    /// Their median.
    pub median: f64,
    /// The smallest.
    pub smallest: f64,
    /// The largest.
    pub largest: f64,
    /// Robust standard deviation.
    pub robust_sd: f64,
}

impl Spread {
    /// Of the values of siblings; `None` when there are none.
    ///
    /// # Formula
    /// ```text
    /// robust SD = 1.4826 · median(|xᵢ − median(x)|)
    /// ```
    /// # Source
    /// Median absolute deviation, scaled to the standard deviation of a normal distribution:
    /// Rousseeuw and Croux, J. Am. Stat. Assoc. 88 (1993) 1273–1283 (from memory).
    #[must_use]
    pub fn of(values: &[f64]) -> Option<Self> {
        let mut sorted: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
        sorted.sort_by(f64::total_cmp);
        let (smallest, largest) = (*sorted.first()?, *sorted.last()?);
        let median = middle(&sorted)?;
        let mut away: Vec<f64> = sorted.iter().map(|v| (v - median).abs()).collect();
        away.sort_by(f64::total_cmp);
        Some(Self {
            n: sorted.len(),
            median,
            smallest,
            largest,
            robust_sd: 1.4826 * middle(&away)?,
        })
    }
}

/// The median of sorted values.
fn middle(sorted: &[f64]) -> Option<f64> {
    let half = sorted.len() / 2;
    let upper = *sorted.get(half)?;
    if sorted.len() % 2 == 1 {
        return Some(upper);
    }
    let lower = *sorted.get(half.checked_sub(1)?)?;
    Some(f64::midpoint(lower, upper))
}

/// How heavy and how large one piece is, as far as that is on record: mass in g, sizes in mm.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Body {
    /// Its mass.
    pub mass_g: Option<f64>,
    /// Width of a rectangular section.
    pub width_mm: Option<f64>,
    /// Thickness of a rectangular section.
    pub thickness_mm: Option<f64>,
    /// Diameter of a round section.
    pub diameter_mm: Option<f64>,
    /// Length of the whole piece.
    pub length_mm: Option<f64>,
}

impl Body {
    /// Its density in g/cm³, where the shape's volume is known: rectangular and round sections with
    /// their length. A dumbbell's volume and a whole part's are not.
    #[must_use]
    pub fn density_g_cm3(&self, shape: Shape) -> Option<f64> {
        let section_mm2 = match shape {
            Shape::Rectangular => self.width_mm? * self.thickness_mm?,
            Shape::Round => PI / 4.0 * self.diameter_mm?.powi(2),
            Shape::Dumbbell | Shape::LoadOnly => return None,
        };
        let volume_cm3 = section_mm2 * self.length_mm? / 1000.0;
        Some(self.mass_g? / volume_cm3).filter(|density| density.is_finite())
    }
}

/// What a value is held against; values in g or mm.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Expected {
    /// The siblings.
    pub siblings: Option<Spread>,
    /// The smallest step that the instrument shows.
    pub readability: f64,
    /// The plan's nominal value.
    pub nominal: Option<f64>,
    /// The same piece before exposure, in the same moisture state.
    pub own_before: Option<f64>,
    /// The piece's density with this value, and its material's, in g/cm³.
    pub density: Option<(f64, f64)>,
}

/// Why a value is asked about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Doubt {
    /// So many times what was expected (below 1: so small a part of it).
    Slip(f64),
    /// So many robust standard deviations from the siblings' median.
    FarFromSiblings(f64),
    /// Changed by so many % since before exposure.
    OwnChange(f64),
    /// The density that follows, and the material's, in g/cm³.
    Density(f64, f64),
}

/// Everything doubtful about a value; empty when it looks right.
#[must_use]
pub fn doubts(value: f64, expected: &Expected) -> Vec<Doubt> {
    let usual = expected.siblings.map(|spread| spread.median);
    let usual = usual.or(expected.own_before).or(expected.nominal);
    if let Some(times) = usual.map(|usual| value / usual)
        && !(1.0 / SLIP..=SLIP).contains(&times)
    {
        return vec![Doubt::Slip(times)];
    }
    let far = expected.siblings.and_then(|spread| {
        let step = robust_step(&spread, expected.readability)?;
        let away = (value - spread.median).abs() / step;
        (away > LIMIT_SD).then_some(Doubt::FarFromSiblings(away))
    });
    let changed = expected
        .own_before
        .map(|before| 100.0 * (value - before) / before)
        .filter(|percent| percent.abs() > OWN_CHANGE_PERCENT)
        .map(Doubt::OwnChange);
    let density = expected
        .density
        .filter(|(found, material)| !DENSITY.contains(&(found / material)))
        .map(|(found, material)| Doubt::Density(found, material));
    far.into_iter().chain(changed).chain(density).collect()
}

/// The values that would not be asked about for their siblings' sake: what a page can check while it
/// is typed.
#[must_use]
pub fn usual_range(expected: &Expected) -> Option<(f64, f64)> {
    let spread = expected.siblings;
    if let Some(spread) = spread
        && let Some(step) = robust_step(&spread, expected.readability)
    {
        let reach = LIMIT_SD * step;
        return Some((spread.median - reach, spread.median + reach));
    }
    let usual = spread.map(|spread| spread.median).or(expected.nominal)?;
    Some((usual / SLIP, usual * SLIP))
}

/// The siblings' robust standard deviation, never finer than one step of the instrument; `None` with
/// too few siblings.
fn robust_step(spread: &Spread, readability: f64) -> Option<f64> {
    let step = spread.robust_sd.max(readability);
    (spread.n >= FEWEST && step > 0.0).then_some(step)
}

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Slip(times) if *times >= 1.0 => write!(
                f,
                "This is about {times:.0} times what was expected; look at the decimal mark and the \
                 unit."
            ),
            Self::Slip(times) => write!(
                f,
                "What was expected is about {:.0} times this; look at the decimal mark and the unit.",
                1.0 / times
            ),
            Self::FarFromSiblings(away) => write!(
                f,
                "This lies {away:.0} robust standard deviations from the siblings' median."
            ),
            Self::OwnChange(percent) => write!(
                f,
                "This piece would have changed by {} % since before exposure.",
                signed(*percent, 1)
            ),
            Self::Density(found, material) => write!(
                f,
                "With its other readings the piece would have a density of {found:.2} g/cm³; its \
                 material has {material:.2}."
            ),
        }
    }
}

/// A number with its sign, the minus a real one.
#[must_use]
pub fn signed(value: f64, decimals: usize) -> String {
    let sign = if value < 0.0 { "−" } else { "+" };
    format!("{sign}{:.decimals$}", value.abs())
}

/// How values are written in one unit: as many decimals as the instrument shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Written {
    unit: Unit,
    decimals: usize,
}

impl Written {
    /// In a unit, for an instrument of a readability in g or mm.
    #[must_use]
    pub fn new(unit: Unit, readability: f64) -> Self {
        let step = readability / unit.to_si(1.0);
        let steps = |decimals: &i32| step * 10_f64.powi(*decimals);
        let first = (0..9)
            .find(|decimals| steps(decimals) >= 0.999)
            .unwrap_or(9);
        // 0.0025 g wants one decimal more than its first digit; 0.001 lb in grams is never whole.
        let is_whole = |decimals: &i32| (steps(decimals) - steps(decimals).round()).abs() < 1e-6;
        let decimals = (first..=first + 2).find(is_whole).unwrap_or(first);
        let decimals = usize::try_from(decimals).unwrap_or(9);
        Self { unit, decimals }
    }

    /// How many decimals that are.
    #[must_use]
    pub fn decimals(&self) -> usize {
        self.decimals
    }

    /// A value in g or mm as a number in the unit.
    #[must_use]
    pub fn number(&self, value: f64) -> String {
        let decimals = self.decimals;
        format!("{:.decimals$}", value / self.unit.to_si(1.0))
    }

    /// A value in g or mm with the unit behind it.
    #[must_use]
    pub fn words(&self, value: f64) -> String {
        format!("{} {}", self.number(value), self.unit.symbol())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Masses in g of nine like pieces, made up.
    const LIKE: [f64; 9] = [8.40, 8.41, 8.39, 8.42, 8.38, 8.40, 8.43, 8.37, 8.41];

    fn like() -> Expected {
        Expected {
            siblings: Spread::of(&LIKE),
            readability: 0.001,
            ..Expected::default()
        }
    }

    #[test]
    fn the_robust_sd_is_that_of_a_published_worked_example() {
        // The sample 1, 1, 2, 2, 4, 6, 9 with median 2 and median absolute deviation 1 is the usual
        // worked example of encyclopaedias (from memory).
        let spread = Spread::of(&[1.0, 1.0, 2.0, 2.0, 4.0, 6.0, 9.0]).unwrap();
        assert_eq!((spread.n, spread.median), (7, 2.0));
        assert!((spread.robust_sd - 1.4826).abs() < 1e-12);
        assert_eq!((spread.smallest, spread.largest), (1.0, 9.0));
        let even = Spread::of(&[4.0, 1.0, 2.0, 3.0]).unwrap();
        assert_eq!(even.median, 2.5);
        assert_eq!(Spread::of(&[]), None);
        assert_eq!(Spread::of(&[f64::NAN]), None);
    }

    #[test]
    fn a_slip_of_the_decimal_mark_is_told_from_an_odd_piece() {
        assert_eq!(doubts(8.405, &like()), []);
        assert!(matches!(doubts(84.05, &like())[..], [Doubt::Slip(t)] if (t - 10.0).abs() < 0.1));
        assert!(matches!(doubts(0.8405, &like())[..], [Doubt::Slip(_)]));
        assert!(matches!(
            doubts(8.95, &like())[..],
            [Doubt::FarFromSiblings(_)]
        ));
    }

    #[test]
    fn four_robust_sd_is_the_border() {
        // Median 8.40, deviations 0 0 1 1 1 2 2 3 3 hundredths: MAD 0.01, robust SD 0.014826.
        let reach = 4.0 * 0.014_826;
        assert_eq!(doubts(8.40 + reach - 1e-6, &like()), []);
        assert_eq!(doubts(8.40 + reach + 1e-6, &like()).len(), 1);
        let (low, high) = usual_range(&like()).unwrap();
        assert!((low - (8.40 - reach)).abs() < 1e-9 && (high - (8.40 + reach)).abs() < 1e-9);
    }

    #[test]
    fn few_siblings_show_a_slip_but_no_spread() {
        let few = Expected {
            siblings: Spread::of(&LIKE[..3]),
            ..like()
        };
        assert_eq!(doubts(8.95, &few), []);
        assert_eq!(doubts(84.0, &few).len(), 1);
        assert_eq!(doubts(8.95, &Expected::default()), []);
        let nominal = Expected {
            nominal: Some(8.4),
            ..Expected::default()
        };
        assert_eq!(doubts(0.84, &nominal).len(), 1);
    }

    #[test]
    fn like_values_of_a_coarse_instrument_are_not_all_outlying() {
        let coarse = Expected {
            siblings: Spread::of(&[6.0; 12]),
            readability: 0.01,
            ..Expected::default()
        };
        assert_eq!(doubts(6.03, &coarse), []);
        assert_eq!(doubts(6.05, &coarse).len(), 1);
    }

    #[test]
    fn a_piece_that_changed_much_is_asked_about() {
        let after = Expected {
            own_before: Some(10.0),
            ..Expected::default()
        };
        assert_eq!(doubts(9.6, &after), []);
        assert_eq!(doubts(9.4, &after).len(), 1);
        assert!(doubts(9.4, &after)[0].to_string().contains("−6.0 %"));
    }

    #[test]
    fn density_follows_from_mass_and_size_where_the_volume_is_known() {
        // ISO 178 bar 80 × 10 × 4 mm (size from memory): 3.2 cm³; 1.24 g/cm³ gives 3.968 g.
        let bar = Body {
            mass_g: Some(3.968),
            width_mm: Some(10.0),
            thickness_mm: Some(4.0),
            length_mm: Some(80.0),
            ..Body::default()
        };
        let density = bar.density_g_cm3(Shape::Rectangular).unwrap();
        assert!((density - 1.24).abs() < 1e-12);
        assert_eq!(bar.density_g_cm3(Shape::Dumbbell), None);
        assert_eq!(bar.density_g_cm3(Shape::Round), None);
        let rod = Body {
            mass_g: Some(7.85 * PI),
            diameter_mm: Some(20.0),
            length_mm: Some(10.0),
            ..Body::default()
        };
        assert!((rod.density_g_cm3(Shape::Round).unwrap() - 7.85).abs() < 1e-12);
        let with = |found| Expected {
            density: Some((found, 1.24)),
            ..Expected::default()
        };
        assert_eq!(doubts(1.0, &with(density)), []);
        assert_eq!(
            doubts(1.0, &with(0.80)),
            [],
            "a printed piece may be half empty"
        );
        assert_eq!(doubts(1.0, &with(1.30)).len(), 1);
        assert_eq!(doubts(1.0, &with(0.60)).len(), 1);
    }

    #[test]
    fn values_are_written_as_the_instrument_shows_them() {
        assert_eq!(Written::new(Unit::Gram, 0.001).words(8.4), "8.400 g");
        assert_eq!(
            Written::new(Unit::Milligram, 0.0001).words(8.4),
            "8400.0 mg"
        );
        assert_eq!(Written::new(Unit::Gram, 0.05).words(8.4), "8.40 g");
        assert_eq!(Written::new(Unit::Gram, 1.0).words(8.4), "8 g");
        assert_eq!(Written::new(Unit::Gram, 0.0025).words(8.4), "8.4000 g");
        let pound = Unit::Pound.to_si(0.001);
        assert_eq!(Written::new(Unit::Gram, pound).words(8.4), "8.4 g");
    }
}
