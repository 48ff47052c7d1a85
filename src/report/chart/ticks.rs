//! Round numbers along an axis.

use crate::analysis::digits::{fixed, round};

/// A tick: its value and how it is written.
#[derive(Debug, Clone, PartialEq)]
pub struct Tick {
    /// Where.
    pub value: f64,
    /// In digits, all of an axis with the same number of them.
    pub text: String,
}

/// Ticks at steps of 1, 2 or 5 times a power of ten, at most `most` of them, within the ends.
#[must_use]
pub fn ticks(ends: (f64, f64), most: usize) -> Vec<Tick> {
    let (low, high) = ends;
    if !(low.is_finite() && high.is_finite() && high > low) || most == 0 {
        return Vec::new();
    }
    let rough = (high - low) / most as f64;
    let power = 10_f64.powf(rough.log10().floor());
    let factor = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .find(|factor| factor * power >= rough * (1.0 - 1e-9))
        .unwrap_or(10.0);
    let step = factor * power;
    let decimals = (-step.log10().floor()).clamp(0.0, 9.0) as usize;
    let first = (low / step - 1e-9).ceil();
    let count = ((high / step + 1e-9).floor() - first).clamp(0.0, 100.0) as usize;
    (0..=count)
        .map(|n| round((first + n as f64) * step, decimals))
        .map(|value| Tick {
            value,
            text: fixed(value, decimals),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(low: f64, high: f64) -> Vec<String> {
        ticks((low, high), 5)
            .into_iter()
            .map(|tick| tick.text)
            .collect()
    }

    #[test]
    fn ticks_are_round_and_within_the_ends() {
        assert_eq!(texts(183.0, 322.0), ["200", "250", "300"]);
        assert_eq!(texts(-0.31, 0.12), ["−0.3", "−0.2", "−0.1", "0.0", "0.1"]);
        assert_eq!(texts(0.0, 1.0), ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]);
    }

    #[test]
    fn no_range_no_ticks() {
        assert!(texts(1.0, 1.0).is_empty());
        assert!(texts(f64::NAN, 1.0).is_empty());
    }
}
