//! One piece followed through the record: what came of it, why, and what a reader should know.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use crate::analysis::change::{self, Bench};
use crate::analysis::gather;
use crate::analysis::piece::{Fate, Flag, Group, Piece, PieceName, UnknowingTest};
use crate::analysis::property::{self, PieceProperty, Sizes};
use crate::study::allocation::Place;
use crate::study::break_test::Outcome;
use crate::study::code::{BlindCode, Code};
use crate::study::consignment::{Arrival, Label, ParcelState};
use crate::study::equipment::flag::{EquipmentFlag, FlagKind};
use crate::study::plan::Plan;
use crate::study::property::Property;
use crate::study::reading::Reading;
use crate::study::record::{
    ConsignmentRecord, EquipmentRecord, EventRecord, IncidentRecord, PieceRecord, SpecimenRecord,
    Standing, StudyRecord, TestRecord,
};
use crate::study::specimen::{Identity, Recovery, Whereabouts};

/// A packed piece with its consignment and the test that counts.
#[derive(Clone, Copy)]
struct Packed<'r> {
    consignment: &'r ConsignmentRecord,
    piece: &'r PieceRecord,
    session: Option<usize>,
    test: Option<&'r TestRecord>,
    before_knowing: Option<&'r TestRecord>,
}

/// Lookups made once, so that ten thousand pieces stay quick.
pub struct Index<'r> {
    packed: BTreeMap<&'r Code, Vec<Packed<'r>>>,
    readings: BTreeMap<&'r Code, Vec<&'r Reading>>,
    waived: BTreeSet<&'r Code>,
    bench: Bench<'r>,
    equipment: &'r [EquipmentRecord],
}

impl<'r> Index<'r> {
    /// Looks everything up once.
    #[must_use]
    pub fn of(record: &'r StudyRecord) -> Self {
        index(record)
    }

    /// Whether a piece is in a consignment that is still blind; `None` when it was never packed.
    #[must_use]
    pub fn is_blind(&self, code: &Code) -> Option<bool> {
        let packed = self.packed.get(code)?;
        Some(packed.iter().any(|p| p.consignment.is_blind()))
    }
}

fn index(record: &StudyRecord) -> Index<'_> {
    let mut packed: BTreeMap<&Code, Vec<Packed<'_>>> = BTreeMap::new();
    let mut sessions = 0;
    for consignment in &record.consignments {
        sessions += usize::from(!consignment.is_blind());
        let session = (!consignment.is_blind()).then_some(sessions);
        let tests = tests_by_code(consignment);
        for piece in &consignment.pieces {
            let found = tests.get(&piece.blind).copied().unwrap_or_default();
            packed.entry(&piece.specimen).or_default().push(Packed {
                consignment,
                piece,
                session,
                test: found.counts,
                before_knowing: found.before_knowing,
            });
        }
    }
    let mut readings: BTreeMap<&Code, Vec<&Reading>> = BTreeMap::new();
    for reading in record.current_readings() {
        let list = readings.entry(&reading.reading.specimen).or_default();
        list.push(&reading.reading);
    }
    Index {
        packed,
        readings,
        waived: record.waivers.iter().map(|w| &w.specimen).collect(),
        bench: change::bench(&record.instruments),
        equipment: &record.equipment,
    }
}

/// The tests of one blind code: the one that counts, and the last one made without knowing.
#[derive(Clone, Copy, Default)]
struct Tests<'r> {
    counts: Option<&'r TestRecord>,
    before_knowing: Option<&'r TestRecord>,
}

fn tests_by_code(consignment: &ConsignmentRecord) -> BTreeMap<&BlindCode, Tests<'_>> {
    let mut found: BTreeMap<&BlindCode, Tests<'_>> = BTreeMap::new();
    for test in &consignment.tests {
        let tests = found.entry(&test.test.blind).or_default();
        if test.standing == Standing::Current {
            tests.counts = Some(test);
        }
        if !test.is_knowing_group && test.standing != Standing::Void {
            tests.before_knowing = Some(test);
        }
    }
    found
}

