//! Landmarks of a curve: maximum, yield, break, straight part and toe, energies, and what is odd
//! about it. Loads only; stresses need a section ([`super::tension`], [`super::flexure`]).
//!
//! Read [`signal`] (noise), [`end`] (break and slips), [`toe`], [`yielding`] in this order.

pub mod end;
pub mod finding;
pub mod signal;
pub mod toe;
pub mod yielding;

use super::curve::{Axis, Curve, at};
use end::{End, Ending, Fall, Signal};
use finding::Finding;
use signal::{Noise, smooth, without_spikes};
use toe::Straight;

/// How a curve is read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rule {
    /// The fall that ends a test, as a share of the maximum load.
    pub drop: f64,
    /// The rank of the last point, where the tester said it.
    pub end_at: Option<usize>,
    /// Extensions are counted from the corrected origin; otherwise from the first point.
    pub is_toe_compensated: bool,
}

impl Default for Rule {
    /// A fall by 40 % of the maximum: common practice, no source.
    fn default() -> Self {
        Self {
            drop: 0.4,
            end_at: None,
            is_toe_compensated: true,
        }
    }
}

/// One point of a curve that a value is read at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Its rank in the curve.
    pub at: usize,
    /// The number of its line in the file.
    pub line: u32,
    /// Load, N.
    pub load_n: f64,
    /// Extension from the origin, mm.
    pub extension_mm: Option<f64>,
    /// Energy taken up to here, J.
    pub energy_j: Option<f64>,
}

/// What a curve says by itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Landmarks {
    /// The highest load up to the end.
    pub maximum: Mark,
    /// The last point of the test: the break where it broke.
    pub end: Mark,
    /// How the test ended.
    pub ending: Ending,
    /// The yield point, where there is one before the end.
    pub yielding: Option<Mark>,
    /// The straight part along the travel.
    pub straight: Option<Straight>,
    /// The noise of the load.
    pub noise: Noise,
    /// Loads without stray readings.
    pub clean_n: Vec<f64>,
    /// The largest rank at which the extensometer still measured.
    pub strain_until: Option<usize>,
    /// The ranks of stray readings that were left out.
    pub spikes: Vec<usize>,
    /// Sudden falls of the load before the end.
    pub falls: Vec<Fall>,
    /// The rank from which the travel runs backwards, where it does.
    pub back_from: Option<usize>,
    /// What is odd.
    pub findings: Vec<Finding>,
}

/// Reads the landmarks of a curve.
#[must_use]
pub fn landmarks(curve: &Curve, rule: &Rule) -> Landmarks {
    let noise = Noise::of(&curve.load_n);
    let (clean, spikes) = without_spikes(&curve.load_n, noise);
    let signal = Signal::new(&clean, noise);
    let last = clean.len().saturating_sub(1);
    let end = match rule.end_at {
        Some(at) => End {
            at: at.min(last),
            ending: Ending::Said,
        },
        None => signal.end(rule.drop),
    };
    let up_to_end = clean.get(..=end.at).unwrap_or(&clean);
    let peak = super::curve::highest(up_to_end);
    let falls = signal.falls(end.at);
    let (axis_kind, axis) = curve.axis();
    let straight = (axis_kind != Axis::Rank)
        .then(|| toe::straight(&axis, &clean, peak))
        .flatten();
    // Smoothed over a fiftieth of the record: what lasts longer is the piece's.
    let half = end.at / 100;
    let smoothed = smooth(up_to_end, half);
    let yield_at = yielding::yielding(&axis, &smoothed, end.at, noise, half, &falls);
    // The highest reading of a blunt top lies beside its smoothed one.
    let yield_at = yield_at.map(|at| {
        if at.abs_diff(peak) <= half + 2 {
            peak
        } else {
            at
        }
    });
    let reader = Reader::new(curve, &clean, straight.filter(|_| rule.is_toe_compensated));
    let strain_until = curve
        .strain
        .as_ref()
        .map(|strain| strain_until(strain, end.at));
    let mut found = Landmarks {
        maximum: reader.mark(peak),
        end: reader.mark(end.at),
        ending: end.ending,
        yielding: yield_at.map(|at| reader.mark(at)),
        straight,
        noise,
        strain_until,
        back_from: back_from(curve, end.at),
        spikes,
        falls,
        findings: Vec::new(),
        clean_n: Vec::new(),
    };
    found.findings = findings(curve, &clean, &found);
    found.clean_n = clean;
    found
}

