//! What belongs to the instrument and not to the piece: noise, the step of the display, single
//! readings that stand out.

use crate::mechanics::curve::{at, highest};

/// The noise of a load signal, N.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// Standard deviation.
    pub sd: f64,
    /// The smallest step between two different readings.
    pub step: f64,
}

/// So many points tell the noise; more cost time only.
const LOOKED_AT: usize = 20_000;

impl Noise {
    /// Noise from the curvature of neighbouring points, which a smooth curve hardly has.
    ///
    /// # Formula
    /// ```text
    /// e_i = F_(i+1) − 2 F_i + F_(i−1),  sd = 1.4826 median|e| / √6,  at least step / √12
    /// ```
    /// # Source
    /// Median absolute deviation as in Rousseeuw & Croux, J. Am. Stat. Assoc. 88 (1993) 1273; the
    /// √6 is the norm of (1, −2, 1). For the step: JCGM 100:2008 F.2.2.1.
    #[must_use]
    pub fn of(load: &[f64]) -> Self {
        let part = load.get(..load.len().min(LOOKED_AT)).unwrap_or(load);
        let mut bends: Vec<f64> = part
            .windows(3)
            .map(|w| (at(w, 2) - 2.0 * at(w, 1) + at(w, 0)).abs())
            .collect();
        let middle = bends.len() / 2;
        let median = match bends.is_empty() {
            true => 0.0,
            false => *bends.select_nth_unstable_by(middle, f64::total_cmp).1,
        };
        let scale = part
            .iter()
            .fold(0.0f64, |scale, value| scale.max(value.abs()));
        let rising = load.get(..=highest(load)).unwrap_or(load);
        Self {
            sd: 0.0,
            step: display_step(rising, 1e-9 * scale),
        }
        .with_bends(median)
    }

    fn with_bends(self, median: f64) -> Self {
        Self {
            sd: (1.4826 * median / 6f64.sqrt()).max(self.step / 12f64.sqrt()),
            ..self
        }
    }
}

/// The smallest step between readings on the way up, where so many neighbours are alike that it must
/// be the display's; else 0. Slack, in which nothing changes, is no sign of it.
fn display_step(rising: &[f64], alike: f64) -> f64 {
    let low = 0.02 * rising.last().copied().unwrap_or(0.0);
    let from = rising.iter().rposition(|value| *value <= low);
    let rising = rising.get(from.unwrap_or(0)..).unwrap_or_default();
    let (mut least, mut same) = (f64::INFINITY, 0usize);
    for step in rising.windows(2).map(|w| (at(w, 1) - at(w, 0)).abs()) {
        if step <= alike {
            same += 1;
        } else {
            least = least.min(step);
        }
    }
    if same * 5 > rising.len() && least.is_finite() {
        least
    } else {
        0.0
    }
}

/// The loads without single readings that stand out, and where those were.
#[must_use]
pub fn without_spikes(load: &[f64], noise: Noise) -> (Vec<f64>, Vec<usize>) {
    let mut clean = load.to_vec();
    let scale = load
        .iter()
        .fold(0.0f64, |scale, value| scale.max(value.abs()));
    let mut found = Vec::new();
    for (before, window) in load.windows(3).enumerate() {
        let (left, middle, right) = (at(window, 0), at(window, 1), at(window, 2));
        let out = (middle - left.max(right)).max(left.min(right) - middle);
        if out < (10.0 * noise.sd).max(0.005 * scale) || (right - left).abs() > 0.5 * out {
            continue;
        }
        // A sharp peak has slopes as steep as itself beside it; a stray reading has none.
        let slope_left = before
            .checked_sub(1)
            .map_or(0.0, |rank| (left - at(load, rank)).abs());
        let slope_right = load
            .get(before + 3)
            .map_or(0.0, |next| (next - right).abs());
        if out > 4.0 * slope_left.max(slope_right) {
            if let Some(value) = clean.get_mut(before + 1) {
                *value = 0.5 * (left + right);
            }
            found.push(before + 1);
        }
    }
    (clean, found)
}

/// Moving average over `2 half + 1` points, fewer at the ends.
#[must_use]
pub fn smooth(values: &[f64], half: usize) -> Vec<f64> {
    if half == 0 {
        return values.to_vec();
    }
    let mut sums = Vec::with_capacity(values.len() + 1);
    let mut sum = 0.0;
    sums.push(sum);
    for value in values {
        sum += value;
        sums.push(sum);
    }
    let average = |rank: usize| {
        let reach = half.min(rank).min(values.len() - 1 - rank);
        let (from, to) = (rank - reach, rank + reach + 1);
        (at(&sums, to) - at(&sums, from)) / (to - from) as f64
    };
    (0..values.len()).map(average).collect()
}

/// The highest value from each rank on.
#[must_use]
pub fn highest_after(values: &[f64]) -> Vec<f64> {
    let mut high = f64::NEG_INFINITY;
    let mut found: Vec<f64> = values
        .iter()
        .rev()
        .map(|value| {
            high = high.max(*value);
            high
        })
        .collect();
    found.reverse();
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stray_reading_is_taken_out_and_a_sharp_peak_is_not() {
        let mut ramp: Vec<f64> = (0..100).map(f64::from).collect();
        ramp[40] = 300.0;
        let (clean, found) = without_spikes(&ramp, Noise::of(&ramp));
        assert_eq!((found.as_slice(), clean[40]), (&[40][..], 40.0));
        let peak = [0.0, 50.0, 100.0, 50.0, 0.0];
        assert!(without_spikes(&peak, Noise::of(&peak)).1.is_empty());
        let brittle = [0.0, 25.0, 50.0, 75.0, 100.0, 0.5, 0.2, 0.1];
        assert!(without_spikes(&brittle, Noise::of(&brittle)).1.is_empty());
    }

    #[test]
    fn the_step_of_a_display_counts_as_noise() {
        let shown: Vec<f64> = (0..1000).map(|i| (f64::from(i) * 0.13).floor()).collect();
        let noise = Noise::of(&shown);
        assert_eq!(noise.step, 1.0);
        let slack: Vec<f64> = (0..300u32)
            .map(|i| f64::from(i.saturating_sub(100)))
            .collect();
        assert_eq!(Noise::of(&slack).step, 0.0);
        assert!((noise.sd - 1.0 / 12f64.sqrt()).abs() < 1e-12);
    }
}
