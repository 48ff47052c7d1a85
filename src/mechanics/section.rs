//! Sections of test pieces, and how dimensions changed.

use std::f64::consts::PI;

/// The loaded section of a piece, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Section {
    /// Width b and thickness h.
    Rectangle {
        /// b.
        width_mm: f64,
        /// h; in bending, along the load.
        thickness_mm: f64,
    },
    /// A round bar.
    Round {
        /// Diameter.
        diameter_mm: f64,
    },
    /// A tube.
    Tube {
        /// Outer diameter.
        outer_mm: f64,
        /// Inner diameter.
        inner_mm: f64,
    },
}

impl Section {
    /// Area, mm²; `None` unless it is above zero and finite.
    ///
    /// # Examples
    /// ```
    /// // Trade handbook 3.5.
    /// use overwinter::mechanics::section::Section;
    /// let bar = Section::Rectangle { width_mm: 10.0, thickness_mm: 4.0 };
    /// assert_eq!(bar.area_mm2(), Some(40.0));
    /// ```
    #[must_use]
    pub fn area_mm2(self) -> Option<f64> {
        let area = match self {
            Self::Rectangle {
                width_mm,
                thickness_mm,
            } if width_mm > 0.0 => width_mm * thickness_mm,
            Self::Rectangle { .. } => return None,
            Self::Round { diameter_mm } => 0.25 * PI * diameter_mm * diameter_mm,
            Self::Tube { outer_mm, inner_mm } if inner_mm >= 0.0 && outer_mm > inner_mm => {
                0.25 * PI * (outer_mm * outer_mm - inner_mm * inner_mm)
            }
            Self::Tube { .. } => return None,
        };
        (area > 0.0 && area.is_finite()).then_some(area)
    }
}

/// Change of a dimension, percent of what it was; `None` unless that is above zero.
#[must_use]
pub fn change_percent(before: f64, after: f64) -> Option<f64> {
    (before > 0.0).then(|| 100.0 * (after - before) / before)
}

/// Change of the volume, percent, from dimensions before and after, in any number.
///
/// # Formula
/// ```text
/// 100 (Π after_i / before_i − 1)
/// ```
#[must_use]
pub fn volume_change_percent(pairs: &[(f64, f64)]) -> Option<f64> {
    let ratio = |(before, after): &(f64, f64)| (*before > 0.0).then(|| after / before);
    let product: Option<f64> = pairs.iter().map(ratio).product();
    product.map(|product| 100.0 * (product - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Trade handbook 3.4: 80.00×10.00×4.00 → 80.12×10.02×4.01 mm.
    #[test]
    fn worked_example() {
        let pairs = [(80.0, 80.12), (10.0, 10.02), (4.0, 4.01)];
        for ((before, after), want) in pairs.iter().zip([0.15, 0.20, 0.25]) {
            assert!((change_percent(*before, *after).unwrap() - want).abs() < 1e-10);
        }
        // Given as +0.60118 %.
        assert!((volume_change_percent(&pairs).unwrap() - 0.60118).abs() < 5e-6);
        assert_eq!(change_percent(0.0, 1.0), None);
    }

    #[test]
    fn areas() {
        let pipe = Section::Tube {
            outer_mm: 20.0,
            inner_mm: 16.0,
        };
        assert!((pipe.area_mm2().unwrap() - 113.097_335_529_232_55).abs() < 1e-9);
        let inside_out = Section::Tube {
            outer_mm: 16.0,
            inner_mm: 20.0,
        };
        assert_eq!(inside_out.area_mm2(), None);
        let negative = Section::Rectangle {
            width_mm: -1.0,
            thickness_mm: -4.0,
        };
        assert_eq!(negative.area_mm2(), None);
    }
}
