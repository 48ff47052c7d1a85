//! From one interval and one margin to one of the verdicts (practice.md §3.1, §5).

use serde::{Deserialize, Serialize};

use crate::analysis::comparison::Effect;

/// What may be said. The interval alone decides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Changed, by more than the margin: the interval lies beyond it.
    ChangedBeyond,
    /// Changed; whether by more than the margin is not settled.
    Changed,
    /// Changed, but within the margin.
    ChangedWithin,
    /// Unchanged within the margin: the interval lies inside it and includes no change.
    Unchanged,
    /// Not settled by this study.
    NotSettled,
}

/// The words between which a verdict may not waver with the counting (practice.md §3.7).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Word {
    /// Changed to less.
    ChangedLess,
    /// Changed to more.
    ChangedMore,
    /// Changed, but within the margin.
    ChangedWithin,
    /// Unchanged within the margin.
    Unchanged,
    /// Not settled.
    NotSettled,
}

impl Verdict {
    /// The verdict of an effect against a margin, both in %.
    ///
    /// A bound that lies exactly on no change or on the margin is not beyond it.
    #[must_use]
    pub fn of(effect: &Effect, margin_percent: f64) -> Self {
        let (lower, upper) = (effect.lower_percent, effect.upper_percent);
        let excludes_no_change = lower > 0.0 || upper < 0.0;
        let is_inside = -margin_percent < lower && upper < margin_percent;
        let is_beyond = lower > margin_percent || upper < -margin_percent;
        match (excludes_no_change, is_inside, is_beyond) {
            (true, _, true) => Self::ChangedBeyond,
            (true, false, false) => Self::Changed,
            (true, true, false) => Self::ChangedWithin,
            (false, true, _) => Self::Unchanged,
            (false, false, _) => Self::NotSettled,
        }
    }

    /// The word and its direction.
    #[must_use]
    pub fn word(self, effect: &Effect) -> Word {
        match self {
            Self::ChangedBeyond | Self::Changed if effect.estimate_percent < 0.0 => {
                Word::ChangedLess
            }
            Self::ChangedBeyond | Self::Changed => Word::ChangedMore,
            Self::ChangedWithin => Word::ChangedWithin,
            Self::Unchanged => Word::Unchanged,
            Self::NotSettled => Word::NotSettled,
        }
    }

    /// In a table.
    #[must_use]
    pub fn label(self, margin_percent: f64) -> String {
        let margin = crate::analysis::digits::plain(margin_percent);
        match self {
            Self::ChangedBeyond => format!("changed, by more than {margin} %"),
            Self::Changed => "changed".to_owned(),
            Self::ChangedWithin => format!("changed, but within ±{margin} %"),
            Self::Unchanged => format!("unchanged within ±{margin} %"),
            Self::NotSettled => "not settled".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::comparison::Basis;

    fn of(lower: f64, upper: f64) -> Verdict {
        let effect = Effect {
            basis: Basis::Ratio,
            estimate_percent: f64::midpoint(lower, upper),
            lower_percent: lower,
            upper_percent: upper,
        };
        Verdict::of(&effect, 10.0)
    }

    #[test]
    fn the_interval_alone_decides() {
        // The five cases of practice.md §5.1–5 with their own limits.
        assert_eq!(of(-31.0, -17.0), Verdict::ChangedBeyond);
        assert_eq!(of(-20.0, -4.0), Verdict::Changed);
        assert_eq!(of(-7.0, -1.0), Verdict::ChangedWithin);
        assert_eq!(of(-6.0, 4.0), Verdict::Unchanged);
        assert_eq!(of(-14.0, 8.0), Verdict::NotSettled);
        assert_eq!(of(17.0, 31.0), Verdict::ChangedBeyond);
    }

    #[test]
    fn a_bound_on_the_line_is_not_beyond_it() {
        assert_eq!(of(-10.0, 4.0), Verdict::NotSettled);
        assert_eq!(of(-20.0, -10.0), Verdict::Changed);
        assert_eq!(of(-8.0, 0.0), Verdict::Unchanged);
    }
}