/// Everything about one piece that a page may show.
#[must_use]
pub fn piece(
    record: &StudyRecord,
    plan: &Plan,
    specimen: &SpecimenRecord,
    group: Group,
    index: &Index<'_>,
) -> Piece {
    let packed = index
        .packed
        .get(&specimen.code)
        .and_then(|all| all.last())
        .copied();
    let test = packed.and_then(|p| p.test);
    let readings = index
        .readings
        .get(&specimen.code)
        .map_or(&[][..], Vec::as_slice);
    let is_unknown = specimen.is_nameless || specimen.identity == Some(Identity::Unknown);
    let pairs = if is_unknown {
        Vec::new()
    } else {
        change::pairs(plan, readings, &index.bench)
    };
    let fate = fate(specimen, packed);
    Piece {
        code: PieceName::from(&specimen.code),
        lot: specimen.lot.clone(),
        build: specimen.build.clone(),
        order: specimen.order,
        holder: holder(specimen),
        was_put_out: specimen.out_at.is_some(),
        days_out: specimen.days_out(),
        recovery: specimen.recovery,
        identity: specimen.identity,
        is_nameless: specimen.is_nameless,
        fate,
        mode: test.map(|t| t.test.mode),
        failure: test.and_then(|t| t.test.failure.clone()),
        reason: reason(record, specimen, test),
        max_load_n: max_load(fate, test),
        unknowing: unknowing(packed),
        tested_on: test.and(packed).and_then(tested_on),
        session: packed.and_then(|p| p.session),
        section_mm2: change::section_mm2(plan, &pairs),
        stress_area_mm2: change::stress_area_mm2(plan, &pairs),
        properties: properties(plan, packed, readings, is_unknown, index),
        pairs,
        flags: flags(record, plan, specimen, packed, index),
        group,
    }
}

/// What was read off the piece's test besides its load; of a test that did not measure the piece, nothing.
fn properties(
    plan: &Plan,
    packed: Option<Packed<'_>>,
    readings: &[&Reading],
    is_unknown: bool,
    index: &Index<'_>,
) -> Vec<PieceProperty> {
    let Some(packed) = packed else {
        return Vec::new();
    };
    let tested = packed.test.map(tested);
    if !matches!(tested, Some(Fate::Valid | Fate::LowerBound)) {
        return Vec::new();
    }
    // A nameless piece has no sizes of its own.
    let sizes = match is_unknown {
        true => Sizes::default(),
        false => Sizes::of(plan, readings, &index.bench),
    };
    let session = packed
        .test
        .and_then(|test| packed.consignment.session_of(test));
    let machine = property::Limits::of(session, index.equipment).machine;
    let basis = property::Basis {
        shape: plan.form.shape,
        method: plan.form.method.as_ref(),
        sizes: &sizes,
        machine,
    };
    let curve = packed.consignment.curve_of(&packed.piece.blind);
    let mut found: Vec<PieceProperty> = curve
        .map(|curve| property::kept_properties(curve, &basis))
        .unwrap_or_default()
        .into_iter()
        .map(|worked| worked.found)
        // The load has a member of its own: what was typed counts.
        .filter(|found| found.property != Property::MaxLoad)
        .collect();
    let struck = packed.test.and_then(|test| test.test.energy_j);
    let struck = struck.and_then(|joule| property::impact(joule, &sizes, machine));
    if let Some(struck) = struck {
        found.retain(|one| one.property != Property::ImpactEnergy);
        found.push(struck.found);
    }
    // As a file lists them, so that the same is found from there.
    found.sort_by_key(|one| one.property);
    found
}

fn holder(specimen: &SpecimenRecord) -> Option<String> {
    match specimen.counts_at()? {
        Place::Exposed { holder, .. } => Some(holder.clone()),
        _ => None,
    }
}

fn tested_on(packed: Packed<'_>) -> Option<NaiveDate> {
    let session = packed.consignment.session_of(packed.test?);
    session.map(|session| session.tested_on)
}

fn max_load(fate: Fate, test: Option<&TestRecord>) -> Option<f64> {
    match fate {
        Fate::TotalLoss => Some(0.0),
        _ => test.and_then(|t| t.test.max_load_n),
    }
}

fn fate(specimen: &SpecimenRecord, packed: Option<Packed<'_>>) -> Fate {
    if specimen.recovery == Some(Recovery::InError) {
        return Fate::InError;
    }
    if let Some(test) = packed.and_then(|p| p.test) {
        return tested(test);
    }
    let is_missing = packed.is_some_and(|p| {
        p.piece.arrival == Some(Arrival::Missing) || p.consignment.parcel == ParcelState::Lost
    });
    if is_missing {
        return Fate::LostOnTheWay;
    }
    match specimen.whereabouts {
        Whereabouts::Lost => Fate::Lost,
        Whereabouts::Destroyed => Fate::Destroyed,
        _ if specimen.recovery == Some(Recovery::Fragments) => Fate::TotalLoss,
        _ => Fate::NotTested,
    }
}

fn tested(test: &TestRecord) -> Fate {
    match (test.test.outcome, test.test.max_load_n) {
        (Outcome::TotalLoss, _) => Fate::TotalLoss,
        (Outcome::Valid, Some(_)) => Fate::Valid,
        (Outcome::LowerBound, Some(_)) => Fate::LowerBound,
        (Outcome::Valid, None) if test.test.energy_j.is_some() => Fate::Valid,
        // A load without a number measures nothing, whatever the tester called it.
        _ => Fate::Invalid,
    }
}

