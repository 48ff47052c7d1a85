//! The instruments behind the results of a consignment: what its lab has on record of each, and what a
//! reader must know of it.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::study::equipment::flag::{self, FlagKind};
use crate::study::equipment::{Equipment, EquipmentKind};
use crate::study::ids::EntryId;
use crate::study::record::{ConsignmentRecord, EquipmentRecord, Standing, StudyRecord};

/// An item of the lab's record that results rest on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InstrumentFinding {
    /// What it is.
    pub kind: EquipmentKind,
    /// What the lab calls it.
    pub name: String,
    /// Its serial number; empty when not given.
    pub serial: String,
    /// From where its class holds, in N, for an extensometer in mm.
    pub range_from: Option<f64>,
    /// To where it holds.
    pub range_to: Option<f64>,
    /// Its class; empty when it has none.
    pub class: String,
    /// When it was calibrated.
    pub calibrated_on: Option<NaiveDate>,
    /// The last day for which the calibration speaks.
    pub valid_until: Option<NaiveDate>,
    /// SHA-256 of its certificate or drawing, in hexadecimal digits.
    pub paper_sha256: Option<String>,
    /// What a reader must know, each with the number of tests that it concerns.
    pub flags: Vec<InstrumentFlag>,
}

/// What a reader must know of an instrument.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InstrumentFlag {
    /// What.
    pub kind: FlagKind,
    /// Of how many tests.
    pub tests: usize,
}

impl InstrumentFinding {
    /// From an item of the record.
    fn of(equipment: &Equipment, flags: Vec<InstrumentFlag>) -> Self {
        Self {
            kind: equipment.kind,
            name: equipment.name.clone(),
            serial: equipment.serial.clone(),
            range_from: equipment.range_from,
            range_to: equipment.range_to,
            class: equipment.class.clone(),
            calibrated_on: equipment.calibrated_on,
            valid_until: equipment.valid_until,
            paper_sha256: equipment.paper.as_ref().map(|paper| paper.sha256.clone()),
            flags,
        }
    }
}

/// Every item that the consignment's tests rest on, in the order in which they were written down.
#[must_use]
pub fn instruments(
    record: &StudyRecord,
    consignment: &ConsignmentRecord,
) -> Vec<InstrumentFinding> {
    let mut used: BTreeMap<usize, (&EquipmentRecord, BTreeMap<FlagKind, usize>)> = BTreeMap::new();
    let place = |entry: EntryId| record.equipment.iter().position(|one| one.entry == entry);
    let sessions = consignment.used_sessions().into_iter();
    for one in sessions.flat_map(|session| flag::used_in(session, &record.equipment)) {
        if let Some(at) = place(one.entry) {
            used.entry(at).or_insert((one, BTreeMap::new()));
        }
    }
    let tests = consignment.tests.iter();
    for test in tests.filter(|test| test.standing == Standing::Current) {
        let Some(session) = consignment.session_of(test) else {
            continue;
        };
        let flags = record.equipment_flags(consignment, test);
        let here = flag::used_in(session, &record.equipment);
        for flag in flags {
            let own = here.iter().find(|one| one.equipment.name == flag.equipment);
            let at = own.and_then(|one| place(one.entry));
            if let Some((_, counts)) = at.and_then(|at| used.get_mut(&at)) {
                *counts.entry(flag.kind).or_default() += 1;
            }
        }
    }
    let finding = |(one, counts): (&EquipmentRecord, BTreeMap<FlagKind, usize>)| {
        let flags = counts.into_iter();
        let flags = flags.map(|(kind, tests)| InstrumentFlag { kind, tests });
        InstrumentFinding::of(&one.equipment, flags.collect())
    };
    used.into_values().map(finding).collect()
}
