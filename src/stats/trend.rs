//! A straight line over time: how fast, and when a level is reached.

use crate::stats::dist::student;
use crate::stats::interval::Interval;
use crate::stats::numeric::sum::{mean, squares_about};
use crate::stats::ratio::{RatioSet, Relative};
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::regression::{Regression, Term, line};

/// A fitted trend.
#[derive(Debug, Clone)]
pub struct Trend {
    /// Change per unit of time, with its interval.
    pub slope: Term,
    /// Value at time zero, with its interval.
    pub start: Term,
    /// Residual standard deviation.
    pub sd: f64,
    /// The whole fit, for fitted values and bands.
    pub fit: Regression,
    confidence: f64,
    /// Means of times and values, and Σ (t − t̄)².
    centre: (f64, f64),
    extent: f64,
    values: usize,
}

/// When a level is reached.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeTo {
    /// The time at which the line has this level.
    pub estimate: f64,
    /// All times compatible with the data; unbounded when no trend is seen.
    pub set: RatioSet,
}

/// Fits a line to values at times.
///
/// Values of different stages must be of different pieces (destructive tests); repeated readings of
/// one piece are not independent, reduce them to one slope per piece first.
///
/// # Errors
/// [`Refusal::TooFew`] below three values, [`Refusal::ZeroSpread`] when all times or all residuals
/// agree, [`Refusal::Unmatched`], [`Refusal::OutOfRange`].
pub fn fit(times: &[f64], values: &[f64], confidence: f64) -> Result<Trend, Refusal> {
    open_unit(confidence, "confidence")?;
    let fitted = line(times, values)?;
    if fitted.residual_ss == 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    let middle = mean(times);
    Ok(Trend {
        slope: fitted.term(1, confidence)?,
        start: fitted.term(0, confidence)?,
        sd: fitted.sd(),
        confidence,
        centre: (middle.value(), mean(values).value()),
        extent: squares_about(times, middle).value(),
        values: times.len(),
        fit: fitted,
    })
}

impl Trend {
    /// The time at which the line reaches a level, with Fieller's set.
    ///
    /// Say so when it lies beyond one and a half times the time observed.
    ///
    /// # Formula
    /// ```text
    /// t = t̄ + (level − ȳ)/b,   var(ȳ) = s²/n,  var(b) = s²/Σ(t − t̄)²,  independent
    /// ```
    /// # Source
    /// Fieller (1954); as calibration in Draper & Smith, Applied Regression Analysis (1998), 3.2.
    ///
    /// # Errors
    /// [`Refusal::ZeroDenominator`] for a slope of exactly zero.
    pub fn time_to(&self, level: f64) -> Result<TimeTo, Refusal> {
        let (time, value) = self.centre;
        let variance = self.sd * self.sd;
        let relative = Relative::new(
            (level - value, variance / self.values as f64),
            (self.slope.estimate, variance / self.extent),
        )?;
        let critical = student::two_sided_quantile(self.confidence, self.fit.residual_df);
        let set = match relative.set(critical).1 {
            RatioSet::Bounded(interval) => RatioSet::Bounded(Interval {
                lower: time + interval.lower,
                upper: time + interval.upper,
            }),
            RatioSet::Outside { at_most, at_least } => RatioSet::Outside {
                at_most: time + at_most,
                at_least: time + at_least,
            },
            RatioSet::WholeLine => RatioSet::WholeLine,
        };
        Ok(TimeTo {
            estimate: time + relative.ratio,
            set,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TIMES: [f64; 5] = [0.0, 3.0, 6.0, 12.0, 24.0];
    const PERCENT: [f64; 5] = [100.0, 94.1, 87.9, 77.8, 60.2];

    /// The handbook's decay (trade.md 7.8): on logarithms the half-life is 32.774 months.
    #[test]
    fn worked_example() {
        let found = fit(&TIMES, &PERCENT.map(f64::ln), 0.95).unwrap();
        let half = found
            .time_to(found.start.estimate - std::f64::consts::LN_2)
            .unwrap();
        assert!((half.estimate - 32.774).abs() < 5e-4);
    }

    /// At each end of the set the band of the line just touches the level.
    #[test]
    fn the_ends_lie_on_the_band() {
        let found = fit(&TIMES, &PERCENT, 0.9).unwrap();
        let interval = found.time_to(75.0).unwrap().set.bounded().unwrap();
        let early = found.fit.predict(&[interval.lower], 0.9).unwrap().mean;
        let late = found.fit.predict(&[interval.upper], 0.9).unwrap().mean;
        assert!((early.lower - 75.0).abs() < 1e-9 && (late.upper - 75.0).abs() < 1e-9);
    }

    #[test]
    fn without_a_trend_no_time_is_given() {
        let flat = fit(&TIMES, &[1.0, 1.2, 0.9, 1.1, 1.0], 0.95).unwrap();
        assert!(flat.time_to(0.5).unwrap().set.bounded().is_none());
        assert_eq!(
            fit(&TIMES, &[1.0; 5], 0.95).unwrap_err(),
            Refusal::ZeroSpread
        );
    }
}
