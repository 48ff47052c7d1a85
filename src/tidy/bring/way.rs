//! The way of the pieces: what was not measured, out, in, and what never came to a test.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, Utc};

use super::rows::Known;
use super::{NOT_WRITTEN, Step, step};
use crate::analysis::piece::Fate;
use crate::study::code::Code;
use crate::study::custody::{Handled, Handling, PutOut, Recovered, TakenIn};
use crate::study::entry::Entry;
use crate::study::plan::Plan;
use crate::study::reading::{Occasion, Quantity};
use crate::study::specimen::{Identity, Recovery};

/// Exposed pieces of which a reading is not there that the plan calls for.
pub(super) fn waived(known: &[Known<'_>], plan: &Plan, at: DateTime<Utc>) -> Option<Step> {
    let has = |one: &Known<'_>, quantity: &Quantity| {
        let key = (quantity.clone(), Occasion::Before);
        let state = one
            .row
            .states
            .get(&key)
            .copied()
            .unwrap_or(plan.reference_state);
        one.row.readings.contains_key(&key)
            && state == plan.reference_state
            && plan.readings_of(quantity) == 1
    };
    let lacks = |one: &&Known<'_>| plan.quantities().iter().any(|quantity| !has(one, quantity));
    let exposed = known.iter().filter(|one| one.out_on.is_some());
    let specimens: Vec<Code> = exposed.filter(lacks).map(|one| one.code.clone()).collect();
    let is_any = !specimens.is_empty();
    is_any.then(|| Step {
        note: Some(NOT_WRITTEN.to_owned()),
        ..step(Entry::Waived { specimens }, at)
    })
}

/// Put out, all of a day at once.
pub(super) fn gone_out(
    known: &[Known<'_>],
    noon: &impl Fn(NaiveDate) -> DateTime<Utc>,
) -> Vec<Step> {
    let mut days: BTreeMap<NaiveDate, Vec<Code>> = BTreeMap::new();
    for one in known {
        if let Some(day) = one.out_on {
            days.entry(day).or_default().push(one.code.clone());
        }
    }
    let out = |(day, specimens)| {
        let at = noon(day);
        step(
            Entry::PutOut(PutOut {
                specimens,
                at,
                is_confirmed_doubt: false,
            }),
            at,
        )
    };
    days.into_iter().map(out).collect()
}

/// Taken in, all of a day at once; then what was lost or destroyed without ever having been out.
pub(super) fn come_in(
    known: &[Known<'_>],
    noon: &impl Fn(NaiveDate) -> DateTime<Utc>,
) -> Vec<Step> {
    let mut days: BTreeMap<NaiveDate, Vec<Recovered>> = BTreeMap::new();
    let mut steps = Vec::new();
    for one in known {
        if let Some(day) = one.in_on {
            days.entry(day).or_default().push(Recovered {
                specimen: one.code.clone(),
                recovery: one.row.more.recovery.unwrap_or(recovery(one.row.fate)),
                identity: one.row.more.identity.unwrap_or(Identity::Mark),
            });
        }
    }
    for (day, pieces) in days {
        let at = noon(day);
        let taken = TakenIn {
            pieces,
            at,
            is_confirmed_doubt: false,
        };
        steps.push(step(Entry::TakenIn(taken), at));
    }
    let begun: BTreeSet<NaiveDate> = known
        .iter()
        .filter_map(|one| one.out_on.or(one.tested_on))
        .collect();
    let at = begun.first().copied().map(noon);
    for one in known.iter().filter(|one| one.out_on.is_none()) {
        let what = match one.row.fate {
            Fate::Lost | Fate::LostOnTheWay => Handling::Lost,
            Fate::Destroyed | Fate::InError => Handling::Destroyed,
            _ => continue,
        };
        let Some(at) = at else { continue };
        let handled = Handled {
            what,
            specimens: vec![one.code.clone()],
            at,
            into_holder: None,
            is_confirmed_doubt: false,
        };
        let reason = one
            .row
            .reason
            .clone()
            .unwrap_or_else(|| NOT_WRITTEN.to_owned());
        steps.push(Step {
            note: Some(reason),
            line: one.row.line,
            ..step(Entry::Handled(handled), at)
        });
    }
    steps
}

/// What a fate says of the piece's state when it came back.
fn recovery(fate: Fate) -> Recovery {
    match fate {
        Fate::Lost => Recovery::NotFound,
        Fate::Destroyed => Recovery::Accident,
        Fate::InError => Recovery::InError,
        Fate::TotalLoss => Recovery::Damaged,
        _ => Recovery::Whole,
    }
}
