//! Tests whose results were known when they were entered: a consignment for each set and day, opened at once
//! with that reason, so that nobody takes them for blind ones.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::rows::{Known, is_tested};
use super::{Said, Step, step};
use crate::analysis::piece::Fate;
use crate::study::allocation::Place;
use crate::study::break_test::{BreakTest, FailureMode, Outcome, TestSession};
use crate::study::code::BlindCode;
use crate::study::consignment::{Arrival, Consigned, Contents, Label, Packed};
use crate::study::entry::Entry;
use crate::study::equipment::Used;
use crate::study::ids::ConsignmentId;
use crate::study::units::{AsTyped, Unit};

/// Why these consignments are unblinded though nobody declared them finished.
const KNOWN: &str = "Entered after the fact: the results were known when they were entered.";
/// What stands where a spreadsheet gave no reason.
const NO_REASON: &str = "No reason was written down.";

/// What a consignment is made of: what it holds, made later or not, and the day of its tests.
type Key = (Option<u32>, bool, NaiveDate);

/// The entries from packing to opening.
pub(super) fn steps(
    known: &[Known<'_>],
    said: &Said,
    draw: &mut impl FnMut() -> Uuid,
    mut random: impl FnMut() -> [u8; 6],
    noon: &impl Fn(NaiveDate) -> DateTime<Utc>,
) -> Vec<Step> {
    let mut sets: BTreeMap<Key, Vec<&Known<'_>>> = BTreeMap::new();
    for one in known.iter().filter(|one| is_tested(one.row.fate)) {
        if let Some(day) = one.tested_on {
            let is_late = one.place == Place::LateReference;
            let stage = one.row.stage_days.filter(|_| one.out_on.is_some());
            sets.entry((stage, is_late, day)).or_default().push(one);
        }
    }
    let mut taken: BTreeSet<BlindCode> = BTreeSet::new();
    let mut steps = Vec::new();
    for ((stage, _, day), pieces) in sets {
        let mut fresh = || loop {
            let code = BlindCode::from_bytes(random());
            if let Some(code) = code.filter(|code| taken.insert(code.clone())) {
                return code;
            }
        };
        let coded: Vec<_> = pieces.into_iter().map(|one| (one, fresh())).collect();
        let id = ConsignmentId(draw());
        steps.extend(consignment(&coded, (id, stage), said, day, noon(day)));
    }
    steps
}

fn consignment(
    coded: &[(&Known<'_>, BlindCode)],
    (id, stage): (ConsignmentId, Option<u32>),
    said: &Said,
    day: NaiveDate,
    at: DateTime<Utc>,
) -> Vec<Step> {
    let pieces = coded.iter().map(|(one, blind)| Packed {
        specimen: one.code.clone(),
        blind: blind.clone(),
        label: Label::Visible,
        retest_of: None,
    });
    let packed = Consigned {
        consignment: id,
        lab: said.lab.clone(),
        contents: stage.map_or(Contents::Baseline, |days| Contents::Stage { days }),
        pieces: pieces.collect(),
    };
    let session = TestSession {
        consignment: id,
        machine: said.machine.clone(),
        fixture: said.fixture.clone(),
        speed_mm_min: None,
        room_c: None,
        room_rh_percent: None,
        load_unit: Unit::Newton,
        tested_on: day,
        check_load_n: None,
        check_opening_n: None,
        check_closing_n: None,
        drift_limit_percent: None,
        used: Used::default(),
    };
    let mut steps = vec![
        step(Entry::Consigned(packed), at),
        step(Entry::SessionSet(session), at),
    ];
    for (one, blind) in coded {
        let arrived = Entry::Arrived {
            consignment: id,
            blind: blind.clone(),
            arrival: Arrival::Good,
        };
        steps.push(Step {
            line: one.row.line,
            ..step(arrived, at)
        });
        steps.push(tested(one, id, blind, at));
    }
    steps.push(Step {
        note: Some(KNOWN.to_owned()),
        ..step(Entry::Unblinded { consignment: id }, at)
    });
    steps
}

fn tested(one: &Known<'_>, id: ConsignmentId, blind: &BlindCode, at: DateTime<Utc>) -> Step {
    let row = one.row;
    let (outcome, usual) = match row.fate {
        Fate::LowerBound => (Outcome::LowerBound, FailureMode::NoBreak),
        Fate::TotalLoss => (Outcome::TotalLoss, FailureMode::BrokeBefore),
        Fate::Invalid => (Outcome::Invalid, FailureMode::WrongSetUp),
        _ => (Outcome::Valid, FailureMode::Break),
    };
    let load = row.max_load_n.filter(|_| outcome != Outcome::TotalLoss);
    let test = BreakTest {
        consignment: id,
        blind: blind.clone(),
        outcome,
        max_load_n: load,
        energy_j: None,
        failure: row.more.failure.clone(),
        typed: load.map(|load| AsTyped {
            text: load.to_string(),
            unit: Unit::Newton,
        }),
        mode: row.more.mode.unwrap_or(usual),
        is_out_of_order: false,
        is_confirmed_doubt: false,
    };
    let needs_reason = outcome != Outcome::Valid;
    let reason = row
        .reason
        .clone()
        .or_else(|| needs_reason.then(|| NO_REASON.to_owned()));
    Step {
        note: reason,
        line: row.line,
        ..step(Entry::BreakTested(test), at)
    }
}