fn unknowing(packed: Option<Packed<'_>>) -> Option<UnknowingTest> {
    let packed = packed?;
    if !packed.test?.is_knowing_group {
        return None;
    }
    let earlier = packed.before_knowing;
    Some(UnknowingTest {
        fate: earlier.map_or(Fate::NotTested, tested),
        max_load_n: earlier.and_then(|t| t.test.max_load_n),
    })
}

/// The remark beside the test that counts, or else the last remark about how the piece was lost.
fn reason(
    record: &StudyRecord,
    specimen: &SpecimenRecord,
    test: Option<&TestRecord>,
) -> Option<String> {
    if let Some(test) = test {
        return test.note.clone();
    }
    if specimen.recovery == Some(Recovery::Fragments) {
        return Some(Recovery::Fragments.label().to_owned());
    }
    let is_gone = matches!(
        specimen.whereabouts,
        Whereabouts::Lost | Whereabouts::Destroyed
    );
    let told = |e: &&EventRecord| {
        e.specimen == specimen.code && e.standing == Standing::Current && e.note.is_some()
    };
    let events = is_gone.then(|| record.events.iter().rev().find(told));
    events.flatten().and_then(|e| e.note.clone())
}

fn flags(
    record: &StudyRecord,
    plan: &Plan,
    specimen: &SpecimenRecord,
    packed: Option<Packed<'_>>,
    index: &Index<'_>,
) -> Vec<Flag> {
    let test = packed.and_then(|p| p.test);
    let readings = index.readings.get(&specimen.code);
    let is_doubt = test.is_some_and(|t| t.test.is_confirmed_doubt)
        || readings.is_some_and(|list| list.iter().any(|r| r.is_confirmed_doubt));
    let seen = packed.is_some_and(|p| p.piece.label == Label::Visible);
    let hurt = packed.is_some_and(|p| p.piece.arrival == Some(Arrival::Damaged));
    let instruments = packed
        .zip(test)
        .map_or_else(Vec::new, |(p, t)| record.equipment_flags(p.consignment, t));
    let has_open = instruments.iter().any(|f| f.kind.is_of_calibration());
    let is_stretched = |f: &EquipmentFlag| f.kind == FlagKind::ExtensionBeyond;
    let is_beyond = instruments.iter().any(is_stretched);
    let is_of_load = |f: &EquipmentFlag| !f.kind.is_of_calibration() && !is_stretched(f);
    let is_outside = instruments.iter().any(is_of_load);
    let has_incident = record.incidents.iter().any(|i| reaches(i, specimen));
    let claims = [
        (Flag::ConfirmedDoubt, is_doubt),
        (
            Flag::OutOfOrder,
            test.is_some_and(|t| t.test.is_out_of_order),
        ),
        (Flag::LabelVisible, seen),
        (Flag::ArrivedDamaged, hurt),
        (
            Flag::RecoveredDamaged,
            specimen.recovery == Some(Recovery::Damaged),
        ),
        (Flag::KnowingGroup, test.is_some_and(|t| t.is_knowing_group)),
        (Flag::Incident, has_incident),
        (Flag::OutsideWindow, is_outside_window(plan, specimen)),
        (Flag::Waived, index.waived.contains(&specimen.code)),
        (Flag::Retest, gather::stands_in(specimen)),
        (Flag::CalibrationOpen, has_open),
        (Flag::LoadOutsideRange, is_outside),
        (Flag::ExtensionOutsideRange, is_beyond),
    ];
    let held = claims.into_iter().filter(|(_, holds)| *holds);
    held.map(|(flag, _)| flag).collect()
}

/// Whether the piece was in the holder while something happened to it.
fn reaches(incident: &IncidentRecord, specimen: &SpecimenRecord) -> bool {
    let here = holder(specimen).as_deref() == Some(incident.incident.holder.as_str());
    let until = incident.incident.until.unwrap_or(incident.incident.from);
    let began_before_the_end = specimen.out_at.is_some_and(|out| out.date_naive() <= until);
    let was_in_before = specimen
        .in_at
        .is_some_and(|back| back.date_naive() < incident.incident.from);
    incident.standing == Standing::Current && here && began_before_the_end && !was_in_before
}

fn is_outside_window(plan: &Plan, specimen: &SpecimenRecord) -> bool {
    let stage = gather::group(specimen)
        .and_then(|g| g.stage_days())
        .and_then(|days| plan.stage(days));
    let Some((stage, days)) = stage.zip(specimen.days_out()) else {
        return false;
    };
    (days - f64::from(stage.days)).abs() > f64::from(stage.window_days) + 1.0
}
