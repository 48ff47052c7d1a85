//! Tensile properties (compression by the same formulas) from a curve and a section.

use super::curve::{Curve, at};
use super::evaluate::{Landmarks, Mark, toe};
use super::modulus::{Modulus, Range, modulus};

/// What is known of the piece and its clamping.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TensilePiece {
    /// Original section A₀, mm²: from dimensions before exposure or before test, as the plan says.
    pub area_mm2: f64,
    /// Distance between the grips at the start, mm; `None` when not known.
    pub grips_mm: Option<f64>,
    /// Gauge length L₀, mm, for the energy per volume.
    pub gauge_mm: Option<f64>,
}

/// Where strain was taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StrainFrom {
    /// An extensometer.
    Extensometer,
    /// Travel of the grips over their distance: nominal strain. A modulus from it is too low, since
    /// machine and shoulders stretch as well.
    Grips,
}

/// A stress with the strain it was reached at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StressPoint {
    /// Stress, MPa.
    pub stress_mpa: f64,
    /// Strain, a pure number, and where it is from; `None` when there is no strain.
    pub strain: Option<(f64, StrainFrom)>,
}

/// Tensile properties.
#[derive(Debug, Clone, PartialEq)]
pub struct Tension {
    /// The first maximum of the stress: at yield where there is one, else the highest.
    pub strength_mpa: f64,
    /// At the highest load.
    pub maximum: StressPoint,
    /// At yield.
    pub yielding: Option<StressPoint>,
    /// At the end of the test: the break where it broke.
    pub end: StressPoint,
    /// The modulus and where its strain is from.
    pub modulus: Option<(Modulus, StrainFrom)>,
    /// Energy to the end per volume A₀ L₀, MJ/m³.
    pub energy_mj_m3: Option<f64>,
}

/// Tensile properties of a piece; `None` unless its section is above zero.
///
/// # Formula
/// ```text
/// σ = F / A₀      ε = ΔL / L₀      nominal ε = Δ(grips) / distance of grips
/// ```
/// After an extensometer was taken off, strain goes on from its last value with the nominal strain
/// gained since.
///
/// # Source
/// ISO 527-1:2019 (from memory): clauses 3 and 10; the continued strain is its nominal strain,
/// method B.
#[must_use]
pub fn tension(
    curve: &Curve,
    marks: &Landmarks,
    piece: &TensilePiece,
    range: Range,
) -> Option<Tension> {
    let area = Some(piece.area_mm2).filter(|area| *area > 0.0 && area.is_finite())?;
    let strains = Strains::of(curve, marks, piece);
    let point = |mark: &Mark| StressPoint {
        stress_mpa: mark.load_n / area,
        strain: strains.at(mark.at),
    };
    let yielding = marks.yielding.as_ref().map(point);
    let maximum = point(&marks.maximum);
    let volume = piece
        .gauge_mm
        .map(|gauge| gauge * area)
        .filter(|volume| *volume > 0.0);
    let modulus = strains.main().and_then(|(series, from)| {
        let stress: Vec<f64> = marks.clean_n.iter().map(|load| load / area).collect();
        let peak = marks.maximum.at.min(series.len().saturating_sub(1));
        modulus(series, &stress, peak, range).map(|found| (found, from))
    });
    Some(Tension {
        strength_mpa: yielding.map_or(maximum.stress_mpa, |point| point.stress_mpa),
        maximum,
        yielding,
        end: point(&marks.end),
        modulus,
        // J/mm³ are 1000 MJ/m³.
        energy_mj_m3: marks
            .end
            .energy_j
            .zip(volume)
            .map(|(j, mm3)| 1000.0 * j / mm3),
    })
}

/// Strains of a curve from their corrected origins.
struct Strains {
    gauge: Option<Vec<f64>>,
    nominal: Option<Vec<f64>>,
}

