//! Uncertainty of a measured value and of what is worked out from several, after the GUM.
//!
//! # Source
//! JCGM 100:2008 (GUM), from memory: 4.3.7 (rectangular), 4.2.3 (mean of repeats), 5.1.2
//! (propagation), 6.2 (expanded).

/// Coverage factor of a reported uncertainty.
pub const COVERAGE: f64 = 2.0;

/// Standard uncertainty of limits ±a with nothing more known: a/√3.
#[must_use]
pub fn of_half_width(half_width: f64) -> f64 {
    half_width / 3f64.sqrt()
}

/// Standard uncertainty of a display with the step d: d/√12.
#[must_use]
pub fn of_readability(step: f64) -> f64 {
    step / 12f64.sqrt()
}

/// Standard uncertainty of a certificate's U with its factor k.
#[must_use]
pub fn of_certificate(expanded: f64, factor: f64) -> f64 {
    expanded / factor
}

/// Standard uncertainty of the mean of repeated readings: s/√n; `None` for fewer than two.
#[must_use]
pub fn of_mean(readings: &[f64]) -> Option<f64> {
    let count = readings.len() as f64;
    if readings.len() < 2 {
        return None;
    }
    let mean = readings.iter().sum::<f64>() / count;
    let squares: f64 = readings.iter().map(|value| (value - mean).powi(2)).sum();
    Some((squares / (count - 1.0) / count).sqrt())
}

/// Independent uncertainties in quadrature.
#[must_use]
pub fn combined(parts: &[f64]) -> f64 {
    parts.iter().map(|part| part * part).sum::<f64>().sqrt()
}

/// One quantity that a property is worked out from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    /// What it is, as it is told.
    pub name: &'static str,
    /// The power with which it enters the formula.
    pub power: f64,
    /// Its relative standard uncertainty, percent.
    pub percent: f64,
}

/// The relative uncertainty of a product of powers.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Budget {
    /// What it is made of.
    pub terms: Vec<Term>,
}

impl Budget {
    /// Adds a quantity.
    #[must_use]
    pub fn with(mut self, name: &'static str, power: f64, percent: f64) -> Self {
        self.terms.push(Term {
            name,
            power,
            percent,
        });
        self
    }

    /// Relative standard uncertainty, percent: √Σ(p_i u_i)².
    #[must_use]
    pub fn standard_percent(&self) -> f64 {
        let parts: Vec<f64> = self
            .terms
            .iter()
            .map(|term| term.power * term.percent)
            .collect();
        combined(&parts)
    }

    /// Relative expanded uncertainty, percent, k = 2.
    #[must_use]
    pub fn expanded_percent(&self) -> f64 {
        COVERAGE * self.standard_percent()
    }

    /// The term that contributes most.
    #[must_use]
    pub fn largest(&self) -> Option<&Term> {
        let share = |term: &&Term| (term.power * term.percent).abs();
        self.terms
            .iter()
            .max_by(|a, b| share(a).total_cmp(&share(b)))
    }
}

/// A length with the limits of its instrument.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Length {
    /// The mean of the readings, mm.
    pub mm: f64,
    /// Half-width of what the instrument may be off, mm.
    pub limit_mm: f64,
    /// Standard uncertainty of the mean of repeated readings, mm; 0 for one reading.
    pub repeat_mm: f64,
}

impl Length {
    /// Relative standard uncertainty, percent.
    #[must_use]
    pub fn percent(self) -> f64 {
        100.0 * combined(&[of_half_width(self.limit_mm), self.repeat_mm]) / self.mm
    }
}

/// What an extension may be off: a share of itself, and never less than a length.
///
/// # Source
/// ISO 9513:2012, table 2 (from memory): class 0.2 ±0.2 % or ±0.6 µm, 0.5 ±0.5 % or ±1.5 µm, 1 ±1 % or
/// ±3 µm, 2 ±2 % or ±6 µm, whichever is greater.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extension {
    /// In percent of what is shown.
    pub percent: f64,
    /// The least, mm.
    pub least_mm: f64,
}

impl Extension {
    /// By the class; the table's lengths are 3 µm for each percent, and so are those of classes between.
    #[must_use]
    pub const fn of_class(class: f64) -> Self {
        Self {
            percent: class,
            least_mm: 0.003 * class,
        }
    }

    /// What an extension of this length may be off, in percent of it. Of a length that is not known, or is
    /// none, only the share is.
    #[must_use]
    pub fn percent_of(self, mm: Option<f64>) -> f64 {
        let least = mm.map(|mm| 100.0 * self.least_mm / mm.abs());
        let least = least.filter(|percent| percent.is_finite());
        self.percent.max(least.unwrap_or(0.0))
    }

    /// The same as a standard uncertainty, percent.
    #[must_use]
    pub fn standard_percent(self, mm: Option<f64>) -> f64 {
        of_half_width(self.percent_of(mm))
    }
}

/// What a machine may be off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Machine {
    /// Force, in percent of what is shown: class 1 is ±1 %.
    pub force_percent: f64,
    /// Extension by the extensometer, or deflection.
    pub extension: Extension,
    /// Travel of the grips.
    pub travel: Extension,
}

