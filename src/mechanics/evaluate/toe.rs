//! The toe of a curve: slack taken up before the piece carries load, and where its straight part
//! would have begun.

use super::signal::smooth;
use crate::mechanics::curve::at;
use crate::mechanics::modulus::line;

/// The straight part of a curve and where it meets zero load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Straight {
    /// The corrected origin, in the unit of the axis.
    pub origin: f64,
    /// Slope, N per unit of the axis.
    pub slope: f64,
    /// The rank of its first point.
    pub from: usize,
    /// The rank of its last point.
    pub to: usize,
}

/// The steepest of seven overlapping stretches, each a fifth of the way up, between 5 % and 55 % of
/// the way from the first load to the peak, and its zero. `None` where the load does not rise along
/// the axis.
///
/// The origin is never put before the first point by more than the load at the first point explains:
/// a curve that bends over from its start has no toe.
///
/// # Source
/// The construction (extend the straight part to zero load) is that of ASTM D638 annex A1, toe
/// compensation; the stretches are common practice, no source.
#[must_use]
pub fn straight(axis: &[f64], load: &[f64], peak: usize) -> Option<Straight> {
    let rising = smooth(load.get(..=peak)?, peak / 400);
    let (first, height) = (at(&rising, 0), at(&rising, peak));
    let mut best: Option<Straight> = None;
    for step in 1..=7u8 {
        let low = 0.05 * f64::from(step);
        let level = |share: f64| first + share * (height - first);
        let cross = |share: f64| rising.iter().position(|value| *value >= level(share));
        let (from, to) = (cross(low)?, cross(low + 0.2)?);
        let from = if to < from + 2 {
            from.saturating_sub(1)
        } else {
            from
        };
        let Some((slope, mean_x, mean_f)) = line(axis.get(from..=to)?, load.get(from..=to)?) else {
            continue;
        };
        if slope > 0.0 && best.is_none_or(|found| slope > found.slope * (1.0 + 1e-9)) {
            let origin = mean_x - mean_f / slope;
            best = Some(Straight {
                origin,
                slope,
                from,
                to,
            });
        }
    }
    let mut found = best?;
    let earliest = at(axis, 0) - at(load, 0).max(0.0) / found.slope;
    found.origin = found.origin.max(earliest);
    Some(found)
}
