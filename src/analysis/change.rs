//! Paired readings: the change of mass and dimensions of one piece, and what the instruments could
//! resolve of it.

use std::collections::BTreeMap;

use crate::analysis::piece::{Measured, Pair};
use crate::study::ids::InstrumentId;
use crate::study::plan::{Plan, Shape, SizesAt, TestKind, TestMethod};
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

/// The readings of a quantity that count: those in the reference state, or, without any, those in the
/// state read most lately.
#[must_use]
pub fn chosen<'r>(
    plan: &Plan,
    readings: &[&'r Reading],
    quantity: &Quantity,
    occasion: Occasion,
) -> Vec<&'r Reading> {
    let here = |r: &&Reading| r.quantity == *quantity && r.occasion == occasion;
    let of = |state: MoistureState| -> Vec<&'r Reading> {
        let all = readings.iter().copied().filter(here);
        all.filter(|r| r.state == state).collect()
    };
    let found = of(plan.reference_state);
    let latest = readings.iter().rev().copied().find(here);
    match latest {
        Some(latest) if found.is_empty() => of(latest.state),
        _ => found,
    }
}

/// The mean over repeats in the reference state, or, without any, in the state read most lately.
fn measured(
    plan: &Plan,
    readings: &[&Reading],
    quantity: &Quantity,
    occasion: Occasion,
    bench: &Bench<'_>,
) -> Option<Measured> {
    let chosen = chosen(plan, readings, quantity, occasion);
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

/// The mean of a size that the section is made of: before exposure, or the last before the test, as the
/// plan says.
fn size(plan: &Plan, pairs: &[Pair], name: &str) -> Option<f64> {
    let quantity = Quantity::Length(name.to_owned());
    let pair = pairs.iter().find(|pair| pair.quantity == quantity)?;
    let after = pair.after.as_ref();
    let after = after.filter(|_| plan.form.sizes_at() == SizesAt::BeforeTest);
    let taken = after.or(pair.before.as_ref());
    taken.map(|m| m.mean).filter(|mm| *mm > 0.0)
}

/// The section in mm², of the sizes that the plan names.
#[must_use]
pub fn section_mm2(plan: &Plan, pairs: &[Pair]) -> Option<f64> {
    let size = |name: &str| size(plan, pairs, name);
    match plan.form.shape {
        Shape::LoadOnly => None,
        Shape::Rectangular | Shape::Dumbbell => Some(size("width")? * size("thickness")?),
        Shape::Round => size("diameter").map(|d| std::f64::consts::PI * d * d / 4.0),
    }
}

/// The area over which a load is a stress where that is not the section: in bending, where the stress is
/// 3 F L / (2 b h²), it is 2 b h² / (3 L), mm².
#[must_use]
pub fn stress_area_mm2(plan: &Plan, pairs: &[Pair]) -> Option<f64> {
    let bending = |method: &TestMethod| method.kind == TestKind::Bending;
    let span = plan.form.method.filter(bending)?.span_mm?;
    let thickness = size(plan, pairs, "thickness")?;
    Some(2.0 * section_mm2(plan, pairs)? * thickness / (3.0 * span))
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
