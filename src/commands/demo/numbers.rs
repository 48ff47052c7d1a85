//! Invented numbers for the demo: normal scatter from a repeatable source, nothing measured.

use crate::study::allocation::Dice;

/// Draws invented values.
pub struct Scatter(Dice);

impl Scatter {
    /// From a number that names the story.
    #[must_use]
    pub fn new(name: u8) -> Self {
        Self(Dice::new(&[name; 32]))
    }

    /// A standard normal value: twelve even draws, less six (common practice, no source).
    pub fn normal(&mut self) -> f64 {
        const STEPS: usize = 1 << 20;
        #[expect(clippy::cast_precision_loss, reason = "below 2^20")]
        let even = |n: usize| n as f64 / STEPS as f64;
        (0..12).map(|_| even(self.0.below(STEPS))).sum::<f64>() - 6.0
    }

    /// A value around a mean with a coefficient of variation in %, to so many decimals.
    pub fn around(&mut self, mean: f64, cv_percent: f64, decimals: i32) -> f64 {
        let scale = 10_f64.powi(decimals);
        (mean * (1.0 + cv_percent / 100.0 * self.normal()) * scale).round() / scale
    }
}