/// Reads marks off a curve.
struct Reader<'a> {
    curve: &'a Curve,
    load: &'a [f64],
    origin: f64,
    /// Energy up to each point, J.
    energy: Option<Vec<f64>>,
}

impl<'a> Reader<'a> {
    fn new(curve: &'a Curve, load: &'a [f64], straight: Option<Straight>) -> Self {
        let first = curve.travel_mm.as_ref().map_or(0.0, |travel| at(travel, 0));
        let straight = straight.filter(|_| curve.travel_mm.is_some());
        Self {
            curve,
            load,
            origin: straight.map_or(first, |straight| straight.origin),
            energy: curve
                .travel_mm
                .as_ref()
                .map(|travel| energies(travel, load)),
        }
    }

    fn mark(&self, rank: usize) -> Mark {
        let travel = self.curve.travel_mm.as_ref();
        Mark {
            at: rank,
            line: self.curve.lines.get(rank).copied().unwrap_or(0),
            load_n: at(self.load, rank),
            extension_mm: travel.map(|travel| at(travel, rank) - self.origin),
            energy_j: self.energy.as_ref().map(|energy| at(energy, rank)),
        }
    }
}

/// Energy taken up to each point, J.
///
/// # Formula
/// ```text
/// W = ∫ F dx, by trapezoids; N·mm = 1/1000 J
/// ```
///
/// # Examples
/// ```
/// // Trade handbook 3.5.
/// let x = [0.0, 0.5, 1.0, 1.5, 2.0, 2.4, 2.6];
/// let f = [0.0, 600.0, 1180.0, 1720.0, 2180.0, 2400.0, 2300.0];
/// let energy = overwinter::mechanics::evaluate::energies(&x, &f);
/// assert!((energy[6] - 3.681).abs() < 1e-12 && (energy[5] - 3.211).abs() < 1e-12);
/// ```
#[must_use]
pub fn energies(travel_mm: &[f64], load_n: &[f64]) -> Vec<f64> {
    let mut sum = 0.0;
    let mut found = Vec::with_capacity(load_n.len());
    found.push(0.0);
    for (x, f) in travel_mm.windows(2).zip(load_n.windows(2)) {
        sum += 0.5e-3 * (at(f, 0) + at(f, 1)) * (at(x, 1) - at(x, 0));
        found.push(sum);
    }
    found
}

/// How far an extensometer measured: up to where its reading ends, falls back by half at once, or
/// stands still to the end over a twentieth of the test or more.
fn strain_until(strain: &[f64], end: usize) -> usize {
    let part = strain.get(..=end).unwrap_or(strain);
    let mut high = f64::NEG_INFINITY;
    let mut until = 0;
    for (rank, value) in part.iter().enumerate() {
        let has_jumped = high > 0.0 && *value < 0.5 * high && high > 1e-4;
        if !value.is_finite() && high > f64::NEG_INFINITY || has_jumped {
            break;
        }
        if value.is_finite() {
            high = high.max(*value);
            until = rank;
        }
    }
    let resting = at(part, until);
    let still = (0..=until)
        .rev()
        .take_while(|rank| at(part, *rank) == resting)
        .count();
    if still > (part.len() / 20).max(3) {
        until = until.saturating_sub(still - 1);
    }
    until
}

fn findings(curve: &Curve, clean: &[f64], found: &Landmarks) -> Vec<Finding> {
    let notable = (0.02 * found.maximum.load_n).max(6.0 * found.noise.sd);
    let mut odd = of_beginning(curve, clean, found, notable);
    if !found.spikes.is_empty() {
        odd.push(Finding::Spikes(found.spikes.len()));
    }
    odd.extend(of_falls(&found.falls));
    odd.extend(of_ending(clean, found, notable));
    odd.extend(of_recording(curve, found));
    odd
}

/// Those of the list that are so.
fn those<const N: usize>(list: [(bool, Finding); N]) -> Vec<Finding> {
    let so = list.into_iter().filter(|(so, _)| *so);
    so.map(|(_, finding)| finding).collect()
}

