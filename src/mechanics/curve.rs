//! One load–extension curve, whole and the right way up, ready for evaluation.

use super::machine_file::assemble::Drawn;
use std::fmt;

/// Which way the load of a file points.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Direction {
    /// Upright whichever way the larger load points.
    #[default]
    Guess,
    /// As the file has it.
    AsDrawn,
    /// Signs turned.
    Turned,
}

impl Direction {
    /// All.
    pub const ALL: [Self; 3] = [Self::Guess, Self::AsDrawn, Self::Turned];

    /// The name in forms and in what is remembered.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Guess => "guess",
            Self::AsDrawn => "as_drawn",
            Self::Turned => "turned",
        }
    }

    /// Reads [`Direction::key`].
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.key() == key)
    }
}

/// A curve with its loads upright. All columns are equally long; loads are finite.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// The number of each point's line in the file.
    pub lines: Vec<u32>,
    /// Load, N.
    pub load_n: Vec<f64>,
    /// Travel of the grips or deflection, mm, finite.
    pub travel_mm: Option<Vec<f64>>,
    /// Strain from an extensometer, a pure number; NaN where it showed none.
    pub strain: Option<Vec<f64>>,
    /// Time, s, finite.
    pub time_s: Option<Vec<f64>>,
    /// The file has loads below zero, as compression is often drawn; all signs were turned.
    pub is_turned: bool,
    /// The file has an extensometer's change of length, but no gauge length is known to make a strain of it.
    pub is_gauge_missing: bool,
}

/// What is known of the piece when its curve is taken from a file.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Frame {
    /// Which way the load points.
    pub direction: Direction,
    /// Gauge length of the extensometer, mm: makes strain of a change of length.
    pub gauge_mm: Option<f64>,
    /// Section, mm²: makes loads of stresses where a file has no loads.
    pub area_mm2: Option<f64>,
}

/// Why a curve cannot be evaluated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CurveError {
    /// Fewer than four points.
    TooShort,
    /// Stress only, and no section to make loads of it.
    StressOnly,
    /// No load at all.
    NoLoad,
    /// The load is the same throughout.
    Flat,
}

impl fmt::Display for CurveError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooShort => "The curve has fewer than four points with a load.",
            Self::StressOnly => {
                "The file gives stress but no load, and without a section no load follows from it. \
                 Export the load."
            }
            Self::NoLoad => "No column is known to be the load. Say which one it is.",
            Self::Flat => {
                "The load is the same in all points: this column is not the load of a test."
            }
        })
    }
}

/// Fewer points than this show nothing.
const FEWEST: usize = 4;

impl Curve {
    /// The curve of a piece.
    ///
    /// # Errors
    /// What is missing in it.
    pub fn new(drawn: Drawn, frame: Frame) -> Result<Self, CurveError> {
        let area = frame.area_mm2.filter(|area| *area > 0.0);
        let load = match (drawn.load_n, drawn.stress_mpa, area) {
            (Some(load), _, _) => load,
            (None, Some(stress), Some(area)) => stress.iter().map(|mpa| mpa * area).collect(),
            (None, Some(_), None) => return Err(CurveError::StressOnly),
            (None, None, _) => return Err(CurveError::NoLoad),
        };
        if load.len() < FEWEST || load.iter().any(|value| !value.is_finite()) {
            return Err(CurveError::TooShort);
        }
        let (low, high) = extremes(&load);
        if low == high {
            return Err(CurveError::Flat);
        }
        let is_turned = match frame.direction {
            Direction::Guess => -low > high,
            Direction::AsDrawn => false,
            Direction::Turned => true,
        };
        let gauge = frame.gauge_mm.filter(|gauge| *gauge > 0.0);
        let is_gauge_missing =
            drawn.elongation_mm.is_some() && gauge.is_none() && drawn.strain.is_none();
        let by_gauge = drawn.elongation_mm.zip(gauge);
        let by_gauge = by_gauge.map(|(mm, gauge)| mm.iter().map(|mm| mm / gauge).collect());
        let mut curve = Self {
            lines: drawn.lines,
            load_n: load,
            travel_mm: drawn.travel_mm.map(filled),
            strain: by_gauge.or(drawn.strain),
            time_s: drawn.time_s.map(filled),
            is_turned,
            is_gauge_missing,
        };
        curve.set_upright();
        Ok(curve)
    }

    /// Turns the load if it points down, and travel and strain if they run down to the peak.
    fn set_upright(&mut self) {
        if self.is_turned {
            negate(&mut self.load_n);
        }
        let peak = highest(&self.load_n);
        for axis in [&mut self.travel_mm, &mut self.strain]
            .into_iter()
            .flatten()
        {
            let start = axis.iter().copied().find(|value| value.is_finite());
            let before = axis.iter().take(peak + 1).rev().copied();
            let at_peak = before.into_iter().find(|value| value.is_finite());
            if matches!((start, at_peak), (Some(start), Some(peak)) if peak < start) {
                negate(axis);
            }
        }
    }

