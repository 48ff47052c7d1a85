//! Invalid tests that the plan lets be repeated on a spare, and which spare it is: drawn, not chosen.

use super::Contents;
use super::{Label, ToPack};
use crate::study::allocation::{Dice, Place};
use crate::study::break_test::Outcome;
use crate::study::code::Code;
use crate::study::fault::Fault;
use crate::study::plan::{Plan, RetestRule};
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::Whereabouts;

/// A piece whose invalid test may be repeated.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Repeatable {
    /// Its code.
    pub code: Code,
    /// How many spares could stand for it.
    pub spares: usize,
    /// Spares that were drawn for it and lost before their test.
    pub lost: Vec<Code>,
    /// Its results are unblinded, so that repeating it is decided knowing the group.
    pub is_unblinded: bool,
}

/// What the plan lets be repeated now, of these contents: tests called invalid in a consignment that its
/// tester has finished, not repeated yet. That a test was invalid is told before unblinding, its load is not.
#[must_use]
pub fn repeatable(record: &StudyRecord, contents: Contents) -> Vec<Repeatable> {
    let Some((plan, rule)) = rule(record) else {
        return Vec::new();
    };
    let ended = record
        .consignments
        .iter()
        .filter(|one| one.finished_at.is_some() || one.unblinded_at.is_some());
    let mut found: Vec<Repeatable> = Vec::new();
    for one in ended.filter(|one| one.contents == contents) {
        for piece in &one.pieces {
            let test = one.test_of(&piece.blind);
            let is_invalid = test.is_some_and(|test| test.test.outcome == Outcome::Invalid);
            let Some(piece) = record.specimen(&piece.specimen).filter(|_| is_invalid) else {
                continue;
            };
            let is_allowed = piece.counts_at().is_some_and(|at| rule.allows(plan, at));
            if is_allowed && record.repeated_on(&piece.code).is_none() {
                let lost = record
                    .retests()
                    .filter(|(_, retest)| retest.of == piece.code);
                found.push(Repeatable {
                    code: piece.code.clone(),
                    spares: spares(record, rule, piece).count(),
                    lost: lost.map(|(spare, _)| spare.code.clone()).collect(),
                    is_unblinded: one.unblinded_at.is_some(),
                });
            }
        }
    }
    found
}

fn rule(record: &StudyRecord) -> Option<(&Plan, RetestRule)> {
    let plan = &record.plan()?.plan;
    Some((plan, plan.retests?))
}

/// Spares of its batch that are still on the bench.
fn spares<'r>(
    record: &'r StudyRecord,
    rule: RetestRule,
    of: &'r SpecimenRecord,
) -> impl Iterator<Item = &'r SpecimenRecord> {
    record.specimens.iter().filter(move |spare| {
        spare.place == Some(Place::Spare)
            && spare.whereabouts == Whereabouts::Bench
            && rule.is_one_batch((&spare.lot, &spare.build), (&of.lot, &of.build))
    })
}

/// Draws a spare for each of the invalid tests.
///
/// # Errors
/// A fault at `retest` where the plan or the spares do not allow it.
pub fn draw(
    record: &StudyRecord,
    contents: Contents,
    (wanted, label): (&[Code], Label),
    seed: &[u8; 32],
) -> Result<Vec<ToPack>, Fault> {
    let fault = |sentence: String| Fault::new("retest", sentence);
    let offered = repeatable(record, contents);
    let mut dice = Dice::new(seed);
    let mut drawn: Vec<ToPack> = Vec::new();
    for code in wanted {
        let is_offered = offered.iter().any(|one| one.code == *code);
        let found = rule(record).zip(record.specimen(code));
        let Some(((_, rule), piece)) = found.filter(|_| is_offered) else {
            return Err(fault(format!("The test of {code} cannot be repeated now.")));
        };
        let mut left: Vec<&SpecimenRecord> = spares(record, rule, piece)
            .filter(|spare| drawn.iter().all(|taken| taken.specimen != spare.code))
            .collect();
        dice.shuffle(&mut left);
        let Some(spare) = left.first() else {
            let batch = rule.batch.label();
            return Err(fault(format!(
                "For {code} no spare {batch} is left on the bench."
            )));
        };
        drawn.push(ToPack {
            specimen: spare.code.clone(),
            label,
            retest_of: Some(code.clone()),
        });
    }
    Ok(drawn)
}

/// What should be asked about before a retest goes out.
#[must_use]
pub fn doubt(
    record: &StudyRecord,
    contents: Contents,
    wanted: &[Code],
    others: usize,
) -> Vec<String> {
    let offered = repeatable(record, contents);
    let of = |code: &Code| offered.iter().find(|one| one.code == *code);
    let mut doubts = Vec::new();
    if !wanted.is_empty() && others == 0 && matches!(contents, Contents::Stage { .. }) {
        doubts.push(
            "Only repeated tests are in this parcel. A tester who knows the plan can tell from that that \
             its pieces were never out; packed with other pieces of the stage they would not show."
                .to_owned(),
        );
    }
    if wanted.iter().filter_map(of).any(|one| one.is_unblinded) {
        doubts.push(
            "Results that this repeats are unblinded already: the public page will say that it was \
             decided knowing the group."
                .to_owned(),
        );
    }
    doubts
}
