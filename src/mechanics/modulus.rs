//! The modulus from stress and strain: the chord between two strains, or the straight line fitted
//! between them.

use super::curve::at;

/// The strains between which a modulus is taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// The lower strain, a pure number.
    pub low: f64,
    /// The upper strain.
    pub high: f64,
}

impl Default for Range {
    /// 0.05 % and 0.25 %: ISO 527-1 and ISO 178 (from memory).
    fn default() -> Self {
        Self {
            low: 0.0005,
            high: 0.0025,
        }
    }
}

/// A modulus and where it was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Modulus {
    /// Chord between the two strains, MPa.
    pub chord_mpa: f64,
    /// Slope of the least-squares line over the points between them, MPa; `None` for fewer than three.
    pub regression_mpa: Option<f64>,
    /// The rank of the first point at or above the lower strain.
    pub from: usize,
    /// The rank of the first point at or above the upper strain.
    pub to: usize,
    /// How many points lie between the two strains.
    pub points: usize,
}

/// The modulus of a curve up to its peak; `None` when the strain does not reach the upper bound by
/// then, or starts above the lower one.
///
/// # Formula
/// ```text
/// E = (σ₂ − σ₁) / (ε₂ − ε₁)
/// ```
/// with the stresses at the two strains read between points by straight lines.
///
/// # Source
/// ISO 527-1:2019, 10.3.2 and ISO 178:2019, 9.2 (from memory).
#[must_use]
pub fn modulus(strain: &[f64], stress: &[f64], peak: usize, range: Range) -> Option<Modulus> {
    let strain = strain.get(..=peak)?;
    let cross = |wanted: f64| strain.iter().position(|value| *value >= wanted);
    let (from, to) = (cross(range.low)?, cross(range.high)?);
    let read = |rank: usize, wanted: f64| -> Option<f64> {
        let (right, high) = (at(strain, rank), at(stress, rank));
        if right == wanted {
            return Some(high);
        }
        let before = rank.checked_sub(1)?;
        let (left, low) = (at(strain, before), at(stress, before));
        Some(low + (high - low) * (wanted - left) / (right - left))
    };
    let (low, high) = (read(from, range.low)?, read(to, range.high)?);
    let inside = |(strain, _): &(&f64, &f64)| (range.low..=range.high).contains(*strain);
    let (xs, ys): (Vec<f64>, Vec<f64>) = strain.iter().zip(stress).filter(inside).unzip();
    let fitted = line(&xs, &ys).filter(|_| xs.len() >= 3);
    let chord = (high - low) / (range.high - range.low);
    chord.is_finite().then_some(Modulus {
        chord_mpa: chord,
        regression_mpa: fitted.map(|(slope, _, _)| slope),
        from,
        to,
        points: xs.len(),
    })
}

/// Least-squares line: slope, mean of the abscissae, mean of the ordinates. `None` for fewer than two
/// points or no spread along the abscissa.
#[must_use]
pub fn line(xs: &[f64], ys: &[f64]) -> Option<(f64, f64, f64)> {
    let count = xs.len().min(ys.len());
    if count < 2 {
        return None;
    }
    let mean = |values: &[f64]| values.iter().take(count).sum::<f64>() / count as f64;
    let (mean_x, mean_y) = (mean(xs), mean(ys));
    let (mut across, mut spread) = (0.0, 0.0);
    for (x, y) in xs.iter().zip(ys) {
        across += (x - mean_x) * (y - mean_y);
        spread += (x - mean_x) * (x - mean_x);
    }
    let slope = across / spread;
    (spread > 0.0 && slope.is_finite()).then_some((slope, mean_x, mean_y))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Trade handbook 3.5: 1.55 MPa at 0.05 %, 8.05 MPa at 0.25 % give 3250 MPa (62.0 N and 322.0 N
    /// over 40.00 mm²).
    #[test]
    fn worked_example() {
        let strain = [0.0, 0.0005, 0.001, 0.0025, 0.004];
        let stress = [0.0, 62.0 / 40.0, 3.175, 322.0 / 40.0, 12.9];
        let found = modulus(&strain, &stress, 4, Range::default()).unwrap();
        assert!((found.chord_mpa - 3250.0).abs() < 1e-9);
        assert_eq!((found.from, found.to, found.points), (1, 3, 3));
        assert_eq!(modulus(&strain, &stress, 2, Range::default()), None);
    }

    #[test]
    fn a_straight_line_gives_its_slope_both_ways() {
        let strain: Vec<f64> = (0..200).map(|i| f64::from(i) * 1.7e-5).collect();
        let stress: Vec<f64> = strain.iter().map(|e| 2100.0 * e - 0.4).collect();
        let found = modulus(&strain, &stress, 199, Range::default()).unwrap();
        assert!((found.chord_mpa - 2100.0).abs() < 1e-6);
        assert!((found.regression_mpa.unwrap() - 2100.0).abs() < 1e-6);
    }
}
