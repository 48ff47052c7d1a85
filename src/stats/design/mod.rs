//! What a design can see, by the very rule that will give the verdict: simultaneous ratio intervals
//! of several conditions against one storage control.
//!
//! The spreads are drawn from an evenly filled, randomly shifted lattice (fixed seed), the means
//! integrated for each draw, so the chances are smooth in everything and their Monte Carlo error,
//! which is stated, is small.

mod critical;

use crate::stats::dist::{gamma::chi_squared_quantile, normal};
use crate::stats::numeric::root;
use crate::stats::outcome::Outcome;
use crate::stats::refusal::{Refusal, open_unit, positive};
use crate::stats::rng::Rng;
use crate::stats::sample::Spread;
use critical::CriticalValues;

/// A plan with equal numbers in all exposed groups.
///
/// The "units" are pieces, or holders when the verdict rests on holder means: then the spread is the
/// pooled one and `cv` that of a holder mean (see [`cv_of_holder_mean`]).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Design {
    /// How many conditions are compared with the storage control.
    pub conditions: usize,
    /// Units in the storage control.
    pub control_units: usize,
    /// Units in each condition.
    pub exposed_units: usize,
    /// Standard deviation of a unit over the mean, as new and in the storage control.
    pub cv: f64,
    /// How many times larger the standard deviation is after exposure (1, 2, 3).
    pub growth: f64,
    /// The margin, a fraction of the storage control.
    pub margin: f64,
    /// Confidence of the simultaneous intervals.
    pub confidence: f64,
    /// Separate or pooled spreads.
    pub spread: Spread,
}

/// Scatter of a holder mean: of m pieces with scatter `cv` of which the share `correlation` of the
/// variance lies between holders.
///
/// # Formula
/// ```text
/// cv √(ρ + (1 − ρ)/m)
/// ```
///
/// # Errors
/// [`Refusal::OutOfRange`], [`Refusal::TooFew`] for no piece.
pub fn cv_of_holder_mean(cv: f64, correlation: f64, pieces: usize) -> Result<f64, Refusal> {
    positive(cv, "scatter")?;
    if !(0.0..=1.0).contains(&correlation) {
        return Err(Refusal::OutOfRange {
            what: "intraclass correlation",
        });
    }
    if pieces == 0 {
        return Err(Refusal::TooFew { needed: 1, got: 0 });
    }
    Ok(cv * (correlation + (1.0 - correlation) / pieces as f64).sqrt())
}

/// The chance of each outcome for one condition. They add up to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chances {
    /// Changed, by more than the margin.
    pub beyond_margin: f64,
    /// Changed; whether by more than the margin is open.
    pub changed: f64,
    /// Changed, but within the margin.
    pub changed_within: f64,
    /// Unchanged within the margin.
    pub unchanged: f64,
    /// Not settled.
    pub not_settled: f64,
    /// Largest standard error of these chances from drawing the spreads.
    pub error: f64,
}

impl Chances {
    /// The chance of any of the three outcomes that say "changed".
    pub fn any_change(&self) -> f64 {
        self.beyond_margin + self.changed + self.changed_within
    }

    /// The chance of one outcome.
    pub fn of(&self, outcome: Outcome) -> f64 {
        match outcome {
            Outcome::BeyondMargin => self.beyond_margin,
            Outcome::Changed => self.changed,
            Outcome::ChangedWithin => self.changed_within,
            Outcome::Unchanged => self.unchanged,
            Outcome::NotSettled => self.not_settled,
        }
    }
}

/// Estimated variances of the means in one imagined study, the true control mean being 1.
#[derive(Debug, Clone)]
struct Draw {
    control: f64,
    /// One per condition; the first is the one looked at.
    exposed: Vec<f64>,
}

/// A design with its imagined studies, ready for questions.
#[derive(Debug, Clone)]
pub struct Planner {
    design: Design,
    draws: Vec<Draw>,
    critical: CriticalValues,
}

/// Random shifts of the lattice; the scatter between them is the stated error.
const SHIFTS: usize = 8;

/// Imagined studies for each shift.
const STUDIES: usize = 128;

/// Most conditions of a design.
const MOST_CONDITIONS: usize = 50;

/// Most units in a group of a design.
const MOST_UNITS: usize = 10_000;

/// Seed of the shifts.
const SEED: u64 = 3;

/// One coordinate of the lattice per group: fractions of the square roots of primes.
///
/// # Source
/// Richtmyer (1951), as in Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods (1992).
fn lattice_step(group: usize) -> f64 {
    let is_prime = |n: &usize| {
        (2..*n)
            .take_while(|d| d * d <= *n)
            .all(|d| !n.is_multiple_of(d))
    };
    (2..)
        .filter(is_prime)
        .nth(group)
        .map_or(0.5, |prime| (prime as f64).sqrt().fract())
}