impl Machine {
    fn force(self) -> f64 {
        of_half_width(self.force_percent)
    }

    /// Maximum load: the force alone.
    #[must_use]
    pub fn load(self) -> Budget {
        Budget::default().with("force", 1.0, self.force())
    }

    /// Stress F/(b h).
    #[must_use]
    pub fn stress(self, width: Length, thickness: Length) -> Budget {
        self.load()
            .with("thickness", -1.0, thickness.percent())
            .with("width", -1.0, width.percent())
    }

    /// Flexural stress 3FL/(2bh²).
    #[must_use]
    pub fn flexural_stress(self, span: Length, width: Length, thickness: Length) -> Budget {
        self.load()
            .with("span", 1.0, span.percent())
            .with("width", -1.0, width.percent())
            .with("thickness", -2.0, thickness.percent())
    }

    /// Flexural modulus L³m/(4bh³), m over a deflection of so many mm.
    #[must_use]
    pub fn flexural_modulus(
        self,
        span: Length,
        (width, thickness): (Length, Length),
        over_mm: f64,
    ) -> Budget {
        let deflection = self.extension.standard_percent(Some(over_mm));
        self.load()
            .with("deflection", -1.0, deflection)
            .with("span", 3.0, span.percent())
            .with("width", -1.0, width.percent())
            .with("thickness", -3.0, thickness.percent())
    }

    /// Pull-off stress 4F/(πd²).
    #[must_use]
    pub fn pull_off(self, diameter: Length) -> Budget {
        self.load().with("diameter", -2.0, diameter.percent())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, want: f64, by: f64) {
        assert!((got - want).abs() < by, "{got} {want}");
    }

    /// Trade handbook 3.15, the balance.
    #[test]
    fn a_weighing_and_a_change() {
        let readability = of_readability(1.0);
        near(readability, 0.288_675, 5e-7);
        let one = combined(&[readability, 0.8, 0.5]);
        near(one, 0.98658, 5e-6);
        let independent = combined(&[one, one]);
        near(independent, 1.39523, 5e-6);
        near(independent / 10_000.0 * 100.0, 0.01395, 5e-6);
        // On the same balance the calibration's part is the same both times.
        let without = combined(&[readability, 0.8]);
        let same = combined(&[without, without]);
        near(same, 1.20277, 5e-6);
        near(same / 10_000.0 * 100.0, 0.01203, 5e-6);
        near(COVERAGE * same / 10_000.0 * 100.0, 0.024, 5e-4);
        near(of_certificate(1.0, 2.0), 0.5, 1e-15);
    }

    /// Trade handbook 3.15, the stress.
    #[test]
    fn a_stress() {
        let machine = Machine {
            force_percent: 1.0,
            extension: Extension::of_class(1.0),
            travel: Extension::of_class(1.0),
        };
        let side = |mm| Length {
            mm,
            limit_mm: 0.02,
            repeat_mm: 0.0,
        };
        let budget = machine.stress(side(10.0), side(4.0));
        let shares: Vec<f64> = budget.terms.iter().map(|term| term.percent).collect();
        near(shares[0], 0.57735, 5e-6);
        near(shares[1], 0.28868, 5e-6);
        near(shares[2], 0.11547, 5e-6);
        near(budget.standard_percent(), 0.65574, 5e-6);
        near(budget.expanded_percent(), 1.3, 0.05);
        assert_eq!(budget.largest().unwrap().name, "force");
        // Thickness enters cubed (handbook 3.6).
        let bent = machine.flexural_modulus(side(64.0), (side(10.0), side(4.0)), 0.34133);
        assert_eq!(bent.largest().unwrap().name, "thickness");
    }

    /// ISO 9513:2012, table 2 (from memory), by hand: 3 µm of 0.1 mm are 3 %, of 0.2 mm 1.5 %, of 0.3 mm
    /// 1 %; 1.5 µm of 0.1 mm 1.5 %; 0.6 µm of 0.1 mm 0.6 %; 6 µm of 0.1 mm 6 %.
    #[test]
    fn an_extension_is_off_by_its_share_or_by_a_length() {
        for (class, mm, percent) in [
            (1.0, 0.1, 3.0),
            (1.0, 0.2, 1.5),
            (1.0, 0.3, 1.0),
            (1.0, 5.0, 1.0),
            (0.5, 0.1, 1.5),
            (0.5, -0.1, 1.5),
            (0.5, 2.0, 0.5),
            (0.2, 0.1, 0.6),
            (2.0, 0.1, 6.0),
        ] {
            near(
                Extension::of_class(class).percent_of(Some(mm)),
                percent,
                1e-12,
            );
        }
        let one = Extension::of_class(1.0);
        near(one.percent_of(None), 1.0, 1e-12);
        near(one.percent_of(Some(0.0)), 1.0, 1e-12);
        near(one.standard_percent(Some(0.1)), 1.73205, 5e-6);
    }

    /// s/√n of 1, 2, 3, 4, 5: √2.5/√5.
    #[test]
    fn repeats() {
        near(
            of_mean(&[1.0, 2.0, 3.0, 4.0, 5.0]).unwrap(),
            0.5f64.sqrt(),
            1e-12,
        );
        assert_eq!(of_mean(&[1.0]), None);
    }
}
