//! The yield point: where the piece first stretches on without carrying more.

use super::end::Fall;
use super::signal::Noise;
use crate::mechanics::curve::at;

/// A yield shows itself over this share of the whole axis up to the end.
const LASTING: f64 = 0.02;
/// And the load sinks from it by this share of itself, or lies level over [`LEVEL`] of the axis.
const SINKING: f64 = 0.005;
const LEVEL: f64 = 0.10;

/// The first point, before the end, where the axis grows without the load growing; `None` for a piece
/// that carries more until it breaks. A sudden fall that recovers is a slip, no yield.
///
/// `load` is smoothed over `2 half + 1` points.
///
/// # Source
/// Definition of the yield stress: ISO 527-1:2019, 3.6 (from memory). How long the load must not grow
/// is common practice, no source.
#[must_use]
pub fn yielding(
    axis: &[f64],
    load: &[f64],
    end: usize,
    noise: Noise,
    half: usize,
    falls: &[Fall],
) -> Option<usize> {
    let span = at(axis, end) - at(axis, 0);
    let sd = noise.sd / ((2 * half + 1) as f64).sqrt();
    let mut top = 0;
    let mut low = f64::INFINITY;
    for rank in 1..=end {
        let here = at(load, rank);
        if here > at(load, top) {
            (top, low) = (rank, f64::INFINITY);
            continue;
        }
        low = low.min(here);
        let stretched = at(axis, rank) - at(axis, top);
        let height = at(load, top);
        let is_low = height < 0.05 * peak(load, end);
        let sinks = height - low >= (SINKING * height).max(8.0 * sd);
        let lasts = stretched >= LASTING * span && rank >= top + 3;
        let is_level = stretched >= LEVEL * span && height - low >= 0.0;
        if is_low || !(lasts && sinks || is_level) {
            continue;
        }
        let reach = half + 2 + (end / 100);
        let slips = |fall: &Fall| fall.recovers && fall.at.abs_diff(top) <= reach;
        if !falls.iter().any(slips) {
            return Some(top);
        }
        // Past the slip the load is looked at afresh from where it came back.
        top = rank;
        low = f64::INFINITY;
    }
    None
}

fn peak(load: &[f64], end: usize) -> f64 {
    load.iter()
        .take(end + 1)
        .fold(f64::NEG_INFINITY, |high, value| high.max(*value))
}