/// What is odd about how the test began.
fn of_beginning(curve: &Curve, clean: &[f64], found: &Landmarks, notable: f64) -> Vec<Finding> {
    let start = clean.get(..(found.maximum.at / 200).max(1));
    let first = mean(start.unwrap_or_default());
    let slack = slack(curve, found);
    those([
        (curve.is_turned, Finding::Turned),
        (first >= notable, Finding::StartsLoaded(first)),
        (first <= -notable, Finding::StartsBelowZero(first)),
        (slack.is_some(), Finding::Slack(slack.unwrap_or(0.0))),
    ])
}

/// Falls of the load on the way: one or two that recover are slips, more are saw teeth.
fn of_falls(falls: &[Fall]) -> Vec<Finding> {
    let slips = falls.iter().filter(|fall| fall.recovers).count();
    let mut odd = those([(slips > 2, Finding::SawTeeth(slips))]);
    for fall in falls {
        odd.extend(those([
            (fall.recovers && slips <= 2, Finding::Slip(fall.percent)),
            (!fall.recovers, Finding::PartialFall(fall.percent)),
        ]));
    }
    odd
}

/// What is odd about how the test was recorded.
fn of_recording(curve: &Curve, found: &Landmarks) -> Vec<Finding> {
    let percent = |load: f64| 100.0 * load / found.maximum.load_n;
    let (step, noise) = (percent(found.noise.step), percent(found.noise.sd));
    let peak = found.maximum.at;
    let is_noisy = noise >= 0.5 && step < 0.5 && peak >= 50;
    let is_off = found.strain_until.is_some_and(|until| until < found.end.at);
    those([
        (peak < 10, Finding::Sparse(peak + 1)),
        (step >= 0.5, Finding::Coarse(step)),
        (is_noisy, Finding::Noisy(noise)),
        (found.back_from.is_some(), Finding::TravelBack),
        (is_off, Finding::ExtensometerOff),
        (curve.is_gauge_missing, Finding::GaugeMissing),
        (curve.travel_mm.is_none(), Finding::NoTravel),
    ])
}

/// What is odd about how the test ended.
fn of_ending(clean: &[f64], found: &Landmarks, notable: f64) -> Option<Finding> {
    match found.ending {
        Ending::Opened => Some(Finding::Opened),
        Ending::AtHighest => Some(Finding::EndsAtHighest),
        Ending::Stopped => {
            let percent = 100.0 * found.end.load_n / found.maximum.load_n;
            Some(Finding::EndsBefore(percent))
        }
        Ending::Broke => {
            let tail = clean.get(found.end.at + 1..).unwrap_or_default();
            let rest = mean(tail.get(tail.len() / 2..).unwrap_or_default());
            let has_moved = tail.len() >= 10 && rest.abs() >= notable;
            has_moved.then_some(Finding::ZeroMoved(rest))
        }
        Ending::Said => None,
    }
}

/// Slack worth a word: more than a fiftieth of the travel to the peak.
fn slack(curve: &Curve, found: &Landmarks) -> Option<f64> {
    let travel = curve.travel_mm.as_ref()?;
    let slack = found.straight?.origin - at(travel, 0);
    let whole = at(travel, found.maximum.at) - at(travel, 0);
    (slack > 0.02 * whole).then_some(slack)
}

fn mean(values: &[f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    values.iter().sum::<f64>() / values.len() as f64
}

/// From where the travel goes back, when it does so by a twentieth of its range before the end.
fn back_from(curve: &Curve, end: usize) -> Option<usize> {
    let travel = curve.travel_mm.as_ref()?.get(..=end)?;
    let (mut high, mut low) = ((0, f64::NEG_INFINITY), f64::INFINITY);
    let (mut back, mut from) = (0.0f64, 0);
    for (rank, value) in travel.iter().enumerate() {
        if *value > high.1 {
            high = (rank, *value);
        }
        low = low.min(*value);
        if high.1 - value > back {
            (back, from) = (high.1 - value, high.0);
        }
    }
    (back > 0.05 * (high.1 - low)).then_some(from)
}

#[cfg(test)]
mod tests;
