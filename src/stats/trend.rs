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

/// How fast, as a share of the line's own value at time zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RelativeRate {
    /// Slope over value at time zero, per unit of time.
    pub estimate: f64,
    /// All rates compatible with the data.
    pub set: RatioSet,
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

    /// The slope over the line's own value at time zero, with Fieller's set.
    ///
    /// # Formula
    /// ```text
    /// a = ȳ − b t̄;  q = b/ȳ has independent parts;  r = b/a = q/(1 − q t̄)
    /// ```
    /// The set of q is turned into that of r end by end; where q t̄ = 1 lies within, r has no end.
    ///
    /// # Source
    /// Fieller (1954), for the ratio of two regression coefficients.
    ///
    /// # Errors
    /// [`Refusal::ZeroDenominator`] when the values' mean or the line's start is zero.
    pub fn relative_rate(&self) -> Result<RelativeRate, Refusal> {
        let (time, value) = self.centre;
        let variance = self.sd * self.sd;
        let relative = Relative::new(
            (self.slope.estimate, variance / self.extent),
            (value, variance / self.values as f64),
        )?;
        let turned = |q: f64| q / (1.0 - q * time);
        let estimate = turned(relative.ratio);
        if !estimate.is_finite() {
            return Err(Refusal::ZeroDenominator);
        }
        let critical = student::two_sided_quantile(self.confidence, self.fit.residual_df);
        let set = match relative.set(critical).1 {
            RatioSet::Bounded(ends) => {
                let [low, high] = [ends.lower, ends.upper].map(|q| 1.0 - q * time);
                let (lower, upper) = (turned(ends.lower), turned(ends.upper));
                if low * high > 0.0 {
                    RatioSet::Bounded(Interval { lower, upper })
                } else if low == 0.0 || high == 0.0 {
                    RatioSet::WholeLine
                } else {
                    RatioSet::Outside {
                        at_most: upper,
                        at_least: lower,
                    }
                }
            }
            // The mean itself may be zero: nothing is known of a share of it.
            RatioSet::Outside { .. } | RatioSet::WholeLine => RatioSet::WholeLine,
        };
        Ok(RelativeRate { estimate, set })
    }

    /// The time at which the line has come to this share of its own value at time zero.
    ///
    /// # Formula
    /// ```text
    /// a + b t = share · a   ⇔   t = (share − 1)/r,   r as in [`Trend::relative_rate`]
    /// ```
    /// # Errors
    /// As [`Trend::relative_rate`]; [`Refusal::ZeroDenominator`] for a slope of exactly zero;
    /// [`Refusal::OutOfRange`] for a share of exactly 1.
    pub fn time_to_share(&self, share: f64) -> Result<TimeTo, Refusal> {
        let rate = self.relative_rate()?;
        if rate.estimate == 0.0 {
            return Err(Refusal::ZeroDenominator);
        }
        let way = share - 1.0;
        if way == 0.0 || !way.is_finite() {
            return Err(Refusal::OutOfRange { what: "share" });
        }
        let set = match rate.set {
            RatioSet::Bounded(ends) if ends.lower * ends.upper > 0.0 => {
                let (a, b) = (way / ends.lower, way / ends.upper);
                RatioSet::Bounded(Interval {
                    lower: a.min(b),
                    upper: a.max(b),
                })
            }
            RatioSet::Bounded(ends) if ends.lower < 0.0 && ends.upper > 0.0 => {
                let (a, b) = (way / ends.lower, way / ends.upper);
                RatioSet::Outside {
                    at_most: a.min(b),
                    at_least: a.max(b),
                }
            }
            _ => RatioSet::WholeLine,
        };
        Ok(TimeTo {
            estimate: way / rate.estimate,
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

    /// The share of the start is reached when (1 − share) a + b t = 0; at each end of the set the
    /// t-interval of that sum of coefficients just touches zero.
    #[test]
    fn the_ends_of_a_share_satisfy_the_defining_equation() {
        let found = fit(&TIMES, &PERCENT, 0.9).unwrap();
        let share = 0.8;
        let time = found.time_to_share(share).unwrap();
        let known = -(1.0 - share) * found.start.estimate / found.slope.estimate;
        assert!((time.estimate - known).abs() < 1e-10);
        let interval = time.set.bounded().unwrap();
        for end in [interval.lower, interval.upper] {
            let sum = found.fit.combination(&[1.0 - share, end], 0.9).unwrap();
            let touched = sum.interval.lower.abs().min(sum.interval.upper.abs());
            assert!(touched < 1e-9, "{end}: {touched}");
        }
    }

    /// Any unit of the values gives the same share; without a trend the rate includes zero and the
    /// time has only an earliest end.
    #[test]
    fn a_rate_relative_to_the_start_has_no_unit() {
        let plain = fit(&TIMES, &PERCENT, 0.95)
            .unwrap()
            .relative_rate()
            .unwrap();
        let scaled = fit(&TIMES, &PERCENT.map(|v| v * 37.5), 0.95).unwrap();
        let scaled = scaled.relative_rate().unwrap();
        assert!((plain.estimate - scaled.estimate).abs() < 1e-14);
        let flat = fit(&TIMES, &[1.0, 1.02, 0.99, 1.01, 1.0], 0.95).unwrap();
        let rate = flat.relative_rate().unwrap().set.bounded().unwrap();
        assert!(rate.lower < 0.0 && rate.upper > 0.0);
        let RatioSet::Outside { at_least, .. } = flat.time_to_share(0.9).unwrap().set else {
            panic!("an earliest time only");
        };
        assert!((at_least - -0.1 / rate.lower).abs() < 1e-12);
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
