//! What one interval of a ratio says, held against no change and against a margin.

use crate::stats::interval::Interval;
use crate::stats::ratio::RatioSet;

/// The five things an interval can say. The same interval decides both questions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Outcome {
    /// Changed, by more than the margin: the interval lies wholly outside it, on one side.
    BeyondMargin,
    /// Changed; whether by more than the margin is open.
    Changed,
    /// Changed, but within the margin.
    ChangedWithin,
    /// Unchanged within the margin.
    Unchanged,
    /// Neither no change nor a change beyond the margin is excluded; also whenever the set of
    /// compatible ratios has no finite ends.
    NotSettled,
}

impl Outcome {
    /// Judges an interval of the ratio exposed / storage control against 1 ± `margin`.
    pub fn of_interval(interval: Interval, margin: f64) -> Self {
        let excludes_no_change = !interval.contains(1.0);
        let inside = interval.inside(1.0 - margin, 1.0 + margin);
        if interval.upper < 1.0 - margin || interval.lower > 1.0 + margin {
            Self::BeyondMargin
        } else if inside && excludes_no_change {
            Self::ChangedWithin
        } else if inside {
            Self::Unchanged
        } else if excludes_no_change {
            Self::Changed
        } else {
            Self::NotSettled
        }
    }

    /// Judges a confidence set; only a bounded one can settle anything.
    pub fn of(set: &RatioSet, margin: f64) -> Self {
        set.bounded().map_or(Self::NotSettled, |interval| {
            Self::of_interval(interval, margin)
        })
    }

    /// Whether the word "changed" is used.
    pub fn is_changed(self) -> bool {
        matches!(
            self,
            Self::BeyondMargin | Self::Changed | Self::ChangedWithin
        )
    }

    /// Whether the outcome says something untrue of a true ratio.
    pub fn is_wrong(self, truth: f64, margin: f64) -> bool {
        let within = (truth - 1.0).abs() <= margin;
        match self {
            Self::BeyondMargin => within,
            Self::Changed => truth == 1.0,
            Self::ChangedWithin => truth == 1.0 || !within,
            Self::Unchanged => !within,
            Self::NotSettled => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The five example sentences of practice.md 5, in order (loss of 17–31 %, 4–20 %, 1–7 %,
    /// 6 % loss to 4 % gain, 14 % loss to 8 % gain; margin 10 %).
    #[test]
    fn the_five_sentences() {
        let of = |lower, upper| Outcome::of_interval(Interval { lower, upper }, 0.1);
        assert_eq!(of(0.69, 0.83), Outcome::BeyondMargin);
        assert_eq!(of(0.80, 0.96), Outcome::Changed);
        assert_eq!(of(0.93, 0.99), Outcome::ChangedWithin);
        assert_eq!(of(0.94, 1.04), Outcome::Unchanged);
        assert_eq!(of(0.86, 1.08), Outcome::NotSettled);
        assert_eq!(Outcome::of(&RatioSet::WholeLine, 0.1), Outcome::NotSettled);
    }

    #[test]
    fn what_would_be_untrue() {
        assert!(Outcome::Unchanged.is_wrong(0.85, 0.1));
        assert!(!Outcome::Unchanged.is_wrong(0.95, 0.1));
        assert!(Outcome::Changed.is_wrong(1.0, 0.1));
        assert!(Outcome::BeyondMargin.is_wrong(0.95, 0.1));
        assert!(!Outcome::NotSettled.is_wrong(0.2, 0.1));
    }
}