impl Planner {
    /// Draws the spreads and tabulates the critical values.
    ///
    /// # Errors
    /// [`Refusal::NoComparison`], [`Refusal::TooFew`] (two units per group), [`Refusal::OutOfRange`],
    /// [`Refusal::NoConvergence`].
    pub fn new(design: Design) -> Result<Self, Refusal> {
        if design.conditions == 0 {
            return Err(Refusal::NoComparison);
        }
        let least = design.control_units.min(design.exposed_units);
        if least < 2 {
            return Err(Refusal::TooFew {
                needed: 2,
                got: least,
            });
        }
        let most = design.control_units.max(design.exposed_units);
        if design.conditions > MOST_CONDITIONS || most > MOST_UNITS {
            return Err(Refusal::OutOfRange {
                what: "size of the design",
            });
        }
        open_unit(design.confidence, "confidence")?;
        open_unit(design.margin, "margin")?;
        positive(design.cv, "scatter")?;
        positive(design.growth, "growth of the scatter")?;
        let mut rng = Rng::new(SEED);
        let steps: Vec<f64> = (0..=design.conditions).map(lattice_step).collect();
        let mut draws = Vec::with_capacity(SHIFTS * STUDIES);
        for _ in 0..SHIFTS {
            let shift: Vec<f64> = steps.iter().map(|_| rng.fraction()).collect();
            for i in 0..STUDIES {
                let place = |(shift, step): (&f64, &f64)| (shift + step * i as f64).fract();
                let at: Vec<f64> = shift.iter().zip(&steps).map(place).collect();
                draws.push(design.draw(&at));
            }
        }
        Ok(Self {
            critical: CriticalValues::new(&design)?,
            design,
            draws,
        })
    }

    /// The design asked about.
    pub fn design(&self) -> &Design {
        &self.design
    }

    /// The chance of each outcome for a condition that truly changes by `change` (−0.1: 10 % less),
    /// the other conditions changing alike.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] unless `change` is above −1.
    pub fn chances(&self, change: f64) -> Result<Chances, Refusal> {
        let ratio = positive(1.0 + change, "ratio")?;
        let of_shift = |draws: &[Draw]| -> [f64; 5] {
            let mut sums = [0.0; 5];
            for draw in draws {
                let critical = self.critical.at(&self.design, draw, ratio);
                let chances = self.design.chances_given(draw, ratio, critical);
                sums.iter_mut()
                    .zip(chances)
                    .for_each(|(sum, chance)| *sum += chance);
            }
            sums.map(|s| s / draws.len() as f64)
        };
        let shifts: Vec<[f64; 5]> = self.draws.chunks(STUDIES).map(of_shift).collect();
        let n = shifts.len() as f64;
        let mut mean = [0.0; 5];
        let mut error = 0.0_f64;
        for (outcome, slot) in mean.iter_mut().enumerate() {
            let values = || shifts.iter().filter_map(|s| s.get(outcome));
            *slot = values().sum::<f64>() / n;
            let squares: f64 = values().map(|v| (v - *slot).powi(2)).sum();
            error = error.max((squares / (n - 1.0) / n).sqrt());
        }
        let [
            beyond_margin,
            changed,
            changed_within,
            unchanged,
            not_settled,
        ] = mean;
        Ok(Chances {
            beyond_margin,
            changed,
            changed_within,
            unchanged,
            not_settled,
            error,
        })
    }

    /// The smallest loss (a fraction, to 1e-5) that is called changed with this chance; `None` when
    /// not even a loss of 99 % is.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] for a power outside (0, 1), [`Refusal::NoConvergence`].
    pub fn detectable_loss(&self, power: f64) -> Result<Option<f64>, Refusal> {
        open_unit(power, "power")?;
        let miss = |loss: f64| {
            self.chances(-loss)
                .map_or(f64::NAN, |c| c.any_change() - power)
        };
        if miss(0.99) < 0.0 {
            return Ok(None);
        }
        if miss(0.0) >= 0.0 {
            return Ok(Some(0.0));
        }
        root::within(miss, (0.0, 0.99), 1e-5, "detectable change").map(Some)
    }
}

