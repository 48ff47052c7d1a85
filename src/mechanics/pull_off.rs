//! Pull-off strength under a round dolly.

use std::f64::consts::PI;

/// Stress under a dolly, MPa: σ = 4 F / (π d²). `None` unless the diameter is above zero.
///
/// # Source
/// ISO 4624 (from memory).
///
/// # Examples
/// ```
/// // Trade handbook 3.8: 1571 N under 20.00 mm give 5.0006 MPa.
/// let stress = overwinter::mechanics::pull_off::stress_mpa(1571.0, 20.0).unwrap();
/// assert!((stress - 5.0006).abs() < 5e-5);
/// ```
#[must_use]
pub fn stress_mpa(load_n: f64, diameter_mm: f64) -> Option<f64> {
    (diameter_mm > 0.0).then(|| 4.0 * load_n / (PI * diameter_mm * diameter_mm))
}

/// How a pull-off failed, in percent of the area.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Failure {
    /// Within one layer.
    pub cohesive: f64,
    /// Between two layers.
    pub adhesive: f64,
    /// In the glue under the dolly: says nothing of the layer but that it held.
    pub glue: f64,
}

impl Failure {
    /// Whether the shares are percentages that make up the whole, to half a percent.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        let parts = [self.cohesive, self.adhesive, self.glue];
        let sum: f64 = parts.iter().sum();
        parts.iter().all(|part| (0.0..=100.0).contains(part)) && (sum - 100.0).abs() <= 0.5
    }
}
