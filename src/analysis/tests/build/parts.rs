//! The parts of an invented record: pieces, readings, consignments, tests.

use std::collections::BTreeMap;

use chrono::{Duration, NaiveDate};
use uuid::Uuid;

use super::{Item, Made, start};
use crate::study::allocation::{Allocated, Place};
use crate::study::break_test::{BreakTest, FailureMode, Looks, Outcome, TestSession};
use crate::study::code::{BlindCode, Code};
use crate::study::consignment::{Arrival, Contents, Label, ParcelState};
use crate::study::equipment::Used;
use crate::study::ids::{ConsignmentId, EntryId, InstrumentId, StudyId};
use crate::study::plan::Plan;
use crate::study::reading::{Instrument, MoistureState, Occasion, Quantity, Reading};
use crate::study::record::{
    ConsignmentRecord, CustodyRecord, DrawRecord, PieceRecord, PlanVersion, ReadingRecord, Seal,
    SpecimenRecord, Standing, StudyRecord, TestRecord,
};
use crate::study::specimen::{Identity, Recovery, Whereabouts};
use crate::study::units::{AsTyped, Dimension, Unit};

pub fn specimen(at: usize, code: &Code, item: &Item) -> SpecimenRecord {
    let (place, made) = (&item.place, &item.made);
    let is_out = matches!(place, Place::Exposed { .. });
    let days = match place {
        Place::Exposed { stage_days, .. } => i64::from(*stage_days),
        _ => 0,
    };
    let is_back = is_out && !matches!(made, Made::Lost | Made::Out);
    let whereabouts = match made {
        Made::Lost => Whereabouts::Lost,
        Made::Out => Whereabouts::Out,
        Made::Read => Whereabouts::In,
        _ => Whereabouts::Tested,
    };
    let recovery = match made {
        Made::Lost => Some(Recovery::NotFound),
        _ if is_back => Some(Recovery::Whole),
        _ => None,
    };
    SpecimenRecord {
        code: code.clone(),
        number: u32::try_from(at).unwrap(),
        lot: "spool 1".into(),
        build: "plate 1".into(),
        order: u32::try_from(at + 1).unwrap(),
        place: Some(place.clone()),
        whereabouts,
        is_nameless: item.is_nameless,
        out_at: is_out.then(start),
        in_at: is_back.then(|| start() + Duration::days(days)),
        recovery,
        identity: is_back.then_some(if item.is_nameless {
            Identity::Unknown
        } else {
            Identity::Mark
        }),
        made_at: None,
        retest: None,
    }
}

pub fn balance(readability: f64) -> Instrument {
    Instrument {
        id: InstrumentId(Uuid::from_u128(7)),
        name: "balance".into(),
        dimension: Dimension::Mass,
        readability,
        uncertainty: None,
    }
}

pub fn reading(code: &Code, occasion: Occasion, grams: f64, at: usize) -> ReadingRecord {
    ReadingRecord {
        entry: EntryId(Uuid::from_u128(1000 + at as u128)),
        reading: Reading {
            specimen: code.clone(),
            quantity: Quantity::Mass,
            occasion,
            repeat: 1,
            state: MoistureState::ReDried,
            value: grams,
            typed: AsTyped {
                text: grams.to_string(),
                unit: Unit::Gram,
            },
            instrument: InstrumentId(Uuid::from_u128(7)),
            is_confirmed_doubt: false,
        },
        taken_at: start(),
        standing: Standing::Current,
        supersedes: None,
        note: None,
    }
}

pub fn consignment(at: usize, contents: Contents, blind: &[u32]) -> ConsignmentRecord {
    let id = ConsignmentId(Uuid::from_u128(50 + at as u128));
    let (days, is_blind) = match contents {
        Contents::Baseline => (-3, false),
        Contents::Stage { days } => (i64::from(days) + 14, blind.contains(&days)),
    };
    let when = start() + Duration::days(days);
    ConsignmentRecord {
        id,
        lab: "the second lab".into(),
        contents,
        packed_at: when,
        parcel: ParcelState::Received,
        way: vec![(ParcelState::Received, when)],
        pieces: Vec::new(),
        session: Some(session(id, when.date_naive())),
        sessions: vec![session(id, when.date_naive())],
        same_lab_as: None,
        brought: None,
        custody: CustodyRecord::default(),
        tests: Vec::new(),
        curves: Vec::new(),
        links: Vec::new(),
        finished_at: (!is_blind).then_some(when),
        unblinded_at: (!is_blind).then(|| when + Duration::days(1)),
        early_reason: None,
        reopened: Vec::new(),
    }
}