/// The smallest equal number of units per group at which "unchanged" is reached with this chance
/// when nothing changed, looked for up to `most`; `None` when that does not suffice.
///
/// # Errors
/// As [`Planner::new`].
pub fn units_for_unchanged(
    design: Design,
    chance: f64,
    most: usize,
) -> Result<Option<usize>, Refusal> {
    open_unit(chance, "chance")?;
    let reaches = |units: usize| -> Result<bool, Refusal> {
        let planner = Planner::new(Design {
            control_units: units,
            exposed_units: units,
            ..design
        })?;
        Ok(planner.chances(0.0)?.unchanged >= chance)
    };
    let (mut low, mut high) = (2, 2);
    while !reaches(high)? {
        if high >= most {
            return Ok(None);
        }
        low = high + 1;
        high = (2 * high).min(most);
    }
    while low < high {
        let middle = low + (high - low) / 2;
        if reaches(middle)? {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    Ok(Some(high))
}

impl Design {
    /// One imagined study: chi-squared spreads about the true ones, at these fractions (the storage
    /// control first).
    fn draw(&self, at: &[f64]) -> Draw {
        let mut at = at.iter().copied();
        let mut spread = |units: usize, sd: f64| {
            let df = units as f64 - 1.0;
            sd * sd * chi_squared_quantile(at.next().unwrap_or(0.5), df) / df
        };
        let control = spread(self.control_units, self.cv);
        let exposed: Vec<f64> = (0..self.conditions)
            .map(|_| spread(self.exposed_units, self.cv * self.growth))
            .collect();
        let (n0, n) = (self.control_units as f64, self.exposed_units as f64);
        match self.spread {
            Spread::Separate => Draw {
                control: control / n0,
                exposed: exposed.iter().map(|s| s / n).collect(),
            },
            Spread::Pooled => {
                let whole = control * (n0 - 1.0) + exposed.iter().sum::<f64>() * (n - 1.0);
                let common = whole / self.pooled_df();
                Draw {
                    control: common / n0,
                    exposed: vec![common / n; self.conditions],
                }
            }
        }
    }

    /// Units less groups.
    fn pooled_df(&self) -> f64 {
        let (n0, n) = (self.control_units as f64, self.exposed_units as f64);
        n0 - 1.0 + (n - 1.0) * self.conditions as f64
    }

    /// The chance of each outcome when the spreads have come out as drawn: the means are integrated.
    ///
    /// The interval's end lies beyond a ratio θ exactly when x̄ − θ x̄₀ lies beyond ± c √(v + θ² v₀),
    /// so for a given x̄₀ every outcome is an interval of x̄.
    fn chances_given(&self, draw: &Draw, ratio: f64, critical: f64) -> [f64; 5] {
        const STEP: f64 = 0.45;
        let control_sd = self.cv / (self.control_units as f64).sqrt();
        let exposed_sd = self.cv * self.growth / (self.exposed_units as f64).sqrt();
        let v = draw.exposed.first().copied().unwrap_or_default();
        let mut sums = [0.0; 5];
        for i in -12..=12 {
            let z = STEP * f64::from(i);
            let weight = STEP * normal::pdf(z);
            let control = 1.0 + control_sd * z;
            let settled = control > 0.0 && critical * critical * draw.control < control * control;
            let parts = if settled {
                let below = |x: f64| normal::cdf((x - ratio) / exposed_sd);
                let half = |t: f64| critical * (v + t * t * draw.control).sqrt();
                let ends = |t: f64| (below(t * control - half(t)), below(t * control + half(t)));
                outcomes(ends(1.0 - self.margin), ends(1.0), ends(1.0 + self.margin))
            } else {
                [0.0, 0.0, 0.0, 0.0, 1.0]
            };
            sums.iter_mut()
                .zip(parts)
                .for_each(|(sum, part)| *sum += weight * part);
        }
        // The weights add up to 1 but for the far tails.
        let whole: f64 = sums.iter().sum();
        sums.map(|s| s / whole)
    }
}

/// Chances of the outcomes from P(x̄ below the value at which the interval's upper end passes θ) and
/// P(x̄ below the value at which its lower end does), for θ at the low margin, no change, high margin.
fn outcomes(low: (f64, f64), none: (f64, f64), high: (f64, f64)) -> [f64; 5] {
    let beyond = low.0 + (1.0 - high.1);
    // Inside the margin: the lower end above its foot, the upper end below its top.
    let inside = (high.0 - low.1).max(0.0);
    let unchanged = (high.0.min(none.1) - low.1.max(none.0)).max(0.0);
    let within = (inside - unchanged).max(0.0);
    let excluded = none.0 + (1.0 - none.1);
    let changed = (excluded - beyond - within).max(0.0);
    [
        beyond,
        changed,
        within,
        unchanged,
        (1.0 - beyond - changed - within - unchanged).max(0.0),
    ]
}

#[cfg(test)]
mod tests;
