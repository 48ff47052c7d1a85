//! What a result must be flagged with: a calibration that does not speak for the day of the test, a
//! load outside the range for which the class of the cell holds. Nothing is refused for it.

use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};

use super::{Equipment, EquipmentKind};
use crate::study::break_test::TestSession;
use crate::study::choice::choice;
use crate::study::ids::EntryId;
use crate::study::record::EquipmentRecord;

choice! {
    /// What a reader must know of the instrument behind a result.
    pub enum FlagKind {
        /// Nothing is known of a calibration.
        NoCalibration = "no_calibration", "no calibration is on record";
        /// Calibrated only after the test.
        CalibratedAfter = "calibrated_after", "calibrated only after the day of the test";
        /// The calibration had run out.
        CalibrationOver = "calibration_over", "the calibration had run out on the day of the test";
        /// No end is named, and it was more than a year before.
        CalibrationOld = "calibration_old", "calibrated more than a year before the test";
        /// The load lies below the range for which the class holds.
        BelowRange = "below_range", "the load lies below the range of its class";
        /// The load lies above it.
        AboveRange = "above_range", "the load lies above the range of its class";
        /// The extension lies beyond what the extensometer's class covers.
        ExtensionBeyond = "extension_beyond", "the extension goes beyond the range of its class";
    }
}

impl FlagKind {
    /// Whether it is about the calibration, not about the load.
    #[must_use]
    pub fn is_of_calibration(self) -> bool {
        !matches!(
            self,
            Self::BelowRange | Self::AboveRange | Self::ExtensionBeyond
        )
    }
}

/// A flag with the item that it is about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct EquipmentFlag {
    /// What the lab calls the item.
    pub equipment: String,
    /// What is to be known.
    pub kind: FlagKind,
}

impl EquipmentFlag {
    /// In words.
    #[must_use]
    pub fn words(&self) -> String {
        format!("{}: {}", self.equipment, self.kind.label())
    }
}

/// Days for which a calibration speaks whose certificate names no end (common practice, no source).
const USUAL_DAYS: Days = Days::new(366);

/// What there is to say of a calibration on a day.
#[must_use]
pub fn of_calibration(equipment: &Equipment, day: NaiveDate) -> Option<FlagKind> {
    let Some(on) = equipment.calibrated_on else {
        return Some(FlagKind::NoCalibration);
    };
    if on > day {
        return Some(FlagKind::CalibratedAfter);
    }
    match equipment.valid_until {
        Some(until) => (until < day).then_some(FlagKind::CalibrationOver),
        None => {
            let end = on.checked_add_days(USUAL_DAYS)?;
            (end < day).then_some(FlagKind::CalibrationOld)
        }
    }
}

/// What there is to say of a load, in N.
#[must_use]
pub fn of_load(equipment: &Equipment, load_n: f64) -> Option<FlagKind> {
    if equipment.range_from.is_some_and(|from| load_n < from) {
        Some(FlagKind::BelowRange)
    } else if equipment.range_to.is_some_and(|to| load_n > to) {
        Some(FlagKind::AboveRange)
    } else {
        None
    }
}

/// The version of an item that speaks for a day: the last whose calibration covers it, else the last.
/// Versions that were written down wrongly never speak.
#[must_use]
pub fn on_the_day(
    all: &[EquipmentRecord],
    item: EntryId,
    day: NaiveDate,
) -> Option<&EquipmentRecord> {
    let mut versions = all.iter().filter(|one| one.item == item && !one.is_wrong());
    let covers = |one: &&EquipmentRecord| of_calibration(&one.equipment, day).is_none();
    versions
        .clone()
        .rfind(covers)
        .or_else(|| versions.next_back())
}

/// The items that a session uses, each as it stood on the day.
#[must_use]
pub fn used_in<'r>(session: &TestSession, all: &'r [EquipmentRecord]) -> Vec<&'r EquipmentRecord> {
    let items = session.used.items();
    items
        .filter_map(|item| on_the_day(all, item, session.tested_on))
        .collect()
}

/// What measures the load in a session: the cell, or the machine where none is named.
fn measures_load(used: &[&EquipmentRecord], equipment: &Equipment) -> bool {
    let has_cell = used
        .iter()
        .any(|one| one.equipment.kind == EquipmentKind::LoadCell);
    match equipment.kind {
        EquipmentKind::LoadCell => true,
        EquipmentKind::Machine => !has_cell,
        EquipmentKind::Extensometer | EquipmentKind::Fixture => false,
    }
}

/// What a test reached.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Reached {
    /// Its maximum load, N, when it has one.
    pub load_n: Option<f64>,
    /// The largest extension that the extensometer showed, mm, where a curve tells it.
    pub extension_mm: Option<f64>,
}

/// What there is to say of an extension, in mm.
fn of_extension(equipment: &Equipment, extension_mm: f64) -> Option<FlagKind> {
    let is_beyond = equipment.range_to.is_some_and(|to| extension_mm > to);
    is_beyond.then_some(FlagKind::ExtensionBeyond)
}

