//! The lab's own record as it stands, and what is known of a parcel's arrival.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::{ConsignmentRecord, Standing, StudyRecord, TestRecord};
use crate::study::break_test::TestSession;
use crate::study::code::BlindCode;
use crate::study::equipment::flag::{self, EquipmentFlag, Reached};
use crate::study::equipment::{Equipment, Origin};
use crate::study::ids::{ConsignmentId, EntryId};
use crate::study::photograph::Files;
use crate::study::receipt::{About, Difference, ParcelReceipt, TransitLogged, differences};

/// Whether a version of an item speaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EquipmentStanding {
    /// As it is now.
    Current,
    /// As it was before it was calibrated or changed.
    Earlier,
    /// Written down wrongly.
    Wrong,
}

/// A version of an item of a lab's record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EquipmentRecord {
    /// Its entry.
    pub entry: EntryId,
    /// The entry that named the item first.
    pub item: EntryId,
    /// The consignment through which it was written down.
    pub consignment: ConsignmentId,
    /// Whether it speaks.
    pub standing: EquipmentStanding,
    /// The item.
    pub equipment: Equipment,
    /// Where it stands in another study, when it was brought over from there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub origin: Option<Origin>,
}

impl EquipmentRecord {
    /// Whether it is the item as it is now.
    #[must_use]
    pub fn is_current(&self) -> bool {
        self.standing == EquipmentStanding::Current
    }

    /// Whether it was written down wrongly.
    #[must_use]
    pub fn is_wrong(&self) -> bool {
        self.standing == EquipmentStanding::Wrong
    }
}

/// What is known of a parcel besides its pieces.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct CustodyRecord {
    /// The number of the seal with which it left.
    #[serde(default)]
    pub seal_number: Option<String>,
    /// How it was opened; the last that was said.
    #[serde(default)]
    pub receipt: Option<ParcelReceipt>,
    /// The remark beside it.
    #[serde(default)]
    pub receipt_note: Option<String>,
    /// How differences were settled, in the journal's order.
    #[serde(default)]
    pub settlements: Vec<SettlementRecord>,
    /// Photographs of what arrived.
    #[serde(default)]
    pub photographs: Vec<ArrivalShot>,
    /// Loggers that travelled along.
    #[serde(default)]
    pub transits: Vec<TransitRecord>,
}

/// How a difference was settled.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SettlementRecord {
    /// Its entry.
    pub entry: EntryId,
    /// What it is about.
    pub about: About,
    /// Whether the lab said it; otherwise the steward.
    pub is_of_lab: bool,
    /// When.
    pub at: DateTime<Utc>,
    /// In words.
    pub words: String,
    /// Whether what it settles was said anew since.
    pub is_earlier: bool,
}

/// A photograph of what arrived.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ArrivalShot {
    /// Its entry.
    pub entry: EntryId,
    /// The pieces that it shows; none for the parcel as a whole.
    pub blinds: Vec<BlindCode>,
    /// Its pictures.
    pub files: Files,
    /// Whether they were erased.
    pub is_erased: bool,
    /// The remark.
    pub note: Option<String>,
}

/// A logger that travelled along.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TransitRecord {
    /// Its entry.
    pub entry: EntryId,
    /// What it showed.
    pub transit: TransitLogged,
}

impl ConsignmentRecord {
    /// The consignment by which its lab is known.
    #[must_use]
    pub fn lab_id(&self) -> ConsignmentId {
        self.same_lab_as.unwrap_or(self.id)
    }

    /// The session in which a test was made; the last one where that was not noted.
    #[must_use]
    pub fn session_of(&self, test: &TestRecord) -> Option<&TestSession> {
        let place = test.session.and_then(|number| number.checked_sub(1));
        let place = place.and_then(|place| usize::try_from(place).ok());
        let found = place.and_then(|place| self.sessions.get(place));
        found.or(self.session.as_ref())
    }

    /// The sessions in which tests that count were made; the one set last when there are none.
    #[must_use]
    pub fn used_sessions(&self) -> Vec<&TestSession> {
        let counts = |test: &&TestRecord| test.standing == Standing::Current;
        let numbers = self.tests.iter().filter(counts);
        let numbers: BTreeSet<u32> = numbers.filter_map(|test| test.session).collect();
        let used = self.sessions.iter().zip(1_u32..);
        let used = used.filter(|(_, number)| numbers.contains(number));
        let used: Vec<&TestSession> = used.map(|(session, _)| session).collect();
        if used.is_empty() {
            self.session.iter().collect()
        } else {
            used
        }
    }

    /// What arrived otherwise than it was sent, each with how it was settled since it was last said.
    #[must_use]
    pub fn settled_differences(&self) -> Vec<(Difference, Vec<&SettlementRecord>)> {
        let own = |difference: Difference| {
            let all = self.custody.settlements.iter();
            let words = all
                .filter(|one| one.about == difference.about && !one.is_earlier)
                .collect();
            (difference, words)
        };
        differences(self).into_iter().map(own).collect()
    }
}

impl StudyRecord {
    /// Every version of the items of a consignment's lab, in the journal's order.
    pub fn equipment_of(
        &self,
        consignment: &ConsignmentRecord,
    ) -> impl Iterator<Item = &EquipmentRecord> {
        let lab = consignment.lab_id();
        self.equipment.iter().filter(move |one| {
            let through = self.consignment(one.consignment);
            through.is_some_and(|through| through.lab_id() == lab)
        })
    }

    /// What a reader must know of the instruments behind a test.
    #[must_use]
    pub fn equipment_flags(
        &self,
        consignment: &ConsignmentRecord,
        test: &TestRecord,
    ) -> Vec<EquipmentFlag> {
        consignment
            .session_of(test)
            .map_or_else(Vec::new, |session| {
                let reached = Reached {
                    load_n: test.test.max_load_n,
                    extension_mm: self.extension_mm(consignment, test),
                };
                flag::flags(session, reached, &self.equipment)
            })
    }

    /// The largest extension that an extensometer showed in a test, mm: its strain over the gauge length.
    fn extension_mm(&self, consignment: &ConsignmentRecord, test: &TestRecord) -> Option<f64> {
        let read = consignment.curve_of(&test.test.blind)?.read.as_ref()?;
        let gauge_mm = self.plan()?.plan.form.method?.gauge_mm?;
        let strains = [read.strain_at_yield, read.strain_at_max, read.strain_at_end];
        let most = strains.into_iter().flatten().reduce(f64::max)?;
        (!read.is_strain_nominal).then_some(most * gauge_mm)
    }
}