impl Strains {
    fn of(curve: &Curve, marks: &Landmarks, piece: &TensilePiece) -> Self {
        let gauge = curve
            .strain
            .as_ref()
            .zip(marks.strain_until)
            .map(|(strain, until)| {
                let part = strain.get(..=until).unwrap_or(strain);
                let peak = marks.maximum.at.min(until);
                let straight = toe::straight(part, &marks.clean_n, peak);
                let origin = straight.map_or_else(|| at(part, 0), |straight| straight.origin);
                part.iter().map(|value| value - origin).collect()
            });
        let grips = piece.grips_mm.filter(|grips| *grips > 0.0);
        let nominal = curve.travel_mm.as_ref().zip(grips).map(|(travel, grips)| {
            let first = at(travel, 0);
            let origin = marks.straight.map_or(first, |straight| straight.origin);
            travel.iter().map(|mm| (mm - origin) / grips).collect()
        });
        Self { gauge, nominal }
    }

    fn main(&self) -> Option<(&[f64], StrainFrom)> {
        let gauge = self
            .gauge
            .as_ref()
            .map(|all| (all.as_slice(), StrainFrom::Extensometer));
        gauge.or_else(|| Some((self.nominal.as_deref()?, StrainFrom::Grips)))
    }

    fn at(&self, rank: usize) -> Option<(f64, StrainFrom)> {
        let nominal = |rank: usize| self.nominal.as_ref()?.get(rank).copied();
        let Some(gauge) = &self.gauge else {
            return nominal(rank).map(|strain| (strain, StrainFrom::Grips));
        };
        if let Some(strain) = gauge.get(rank) {
            return Some((*strain, StrainFrom::Extensometer));
        }
        let last = gauge.len().checked_sub(1)?;
        let gained = nominal(rank)? - nominal(last)?;
        Some((gauge.last()? + gained, StrainFrom::Grips))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mechanics::curve::Frame;
    use crate::mechanics::evaluate::{Rule, landmarks};
    use crate::mechanics::machine_file::assemble::Drawn;

    /// 2 000 N over 4 mm in a straight line, then nothing; the extensometer over 50 mm shows a
    /// quarter of the travel until it is taken off at point 200.
    fn found(extensometer: bool) -> Tension {
        let travel: Vec<f64> = (0..420).map(|i| f64::from(i) * 0.01).collect();
        let shown = |(at, mm): (usize, &f64)| if at < 200 { mm / 4.0 } else { 0.0 };
        let drawn = Drawn {
            lines: (1..=420).collect(),
            load_n: Some(
                (0..420)
                    .map(|i| if i <= 400 { f64::from(i) * 5.0 } else { 0.0 })
                    .collect(),
            ),
            elongation_mm: extensometer.then(|| travel.iter().enumerate().map(shown).collect()),
            travel_mm: Some(travel),
            ..Drawn::default()
        };
        let frame = Frame {
            gauge_mm: Some(50.0),
            ..Frame::default()
        };
        let curve = Curve::new(drawn, frame).unwrap();
        let marks = landmarks(&curve, &Rule::default());
        let piece = TensilePiece {
            area_mm2: 40.0,
            grips_mm: Some(100.0),
            gauge_mm: Some(50.0),
        };
        tension(&curve, &marks, &piece, Range::default()).unwrap()
    }

    /// By hand: σ = 2000/40 = 50 MPa. With the extensometer 500 N/mm of travel are
    /// 2000 N/mm of gauge, E = 2000/40·50 = 2500 MPa; after it is off at 0.4975 mm (0.00995) the
    /// grips add 2.01 mm over 100 mm. By the grips alone E = 500/40·100 = 1250 MPa.
    #[test]
    fn with_and_without_an_extensometer() {
        let near = |got: f64, want: f64| assert!((got / want - 1.0).abs() < 1e-9, "{got} {want}");
        let gauged = found(true);
        near(gauged.strength_mpa, 50.0);
        let (modulus, from) = gauged.modulus.unwrap();
        near(modulus.chord_mpa, 2500.0);
        near(modulus.regression_mpa.unwrap(), 2500.0);
        assert_eq!(from, StrainFrom::Extensometer);
        let (strain, from) = gauged.end.strain.unwrap();
        near(strain, 0.00995 + 0.0201);
        assert_eq!(from, StrainFrom::Grips);
        let nominal = found(false);
        let (modulus, from) = nominal.modulus.unwrap();
        near(modulus.chord_mpa, 1250.0);
        assert_eq!(from, StrainFrom::Grips);
        // 4 J over 40 mm² × 50 mm.
        near(nominal.energy_mj_m3.unwrap(), 2.0);
    }
}
