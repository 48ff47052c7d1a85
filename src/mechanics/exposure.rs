//! What the weather did: temperature doses, freeze–thaw, radiation.

/// The molar gas constant, J/(mol K), exact since 2019.
pub const GAS_CONSTANT: f64 = 8.314_462_618_153_24;

/// 0 °C in kelvin.
pub const ZERO_CELSIUS: f64 = 273.15;

/// Degree-days above and below a base temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DegreeDays {
    /// Σ of the daily means above the base, °C·d.
    pub thawing: f64,
    /// Σ of the daily means below the base, °C·d, positive.
    pub freezing: f64,
}

/// Degree-days of daily means (°C) about a base (°C).
///
/// # Source
/// Freezing index as accumulated degree-days below 0 °C over a season: AMS Glossary of Meteorology.
pub fn degree_days(daily_means: &[f64], base: f64) -> DegreeDays {
    let mut sum = DegreeDays {
        thawing: 0.0,
        freezing: 0.0,
    };
    for mean in daily_means {
        sum.thawing += (mean - base).max(0.0);
        sum.freezing += (base - mean).max(0.0);
    }
    sum
}

/// One day's extremes, °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayExtremes {
    /// Highest temperature of the day.
    pub max: f64,
    /// Lowest temperature of the day.
    pub min: f64,
}

impl DayExtremes {
    /// The mean of the extremes, the usual stand-in for a daily mean.
    pub fn mean(&self) -> f64 {
        0.5 * (self.max + self.min)
    }
}

/// Thresholds of a freeze–thaw cycle, °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FreezeThaw {
    /// At or below this it has frozen.
    pub frozen: f64,
    /// At or above this it has thawed.
    pub thawed: f64,
}

impl Default for FreezeThaw {
    /// −2.2 °C and 0 °C in the screen: Schmidlin, Dethier & Eggleston, J. Appl. Meteorol. 26 (1987)
    /// 142.
    fn default() -> Self {
        Self {
            frozen: -2.2,
            thawed: 0.0,
        }
    }
}

impl FreezeThaw {
    /// Days that both froze and thawed.
    pub fn days(&self, days: &[DayExtremes]) -> usize {
        days.iter()
            .filter(|d| d.max >= self.thawed && d.min <= self.frozen)
            .count()
    }

    /// Complete cycles in a series of temperatures: down to frozen, then back to thawed.
    pub fn cycles(&self, temperatures: &[f64]) -> usize {
        let (mut frozen, mut cycles) = (false, 0);
        for &t in temperatures {
            if t <= self.frozen {
                frozen = true;
            } else if frozen && t >= self.thawed {
                frozen = false;
                cycles += 1;
            }
        }
        cycles
    }
}

/// One stretch of constant temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// °C.
    pub celsius: f64,
    /// Any unit of time, the same throughout.
    pub time: f64,
}

/// The constant temperature (°C) that would have driven a reaction as far as the series did.
///
/// `ratio` is ΔH/R in kelvin; 83.144 kJ/mol, the value commonly used, is 10 000 K. `None` without a
/// stretch of positive time, below absolute zero, or for a ratio that is not positive.
///
/// # Formula
/// ```text
/// T_K = (ΔH/R) / −ln[Σ t_i exp(−ΔH/(R T_i)) / Σ t_i]
/// ```
/// taken relative to the warmest stretch, so that no exponential underflows.
///
/// # Source
/// Haynes, J. Pharm. Sci. 60 (1971) 927.
pub fn mean_kinetic_temperature(series: &[Stretch], ratio: f64) -> Option<f64> {
    let warmest = series
        .iter()
        .map(|s| s.celsius)
        .fold(f64::NEG_INFINITY, f64::max);
    let kelvin = |celsius: f64| celsius + ZERO_CELSIUS;
    let valid = |s: &Stretch| kelvin(s.celsius) > 0.0 && s.time >= 0.0 && s.celsius.is_finite();
    if ratio <= 0.0 || !ratio.is_finite() || !series.iter().all(valid) {
        return None;
    }
    let whole: f64 = series.iter().map(|s| s.time).sum();
    if whole <= 0.0 || !whole.is_finite() {
        return None;
    }
    let warm = 1.0 / kelvin(warmest);
    let rate = |s: &Stretch| s.time * (ratio * (warm - 1.0 / kelvin(s.celsius))).exp();
    let mean = series.iter().map(rate).sum::<f64>() / whole;
    Some(1.0 / (warm - mean.ln() / ratio) - ZERO_CELSIUS)
}

