//! Water in and out: mass changes and Fick's uptake of a plane sheet.
//!
//! Printed parts are not homogeneous sheets; infill and walls make a diffusion coefficient found in
//! this way apparent only.

use std::f64::consts::PI;

/// The three weighings of a piece: dry before, wet after, dried again. All in the same unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighings {
    /// Dry, before exposure.
    pub dry_before: f64,
    /// As taken out, surface wiped.
    pub wet_after: f64,
    /// Dried again to constant mass.
    pub dry_after: f64,
}

impl Weighings {
    fn percent(&self, difference: f64) -> Option<f64> {
        (self.dry_before > 0.0).then(|| 100.0 * difference / self.dry_before)
    }

    /// Wet change, percent of the dry mass before; `None` when that is not above zero.
    pub fn wet_change(&self) -> Option<f64> {
        self.percent(self.wet_after - self.dry_before)
    }

    /// Dry change, negative for a loss.
    pub fn dry_change(&self) -> Option<f64> {
        self.percent(self.dry_after - self.dry_before)
    }

    /// Water taken up, the matter lost included: gain plus what was dissolved or worn off.
    ///
    /// # Source
    /// ASTM D570.
    pub fn water_absorbed(&self) -> Option<f64> {
        self.percent(self.wet_after - self.dry_after)
    }
}

/// Below this value of D t/d² the two faces do not yet feel each other: the square-root law is off
/// by a share of e^(−1/(4T)), 1e-18 here.
const EARLY: f64 = 0.006;

/// Uptake of a plane sheet wetted on both faces, as a fraction of the final uptake.
///
/// `time` is T = D t / d² with the full thickness d; zero or less gives 0.
///
/// # Formula
/// ```text
/// T < 0.006:   4 √(T/π)
/// otherwise:   1 − (8/π²) Σ (2k+1)⁻² exp(−(2k+1)² π² T)
/// ```
/// # Source
/// Crank, The Mathematics of Diffusion (1975), equations 4.18 and 4.20.
pub fn uptake(time: f64) -> f64 {
    if time <= 0.0 {
        return 0.0;
    }
    if time < EARLY {
        return 4.0 * (time / PI).sqrt();
    }
    let mut left = 0.0;
    for k in 0..16 {
        let odd = 2.0 * f64::from(k) + 1.0;
        left += (-odd * odd * PI * PI * time).exp() / (odd * odd);
    }
    1.0 - 8.0 / (PI * PI) * left
}

/// The D t / d² at which the uptake reaches a fraction; `None` outside [0, 1).
pub fn time_to_uptake(fraction: f64) -> Option<f64> {
    if !(0.0..1.0).contains(&fraction) {
        return None;
    }
    if fraction == 0.0 {
        return Some(0.0);
    }
    // Uptake rises steadily: bracket by doubling, then halve to the last digit.
    let (mut low, mut high) = (0.0, 0.05);
    while uptake(high) < fraction && high < 10.0 {
        low = high;
        high *= 2.0;
    }
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if uptake(middle) < fraction {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}

/// Diffusion coefficient (m²/s) from the early slope of the uptake, a fraction of the final uptake
/// per √s, for a sheet of full thickness d (m).
///
/// # Formula
/// ```text
/// D = π (d θ / 4)²
/// ```
/// # Source
/// Crank (1975), section 10.2; algebra of equation 4.20. Valid to about 60 % of the final uptake.
///
/// # Examples
/// ```
/// // Thickness 1 mm, 9.0e-4 % per √s of a final 0.90 %.
/// let d = overwinter::mechanics::moisture::diffusion_from_slope(9.0e-4 / 0.90, 1.0e-3);
/// assert!((d - 1.9635e-13).abs() < 5e-18);
/// ```
pub fn diffusion_from_slope(slope: f64, thickness: f64) -> f64 {
    PI * (0.25 * thickness * slope).powi(2)
}

/// The early slope of the uptake, a fraction of the final uptake per √s, for a diffusion
/// coefficient (m²/s) and full thickness (m).
pub fn initial_slope(diffusion: f64, thickness: f64) -> f64 {
    4.0 / thickness * (diffusion / PI).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Handbook 3.2: d 4 mm, D 1e-12 m²/s.
    #[test]
    fn worked_example() {
        let at = |days: f64| uptake(1e-12 * days * 86_400.0 / (0.004 * 0.004));
        for (days, want) in [
            (1.0, 0.16584),
            (7.0, 0.43869),
            (30.0, 0.83616),
            (90.0, 0.99331),
        ] {
            assert!((at(days) - want).abs() < 5.1e-6, "{days}");
        }
        let t70 = time_to_uptake(0.70180).unwrap() * 0.004 * 0.004 / 1e-12;
        assert!((t70 / 86_400.0 - 18.763).abs() < 0.002);
    }

    /// Handbook 3.1: 10.0000, 10.0450, 9.9850 g.
    #[test]
    fn mass_changes() {
        let w = Weighings {
            dry_before: 10.0,
            wet_after: 10.045,
            dry_after: 9.985,
        };
        let near = |got: Option<f64>, want: f64| (got.unwrap() - want).abs() < 1e-9;
        assert!(near(w.wet_change(), 0.45) && near(w.dry_change(), -0.15));
        assert!(near(w.water_absorbed(), 0.60));
    }

    #[test]
    fn the_early_law_and_the_series_meet() {
        assert!((uptake(EARLY * (1.0 - 1e-12)) - uptake(EARLY)).abs() < 1e-12);
    }
}