fn session(consignment: ConsignmentId, tested_on: NaiveDate) -> TestSession {
    TestSession {
        consignment,
        machine: "a lever rig".into(),
        fixture: "two pins".into(),
        speed_mm_min: Some(10.0),
        room_c: Some(21.5),
        room_rh_percent: Some(48.0),
        load_unit: Unit::Newton,
        tested_on,
        check_load_n: Some(200.0),
        check_opening_n: Some(200.2),
        check_closing_n: Some(200.6),
        drift_limit_percent: Some(1.0),
        used: Used::default(),
    }
}

pub fn pack(
    consignment: &mut ConsignmentRecord,
    at: usize,
    code: &Code,
    made: &Made,
    looks: Option<Looks>,
) {
    let blind = blind_code(at);
    consignment.pieces.push(PieceRecord {
        specimen: code.clone(),
        blind: blind.clone(),
        position: u32::try_from(consignment.pieces.len() + 1).unwrap(),
        label: Label::Removed,
        retest_of: None,
        arrival: Some(Arrival::Good),
        arrival_note: None,
        looks,
    });
    let (outcome, max_load_n, note) = match made {
        Made::Broke(n) => (Outcome::Valid, Some(*n), None),
        Made::AtLeast(n) => (Outcome::LowerBound, Some(*n), None),
        Made::TotalLoss => (Outcome::TotalLoss, None, None),
        Made::Invalid(why) => (Outcome::Invalid, None, Some((*why).to_owned())),
        Made::Lost | Made::Read | Made::Out => return,
    };
    consignment.tests.push(TestRecord {
        entry: EntryId(Uuid::from_u128(5000 + at as u128)),
        test: BreakTest {
            consignment: consignment.id,
            blind,
            outcome,
            max_load_n,
            typed: None,
            energy_j: None,
            failure: None,
            mode: FailureMode::Break,
            is_out_of_order: false,
            is_confirmed_doubt: false,
        },
        received_at: consignment.packed_at,
        standing: Standing::Current,
        supersedes: None,
        is_knowing_group: false,
        note,
        session: Some(1),
    });
}

/// The `at`-th blind code of an endless list.
fn blind_code(at: usize) -> BlindCode {
    let digit = |n: usize, place: u32| u8::try_from(n / 23_usize.pow(place) % 23).unwrap();
    (0..)
        .filter_map(|n| {
            let [a, b, c, d] = [3, 2, 1, 0].map(|place| digit(n, place));
            BlindCode::from_bytes([1, 2, a, b, c, d])
        })
        .nth(at)
        .unwrap()
}

pub fn empty(plan: &Plan, sha256: &str) -> StudyRecord {
    StudyRecord {
        id: StudyId(Uuid::from_u128(1)),
        slug: "barrel-clips".into(),
        mark: "KT".into(),
        title: "Clips in a rain barrel".into(),
        time_zone: "Europe/Berlin".into(),
        is_after_the_fact: false,
        is_public: true,
        started_at: start() - Duration::days(30),
        stewards: Vec::new(),
        plans: vec![PlanVersion {
            version: 1,
            plan: plan.clone(),
            sha256: sha256.into(),
            at: start() - Duration::days(20),
            amendment_reason: None,
            is_knowing_results: false,
        }],
        seal: Some(Seal {
            plan_version: 1,
            sha256: sha256.into(),
            at: start() - Duration::days(10),
            entry_seq: 9,
            entry_hash: "ab".repeat(32),
            is_knowing_baseline: false,
            is_after_outing: false,
        }),
        instruments: Vec::new(),
        checks: Vec::new(),
        specimens: Vec::new(),
        readings: Vec::new(),
        voidings: BTreeMap::new(),
        draws: vec![DrawRecord {
            drawn: Allocated {
                draw: 1,
                plan_version: 1,
                seed: "11".repeat(32),
                method: crate::study::allocation::METHOD.into(),
                candidates_sha256: "cd".repeat(32),
                rows: Vec::new(),
            },
            at: start() - Duration::days(12),
            reason: None,
        }],
        drying: Default::default(),
        series: Vec::new(),
        cited: Vec::new(),
        waivers: Vec::new(),
        photographs: Vec::new(),
        events: Vec::new(),
        incidents: Vec::new(),
        consignments: Vec::new(),
        equipment: Vec::new(),
        editions: Vec::new(),
        witnesses: Vec::new(),
        entries: 0,
        head: "ef".repeat(32),
    }
}
