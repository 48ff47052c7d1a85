//! Three-point bending of a rectangular bar.

use super::curve::{Curve, at};
use super::evaluate::{Landmarks, Mark};
use super::modulus::{Modulus, Range, modulus};

/// The bar and its supports, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// Span L between the supports.
    pub span_mm: f64,
    /// Width b.
    pub width_mm: f64,
    /// Thickness h along the load.
    pub thickness_mm: f64,
}

impl Bar {
    fn is_usable(&self) -> bool {
        [self.span_mm, self.width_mm, self.thickness_mm]
            .iter()
            .all(|mm| *mm > 0.0 && mm.is_finite())
    }

    /// Stress at the surface, MPa, of a load in N.
    ///
    /// # Formula
    /// ```text
    /// σ = 3 F L / (2 b h²)
    /// ```
    /// # Source
    /// Beam theory, as in ISO 178 and ASTM D790 (from memory).
    #[must_use]
    pub fn stress_mpa(&self, load_n: f64) -> f64 {
        1.5 * load_n * self.span_mm / (self.width_mm * self.thickness_mm * self.thickness_mm)
    }

    /// Strain at the surface, a pure number, of a deflection in mm: ε = 6 s h / L².
    #[must_use]
    pub fn strain(&self, deflection_mm: f64) -> f64 {
        6.0 * deflection_mm * self.thickness_mm / (self.span_mm * self.span_mm)
    }

    /// Deflection, mm, of a strain at the surface: s = ε L² / (6 h).
    #[must_use]
    pub fn deflection_mm(&self, strain: f64) -> f64 {
        strain * self.span_mm * self.span_mm / (6.0 * self.thickness_mm)
    }

    /// Modulus, MPa, of a slope in N/mm: E = L³ m / (4 b h³).
    #[must_use]
    pub fn modulus_mpa(&self, slope: f64) -> f64 {
        self.span_mm.powi(3) * slope / (4.0 * self.width_mm * self.thickness_mm.powi(3))
    }

    /// Crosshead speed, mm/min, for a rate of strain at the surface per minute: R = Z L² / (6 h).
    #[must_use]
    pub fn speed_mm_min(&self, rate: f64) -> f64 {
        self.deflection_mm(rate)
    }
}

/// A stress with its deflection and strain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bent {
    /// Stress at the surface, MPa.
    pub stress_mpa: f64,
    /// Deflection from the corrected origin, mm.
    pub deflection_mm: Option<f64>,
    /// Strain at the surface.
    pub strain: Option<f64>,
}

/// Flexural properties.
#[derive(Debug, Clone, PartialEq)]
pub struct Flexure {
    /// At the highest load: the flexural strength.
    pub maximum: Bent,
    /// At the end of the test.
    pub end: Bent,
    /// The modulus.
    pub modulus: Option<Modulus>,
    /// The deflection at the maximum is more than a tenth of the span, where the formulas no longer
    /// hold closely.
    pub is_deep: bool,
}

/// Flexural properties of a bar; `None` unless its dimensions are above zero.
#[must_use]
pub fn flexure(curve: &Curve, marks: &Landmarks, bar: &Bar, range: Range) -> Option<Flexure> {
    if !bar.is_usable() {
        return None;
    }
    let bent = |mark: &Mark| Bent {
        stress_mpa: bar.stress_mpa(mark.load_n),
        deflection_mm: mark.extension_mm,
        strain: mark.extension_mm.map(|mm| bar.strain(mm)),
    };
    let maximum = bent(&marks.maximum);
    let modulus = curve.travel_mm.as_ref().and_then(|travel| {
        let first = at(travel, 0);
        let origin = marks.straight.map_or(first, |straight| straight.origin);
        let strain: Vec<f64> = travel.iter().map(|mm| bar.strain(mm - origin)).collect();
        let stress: Vec<f64> = marks
            .clean_n
            .iter()
            .map(|load| bar.stress_mpa(*load))
            .collect();
        modulus(&strain, &stress, marks.maximum.at, range)
    });
    Some(Flexure {
        maximum,
        end: bent(&marks.end),
        modulus,
        is_deep: maximum
            .deflection_mm
            .is_some_and(|mm| mm > 0.1 * bar.span_mm),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Trade handbook 3.6.
    #[test]
    fn worked_example() {
        let bar = Bar {
            span_mm: 64.0,
            width_mm: 10.0,
            thickness_mm: 4.0,
        };
        let near = |got: f64, want: f64, by: f64| assert!((got - want).abs() < by, "{got} {want}");
        near(bar.stress_mpa(150.0), 90.0, 1e-12);
        near(100.0 * bar.strain(6.0), 3.516, 5e-4);
        near(bar.deflection_mm(0.0005), 0.08533, 5e-6);
        near(bar.deflection_mm(0.0025), 0.42667, 5e-6);
        near(bar.modulus_mpa(31.25), 3200.0, 1e-9);
        near(bar.speed_mm_min(0.01), 1.7067, 5e-5);
        let thicker = Bar {
            thickness_mm: 4.04,
            ..bar
        };
        near(1.0 - thicker.modulus_mpa(31.25) / 3200.0, 0.03, 1e-3);
    }

    /// 150 N over 4.8 mm in a straight line: the slope of the handbook's example, after 1 mm of slack.
    #[test]
    fn a_straight_curve_gives_its_modulus() {
        use crate::mechanics::curve::Frame;
        use crate::mechanics::evaluate::{Rule, landmarks};
        use crate::mechanics::machine_file::assemble::Drawn;
        let travel: Vec<f64> = (0..600).map(|i| f64::from(i) * 0.01).collect();
        let load = |mm: &f64| {
            if *mm < 5.805 {
                (mm - 1.0).max(0.0) * 31.25
            } else {
                0.0
            }
        };
        let drawn = Drawn {
            lines: (1..=600).collect(),
            load_n: Some(travel.iter().map(load).collect()),
            travel_mm: Some(travel),
            ..Drawn::default()
        };
        let curve = Curve::new(drawn, Frame::default()).unwrap();
        let marks = landmarks(&curve, &Rule::default());
        let bar = Bar {
            span_mm: 64.0,
            width_mm: 10.0,
            thickness_mm: 4.0,
        };
        let found = flexure(&curve, &marks, &bar, Range::default()).unwrap();
        assert!((found.maximum.stress_mpa - 90.0).abs() < 1e-9);
        assert!((found.maximum.deflection_mm.unwrap() - 4.8).abs() < 1e-9);
        assert!((found.modulus.unwrap().chord_mpa - 3200.0).abs() < 1e-6);
        assert!(!found.is_deep);
    }
}