    /// How many points it has.
    #[must_use]
    pub fn len(&self) -> usize {
        self.load_n.len()
    }

    /// Never so: a curve has at least four points.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.load_n.is_empty()
    }

    /// What its points are laid out along: travel, else strain, else time, else the points' rank.
    #[must_use]
    pub fn axis(&self) -> (Axis, Vec<f64>) {
        let whole = |values: &Vec<f64>| values.iter().all(|value| value.is_finite());
        if let Some(travel) = self.travel_mm.as_ref().filter(|values| whole(values)) {
            return (Axis::Travel, travel.clone());
        }
        if let Some(strain) = self.strain.as_ref().filter(|values| whole(values)) {
            return (Axis::Strain, strain.clone());
        }
        if let Some(time) = self.time_s.as_ref().filter(|values| whole(values)) {
            return (Axis::Time, time.clone());
        }
        (Axis::Rank, (0..self.len()).map(|at| at as f64).collect())
    }
}

/// What a curve's points are laid out along.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Axis {
    /// Travel or deflection, mm.
    Travel,
    /// Strain.
    Strain,
    /// Time, s.
    Time,
    /// The rank of the point: the file has loads only.
    Rank,
}

fn negate(values: &mut [f64]) {
    for value in values {
        *value = -*value;
    }
}

/// A gap takes the value before it; the machine stood still or was slow to say.
fn filled(mut values: Vec<f64>) -> Vec<f64> {
    let first = values.iter().copied().find(|value| value.is_finite());
    let mut last = first.unwrap_or(0.0);
    for value in &mut values {
        if value.is_finite() {
            last = *value;
        } else {
            *value = last;
        }
    }
    values
}

fn extremes(values: &[f64]) -> (f64, f64) {
    let start = (f64::INFINITY, f64::NEG_INFINITY);
    values
        .iter()
        .fold(start, |(low, high), v| (low.min(*v), high.max(*v)))
}

/// The rank of the first highest value.
pub(super) fn highest(values: &[f64]) -> usize {
    let mut best = (0, f64::NEG_INFINITY);
    for (at, value) in values.iter().enumerate() {
        if *value > best.1 {
            best = (at, *value);
        }
    }
    best.0
}

/// The value at a rank; NaN beyond the end, which makes every comparison with it false.
pub(super) fn at(values: &[f64], rank: usize) -> f64 {
    values.get(rank).copied().unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(load: &[f64], travel: &[f64]) -> Drawn {
        Drawn {
            lines: (1..).take(load.len()).collect(),
            load_n: Some(load.to_vec()),
            travel_mm: Some(travel.to_vec()),
            ..Drawn::default()
        }
    }

    #[test]
    fn compression_drawn_downwards_is_set_upright() {
        let down = drawn(&[0.0, -5.0, -9.0, -2.0], &[0.0, -0.1, -0.2, -0.3]);
        let curve = Curve::new(down.clone(), Frame::default()).unwrap();
        assert!(curve.is_turned);
        assert_eq!(curve.load_n, [0.0, 5.0, 9.0, 2.0]);
        assert_eq!(curve.travel_mm.unwrap(), [0.0, 0.1, 0.2, 0.3]);
        let frame = Frame {
            direction: Direction::AsDrawn,
            ..Frame::default()
        };
        assert!(!Curve::new(down, frame).unwrap().is_turned);
    }

    #[test]
    fn what_cannot_be_evaluated_is_named() {
        let flat = drawn(&[1.0; 5], &[0.0; 5]);
        assert_eq!(Curve::new(flat, Frame::default()), Err(CurveError::Flat));
        let short = drawn(&[1.0, 2.0], &[0.0, 1.0]);
        assert_eq!(
            Curve::new(short, Frame::default()),
            Err(CurveError::TooShort)
        );
        let mut stress = drawn(&[1.0, 2.0, 3.0, 1.0], &[0.0, 1.0, 2.0, 3.0]);
        stress.stress_mpa = stress.load_n.take();
        assert_eq!(
            Curve::new(stress.clone(), Frame::default()),
            Err(CurveError::StressOnly)
        );
        let frame = Frame {
            area_mm2: Some(40.0),
            ..Frame::default()
        };
        assert_eq!(
            Curve::new(stress, frame).unwrap().load_n,
            [40.0, 80.0, 120.0, 40.0]
        );
        assert_eq!(Curve::new(Drawn::default(), frame), Err(CurveError::NoLoad));
        let mut gauged = drawn(&[1.0, 2.0, 3.0, 1.0], &[0.0, 1.0, 2.0, 3.0]);
        gauged.elongation_mm = gauged.travel_mm.clone();
        let without = Curve::new(gauged.clone(), Frame::default()).unwrap();
        assert!(without.is_gauge_missing && without.strain.is_none());
        let frame = Frame {
            gauge_mm: Some(50.0),
            ..Frame::default()
        };
        assert!(!Curve::new(gauged, frame).unwrap().is_gauge_missing);
    }
}
