//! Paired readings: the change of mass and dimensions of one piece, and what the instruments could
//! resolve of it.

use std::collections::BTreeMap;

use crate::analysis::piece::{Measured, Pair};
use crate::study::ids::InstrumentId;
use crate::study::plan::{Plan, Shape};
use crate::study::reading::{Instrument, MoistureState, Occasion, Quantity, Reading};

/// Where each instrument stands in the study's list.
pub type Bench<'r> = BTreeMap<InstrumentId, (usize, &'r Instrument)>;

/// The study's instruments by id.
#[must_use]
pub fn bench(instruments: &[Instrument]) -> Bench<'_> {
    let placed = instruments.iter().enumerate();
    placed.map(|(at, it)| (it.id, (at, it))).collect()
}

/// The pairs of one piece, one for each quantity of the plan that was read at least once.
///
/// A change is formed only where both readings were taken in the plan's reference state; readings
/// in another state are kept, so that the page can say why there is no change.
#[must_use]
pub fn pairs(plan: &Plan, readings: &[&Reading], bench: &Bench<'_>) -> Vec<Pair> {
    let one = |quantity: Quantity| {
        let before = measured(plan, readings, &quantity, Occasion::Before, bench);
        let after = measured(plan, readings, &quantity, Occasion::After, bench);
        let is_there = before.is_some() || after.is_some();
        is_there.then(|| pair(plan, quantity, before, after))
    };
    plan.quantities().into_iter().filter_map(one).collect()
}

/// The mean over repeats in the reference state, or, without any, in the state read most lately.
fn measured(
    plan: &Plan,
    readings: &[&Reading],
    quantity: &Quantity,
    occasion: Occasion,
    bench: &Bench<'_>,
) -> Option<Measured> {
    let of = |state: MoistureState| -> Vec<&Reading> {
        let wanted =
            |r: &&Reading| r.quantity == *quantity && r.occasion == occasion && r.state == state;
        readings.iter().copied().filter(wanted).collect()
    };
    let here = |r: &&&Reading| r.quantity == *quantity && r.occasion == occasion;
    let latest = readings.iter().rev().find(here)?.state;
    let mut chosen = of(plan.reference_state);
    if chosen.is_empty() {
        chosen = of(latest);
    }
    let state = chosen.first()?.state;
    let mean = chosen.iter().map(|r| r.value).sum::<f64>() / chosen.len() as f64;
    let used: Option<Vec<(usize, &Instrument)>> = chosen
        .iter()
        .map(|r| bench.get(&r.instrument).copied())
        .collect();
    let used = used.unwrap_or_default();
    let largest = |of: fn(&Instrument) -> Option<f64>| {
        let all: Option<Vec<f64>> = used.iter().map(|(_, it)| of(it)).collect();
        all.filter(|list| !list.is_empty())
            .map(|list| list.into_iter().fold(0.0, f64::max))
    };
    let first = used.first().map(|(at, _)| *at);
    Some(Measured {
        mean,
        readings: chosen.len(),
        state,
        readability: largest(|it| Some(it.readability)),
        uncertainty: largest(|it| it.uncertainty),
        instrument: first.filter(|at| used.iter().all(|(other, _)| other == at)),
    })
}

/// The pair of two readings; a change only where both were read in the plan's reference state.
#[must_use]
pub fn pair(
    plan: &Plan,
    quantity: Quantity,
    before: Option<Measured>,
    after: Option<Measured>,
) -> Pair {
    let both = before.as_ref().zip(after.as_ref()).filter(|(b, a)| {
        let in_state = |m: &Measured| m.state == plan.reference_state;
        in_state(b) && in_state(a) && b.mean > 0.0
    });
    let change_percent = both.map(|(b, a)| (a.mean - b.mean) / b.mean * 100.0);
    let resolution = both.and_then(|(b, a)| resolution(b, a).map(|u| u / b.mean * 100.0));
    Pair {
        quantity,
        change_percent,
        resolution_percent: resolution,
        before,
        after,
    }
}

/// Expanded uncertainty (k = 2) of the difference of two readings, in g or mm, from the instruments
/// alone.
///
/// # Formula
/// ```text
/// u² = d_b²/12 + d_a²/12 + (U_b/2)² + (U_a/2)²,   U = 2 u
/// d  readability; U  certificate's expanded uncertainty, left out when one instrument served both
/// ```
/// Repeated readings do not lower it: repeats on a coarse display show the same digit.
///
/// # Source
/// GUM (JCGM 100) for the rectangular distribution of a display; that the calibration cancels on one
/// instrument is common practice, no source. Check: 0.01 g steps on a 5 g piece give 0.163 %.
#[must_use]
pub fn resolution(before: &Measured, after: &Measured) -> Option<f64> {
    let display = (before.readability?.powi(2) + after.readability?.powi(2)) / 12.0;
    let is_same = before.instrument.is_some() && before.instrument == after.instrument;
    let calibration = if is_same {
        0.0
    } else {
        let part = |m: &Measured| (m.uncertainty.unwrap_or(0.0) / 2.0).powi(2);
        part(before) + part(after)
    };
    Some(2.0 * (display + calibration).sqrt())
}

/// The section before exposure in mm², from the readings before exposure in the reference state.
#[must_use]
pub fn section_mm2(plan: &Plan, pairs: &[Pair]) -> Option<f64> {
    let before = |name: &str| {
        let quantity = Quantity::Length(name.to_owned());
        let pair = pairs.iter().find(|pair| pair.quantity == quantity)?;
        pair.before.as_ref().map(|m| m.mean).filter(|mm| *mm > 0.0)
    };
    match plan.form.shape {
        Shape::LoadOnly => None,
        Shape::Rectangular | Shape::Dumbbell => Some(before("width")? * before("thickness")?),
        Shape::Round => before("diameter").map(|d| std::f64::consts::PI * d * d / 4.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(mean: f64, readability: f64, instrument: usize) -> Measured {
        Measured {
            mean,
            readings: 1,
            state: MoistureState::Conditioned,
            readability: Some(readability),
            uncertainty: None,
            instrument: Some(instrument),
        }
    }

    /// practice.md §5.11 names 0.16 %: what a balance with 0.01 g steps resolves of a 5 g piece, by
    /// GUM's d/√12 for each of two weighings and k = 2.
    #[test]
    fn a_hundredth_of_a_gram_resolves_a_sixth_of_a_percent_of_five_grams() {
        let u = resolution(&read(5.0, 0.01, 0), &read(5.0, 0.01, 0)).unwrap();
        assert!((u / 5.0 * 100.0 - 0.163_299).abs() < 1e-6);
    }

    /// trade.md §3.15 (GUM): 1 mg steps and a certificate of U = 1 mg on two balances.
    #[test]
    fn the_certificate_counts_only_between_two_instruments() {
        let with = |instrument| Measured {
            uncertainty: Some(0.001),
            ..read(10.0, 0.001, instrument)
        };
        let same = resolution(&with(0), &with(0)).unwrap() / 2.0;
        assert!((same - 0.000_288_675_f64 * 2.0_f64.sqrt()).abs() < 1e-9);
        let two = resolution(&with(0), &with(1)).unwrap() / 2.0;
        let by_hand = (2.0 * 0.000_288_675_f64.powi(2) + 2.0 * 0.0005_f64.powi(2)).sqrt();
        assert!((two - by_hand).abs() < 1e-9);
    }
}