/// Every flag of a test in this session.
#[must_use]
pub fn flags(
    session: &TestSession,
    reached: Reached,
    all: &[EquipmentRecord],
) -> Vec<EquipmentFlag> {
    let used = used_in(session, all);
    let mut flags = Vec::new();
    for one in &used {
        let equipment = &one.equipment;
        let for_load = measures_load(&used, equipment);
        let is_gauge = for_load || equipment.kind == EquipmentKind::Extensometer;
        let calibration = of_calibration(equipment, session.tested_on).filter(|_| is_gauge);
        let range = reached
            .load_n
            .filter(|_| for_load)
            .and_then(|load| of_load(equipment, load));
        let extension = reached
            .extension_mm
            .filter(|_| equipment.kind == EquipmentKind::Extensometer)
            .and_then(|mm| of_extension(equipment, mm));
        let found = [calibration, range, extension].into_iter().flatten();
        flags.extend(found.map(|kind| EquipmentFlag {
            equipment: equipment.name.clone(),
            kind,
        }));
    }
    flags
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::equipment::Used;
    use crate::study::ids::ConsignmentId;
    use crate::study::record::EquipmentStanding;
    use crate::study::units::Unit;
    use uuid::Uuid;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn version(entry: u128, calibrated: Option<&str>, until: Option<&str>) -> EquipmentRecord {
        EquipmentRecord {
            entry: EntryId(Uuid::from_u128(entry)),
            item: EntryId(Uuid::from_u128(1)),
            consignment: ConsignmentId(Uuid::nil()),
            standing: EquipmentStanding::Current,
            equipment: Equipment {
                kind: EquipmentKind::LoadCell,
                name: "cell".into(),
                serial: String::new(),
                range_from: Some(20.0),
                range_to: Some(1000.0),
                class: "1".into(),
                calibrated_on: calibrated.map(day),
                valid_until: until.map(day),
                paper: None,
                picture: None,
            },
            origin: None,
        }
    }

    fn session(tested_on: &str) -> TestSession {
        TestSession {
            consignment: ConsignmentId(Uuid::nil()),
            machine: "frame".into(),
            fixture: "pin".into(),
            speed_mm_min: None,
            room_c: None,
            room_rh_percent: None,
            load_unit: Unit::Newton,
            tested_on: day(tested_on),
            check_load_n: None,
            check_opening_n: None,
            check_closing_n: None,
            drift_limit_percent: None,
            used: Used {
                cell: Some(EntryId(Uuid::from_u128(1))),
                ..Used::default()
            },
        }
    }

    fn kinds(tested_on: &str, load: Option<f64>, all: &[EquipmentRecord]) -> Vec<FlagKind> {
        let reached = Reached {
            load_n: load,
            extension_mm: Some(2.6),
        };
        let flags = flags(&session(tested_on), reached, all);
        flags.into_iter().map(|flag| flag.kind).collect()
    }

    #[test]
    fn a_calibration_speaks_from_its_day_to_its_end() {
        let all = [version(1, Some("2026-01-10"), Some("2026-12-31"))];
        assert_eq!(kinds("2026-01-09", None, &all), [FlagKind::CalibratedAfter]);
        assert_eq!(kinds("2026-01-10", None, &all), []);
        assert_eq!(kinds("2026-12-31", None, &all), []);
        assert_eq!(kinds("2027-01-01", None, &all), [FlagKind::CalibrationOver]);
        let endless = [version(1, Some("2026-01-10"), None)];
        assert_eq!(kinds("2027-01-11", None, &endless), []);
        assert_eq!(
            kinds("2027-01-12", None, &endless),
            [FlagKind::CalibrationOld]
        );
        let none = [version(1, None, None)];
        assert_eq!(kinds("2026-01-10", None, &none), [FlagKind::NoCalibration]);
    }

    #[test]
    fn a_later_calibration_does_not_take_away_the_earlier_one_and_a_wrong_one_never_counts() {
        let mut first = version(1, Some("2025-01-10"), Some("2025-12-31"));
        first.standing = EquipmentStanding::Earlier;
        let second = version(2, Some("2026-02-01"), Some("2027-01-31"));
        let mut all = [first, second];
        assert_eq!(kinds("2025-06-01", None, &all), [], "by the earlier one");
        assert_eq!(kinds("2026-06-01", None, &all), [], "by the later one");
        assert_eq!(kinds("2026-01-15", None, &all), [FlagKind::CalibratedAfter]);
        all[0].standing = EquipmentStanding::Wrong;
        assert_eq!(kinds("2025-06-01", None, &all), [FlagKind::CalibratedAfter]);
    }

    #[test]
    fn an_extension_beyond_the_extensometers_range_is_flagged_and_a_load_is_not_asked_of_it() {
        let mut item = version(1, Some("2026-01-10"), None);
        item.equipment.kind = EquipmentKind::Extensometer;
        (item.equipment.range_from, item.equipment.range_to) = (Some(0.3), Some(2.5));
        let all = [item.clone()];
        let kinds_of = |all: &[EquipmentRecord]| kinds("2026-02-01", Some(400.0), all);
        assert_eq!(kinds_of(&all), [FlagKind::ExtensionBeyond]);
        item.equipment.range_to = Some(2.6);
        assert_eq!(kinds_of(&[item]), []);
    }

    #[test]
    fn a_load_outside_the_range_of_the_class_is_flagged_at_both_ends() {
        let all = [version(1, Some("2026-01-10"), None)];
        for (load, expected) in [
            (19.9, &[FlagKind::BelowRange][..]),
            (20.0, &[]),
            (1000.0, &[]),
            (1000.1, &[FlagKind::AboveRange]),
        ] {
            assert_eq!(kinds("2026-02-01", Some(load), &all), expected, "{load} N");
        }
    }
}