/// How much faster a reaction runs at the second temperature (°C) than at the first, for an
/// activation energy in J/mol; `None` below absolute zero.
///
/// Publish it as an assumption with a range: the energy belongs to one material and one mechanism,
/// and the factor does not hold across a glass transition or melting point, or for biology or light.
///
/// # Formula
/// ```text
/// AF = exp[(E/R)(1/T₁ − 1/T₂)]
/// ```
pub fn arrhenius_factor(energy: f64, from: f64, to: f64) -> Option<f64> {
    let (t1, t2) = (from + ZERO_CELSIUS, to + ZERO_CELSIUS);
    (t1 > 0.0 && t2 > 0.0).then(|| (energy / GAS_CONSTANT * (1.0 / t1 - 1.0 / t2)).exp())
}

/// Radiant exposure (J/m²) of readings of irradiance (W/m²), each held for a number of seconds.
///
/// State the band and the plane with it.
pub fn radiant_exposure(readings: &[(f64, f64)]) -> f64 {
    readings
        .iter()
        .map(|(irradiance, seconds)| irradiance * seconds)
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    const DAYS: [DayExtremes; 4] = [
        DayExtremes {
            max: 12.0,
            min: 4.0,
        },
        DayExtremes {
            max: 10.0,
            min: -2.0,
        },
        DayExtremes {
            max: 3.0,
            min: -5.0,
        },
        DayExtremes {
            max: -1.0,
            min: -9.0,
        },
    ];

    /// Handbook 3.12.
    #[test]
    fn worked_examples() {
        let sum = degree_days(&DAYS.map(|d| d.mean()), 0.0);
        assert_eq!((sum.thawing, sum.freezing), (12.0, 6.0));
        let rule = FreezeThaw::default();
        assert_eq!(rule.days(&DAYS), 1);
        let series = [
            3.0, 1.0, -1.0, -3.0, -2.5, -1.0, 0.5, 2.0, -0.5, -2.3, -1.0, -2.4, 0.0, 1.0, -1.9, 0.4,
        ];
        assert_eq!(rule.cycles(&series), 2);
        let stretch = |celsius| Stretch { celsius, time: 1.0 };
        let mkt = mean_kinetic_temperature(&[5.0, 10.0, 20.0, 30.0].map(stretch), 10_000.0);
        assert!((mkt.unwrap() - 21.092).abs() < 5e-4);
        for (from, to, want) in [
            (15.0, 25.0, 3.0647),
            (25.0, 50.0, 12.142),
            (23.0, 58.0, 30.997),
        ] {
            assert!((arrhenius_factor(80_000.0, from, to).unwrap() / want - 1.0).abs() < 5e-5);
        }
        assert_eq!(radiant_exposure(&[(50.0, 8.0 * 3600.0 * 30.0)]), 43.2e6);
    }

    #[test]
    fn nothing_and_nonsense() {
        assert_eq!(mean_kinetic_temperature(&[], 10_000.0), None);
        let cold = [Stretch {
            celsius: -300.0,
            time: 1.0,
        }];
        assert_eq!(mean_kinetic_temperature(&cold, 10_000.0), None);
        assert_eq!(arrhenius_factor(80_000.0, -300.0, 5.0), None);
    }
}
