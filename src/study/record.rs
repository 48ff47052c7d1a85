//! A whole study as the pages and the analysis read it: everything on record, nothing judged.
//!
//! `store::read::record` fills it from the tables. Whether something may be shown is decided by who
//! asks: see [`StudyRecord::is_blind`].

mod custody;
mod drying;
mod lab;
mod literature;
mod photograph;
mod retest;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::allocation::{Allocated, Place};
use super::code::Code;
use super::custody::{Handling, Incident};
use super::environment::SeriesAdded;
use super::ids::{AccountId, ConsignmentId, EntryId, StudyId};
use super::licence::Licence;
use super::plan::Plan;
use super::reading::{Instrument, InstrumentCheck, Reading};
use super::specimen::{Identity, Recovery, Whereabouts};

pub use custody::{
    ArrivalShot, CustodyRecord, EquipmentRecord, EquipmentStanding, SettlementRecord, TransitRecord,
};
pub use drying::{DryingRecord, OverrideRecord, WeighingRecord};
pub use lab::{ConsignmentRecord, LinkRecord, PieceRecord, TestRecord};
pub use literature::CitedRecord;
pub use photograph::PhotographRecord;
pub use retest::{RetestRecord, settle as settle_retests};

/// Everything on record about a study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StudyRecord {
    /// Its id.
    pub id: StudyId,
    /// Its address.
    pub slug: String,
    /// The two characters that begin its codes.
    pub mark: String,
    /// Its title.
    pub title: String,
    /// Its time zone (IANA name).
    pub time_zone: String,
    /// It had begun before anybody opened it here.
    pub is_after_the_fact: bool,
    /// Whether strangers may see its public page.
    pub is_public: bool,
    /// When it was opened here.
    pub started_at: DateTime<Utc>,
    /// Its stewards.
    pub stewards: Vec<AccountId>,
    /// Every version of its plan, oldest first.
    pub plans: Vec<PlanVersion>,
    /// The seal, when there is one.
    pub seal: Option<Seal>,
    /// Its instruments.
    pub instruments: Vec<Instrument>,
    /// What its instruments showed of known weights and gauges, in the journal's order.
    #[serde(default)]
    pub checks: Vec<CheckRecord>,
    /// Its pieces, in the order of their codes' numbers.
    pub specimens: Vec<SpecimenRecord>,
    /// Every reading, also superseded and void ones, in the journal's order.
    pub readings: Vec<ReadingRecord>,
    /// Why entries were declared void, by the entry.
    #[serde(default)]
    pub voidings: BTreeMap<EntryId, String>,
    /// Every draw, oldest first; the last one holds.
    pub draws: Vec<DrawRecord>,
    /// Weighings of pieces while they dried, and where the plan's rule was overridden.
    #[serde(default)]
    pub drying: DryingRecord,
    /// Series of the environment, also void ones, in the journal's order.
    #[serde(default)]
    pub series: Vec<SeriesRecord>,
    /// Figures that others published, also void ones, in the journal's order.
    #[serde(default)]
    pub cited: Vec<CitedRecord>,
    /// Pieces that may go out, or went, without their baseline readings.
    pub waivers: Vec<WaiverRecord>,
    /// What happened to pieces, in the journal's order.
    pub events: Vec<EventRecord>,
    /// What happened to holders.
    pub incidents: Vec<IncidentRecord>,
    /// Every photograph, also void ones, in the journal's order.
    pub photographs: Vec<PhotographRecord>,
    /// The consignments, oldest first.
    pub consignments: Vec<ConsignmentRecord>,
    /// Every version of every item of the labs' own records, in the journal's order.
    #[serde(default)]
    pub equipment: Vec<EquipmentRecord>,
    /// The editions, oldest first.
    pub editions: Vec<EditionRecord>,
    /// Where the seal line was posted.
    pub witnesses: Vec<String>,
    /// Number of entries in its chain.
    pub entries: u64,
    /// Hash of the chain's last entry, in hexadecimal digits.
    pub head: String,
}

/// A check of an instrument.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CheckRecord {
    /// Its entry.
    pub entry: EntryId,
    /// The check.
    pub check: InstrumentCheck,
    /// When it was read, by the device's clock.
    pub taken_at: DateTime<Utc>,
}

/// One version of the plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlanVersion {
    /// From 1.
    pub version: u32,
    /// The plan.
    pub plan: Plan,
    /// SHA-256 of its bytes, in hexadecimal digits.
    pub sha256: String,
    /// When the server received it.
    pub at: DateTime<Utc>,
    /// The reason, for an amendment of a sealed plan; `None` before the seal.
    pub amendment_reason: Option<String>,
    /// Whether the change came after results were unblinded.
    pub is_knowing_results: bool,
}

/// The seal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seal {
    /// Which version of the plan.
    pub plan_version: u32,
    /// SHA-256 of the plan's bytes, in hexadecimal digits.
    pub sha256: String,
    /// When, by this server's clock.
    pub at: DateTime<Utc>,
    /// Place of its entry in the journal.
    pub entry_seq: u64,
    /// The hash of the journal entry.
    pub entry_hash: String,
    /// Sealed after the first baseline piece was broken.
    pub is_knowing_baseline: bool,
    /// Sealed after the first piece went out.
    pub is_after_outing: bool,
}

/// One piece.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SpecimenRecord {
    /// Its code.
    pub code: Code,
    /// Its running number in the study.
    pub number: u32,
    /// Its lot of material.
    pub lot: String,
    /// Its build.
    pub build: String,
    /// Its place in the order of making.
    pub order: u32,
    /// What it is for; `None` before the allocation.
    pub place: Option<Place>,
    /// Where it is now.
    pub whereabouts: Whereabouts,
    /// Given its code when it was found without a mark.
    pub is_nameless: bool,
    /// When it went out.
    pub out_at: Option<DateTime<Utc>>,
    /// When it was taken in.
    pub in_at: Option<DateTime<Utc>>,
    /// Its state on recovery.
    pub recovery: Option<Recovery>,
    /// How it was identified.
    pub identity: Option<Identity>,
    /// When it was registered, by the device's clock.
    #[serde(default)]
    pub made_at: Option<DateTime<Utc>>,
    /// For a spare that was packed for it: the piece in whose place it was tested.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retest: Option<RetestRecord>,
}

impl SpecimenRecord {
    /// Whole days out, when it was put out and taken in.
    #[must_use]
    pub fn days_out(&self) -> Option<f64> {
        let time = self.in_at? - self.out_at?;
        #[expect(
            clippy::cast_precision_loss,
            reason = "seconds of a few centuries are exact"
        )]
        let seconds = time.num_seconds() as f64;
        Some(seconds / 86_400.0)
    }
}

/// Whether an entry still counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// It counts.
    Current,
    /// A later entry corrects it.
    Superseded,
    /// It was declared void.
    Void,
}

/// A reading as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReadingRecord {
    /// Its entry.
    pub entry: EntryId,
    /// The reading.
    pub reading: Reading,
    /// When it was taken, by the device's clock.
    pub taken_at: DateTime<Utc>,
    /// Whether it counts.
    pub standing: Standing,
    /// The entry that it corrects.
    pub supersedes: Option<EntryId>,
    /// The reason or remark.
    pub note: Option<String>,
}

/// A draw.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DrawRecord {
    /// The draw; for a grouping reported after the fact, number 0 and no seed.
    pub drawn: Allocated,
    /// When.
    pub at: DateTime<Utc>,
    /// Why it was drawn again.
    pub reason: Option<String>,
}

/// A waiver for one piece.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct WaiverRecord {
    /// Its entry.
    pub entry: EntryId,
    /// The piece.
    pub specimen: Code,
    /// Why.
    pub reason: String,
    /// When.
    pub at: DateTime<Utc>,
}

/// Something that happened to one piece.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EventRecord {
    /// Its entry; one entry may reach many pieces.
    pub entry: EntryId,
    /// The piece.
    pub specimen: Code,
    /// What happened.
    pub what: EventKind,
    /// When it happened.
    pub at: DateTime<Utc>,
    /// When the server received it.
    pub received_at: DateTime<Utc>,
    /// Whether it counts.
    pub standing: Standing,
    /// The remark or reason.
    pub note: Option<String>,
}

/// What can happen to a piece.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "event")]
pub enum EventKind {
    /// Put out.
    PutOut,
    /// Handled.
    Handled {
        /// How.
        what: Handling,
        /// Into which holder, for a move.
        into_holder: Option<String>,
    },
    /// Taken in.
    TakenIn {
        /// In which state.
        recovery: Recovery,
        /// How it was identified.
        identity: Identity,
    },
    /// Rejected before the allocation.
    Rejected,
}

/// Something that happened to a holder.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct IncidentRecord {
    /// Its entry.
    pub entry: EntryId,
    /// What.
    pub incident: Incident,
    /// In words.
    pub note: String,
    /// When the server received it.
    pub received_at: DateTime<Utc>,
    /// Whether it counts.
    pub standing: Standing,
}

/// A series of the environment as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SeriesRecord {
    /// Its entry.
    pub entry: EntryId,
    /// The series, without its values.
    pub series: SeriesAdded,
    /// When the server received it.
    pub received_at: DateTime<Utc>,
    /// Whether it counts.
    pub standing: Standing,
    /// The remark.
    pub note: String,
}

/// A published edition.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EditionRecord {
    /// Its number.
    pub number: u32,
    /// When it was published.
    pub at: DateTime<Utc>,
    /// Whether it appeared before the primary stage had results.
    pub is_interim: bool,
    /// SHA-256 of its findings file.
    pub findings_sha256: String,
    /// The entry that published it.
    pub entry: EntryId,
    /// The licence of its data.
    pub licence: Option<Licence>,
    /// Why it was withdrawn.
    pub withdrawn: Option<String>,
}

impl StudyRecord {
    /// The plan that holds, with its version.
    #[must_use]
    pub fn plan(&self) -> Option<&PlanVersion> {
        self.plans.last()
    }

    /// The amendments: plan versions after the seal.
    pub fn amendments(&self) -> impl Iterator<Item = &PlanVersion> {
        self.plans
            .iter()
            .filter(|version| version.amendment_reason.is_some())
    }

    /// A piece.
    #[must_use]
    pub fn specimen(&self, code: &Code) -> Option<&SpecimenRecord> {
        self.specimens.iter().find(|piece| piece.code == *code)
    }

    /// A consignment.
    #[must_use]
    pub fn consignment(&self, id: ConsignmentId) -> Option<&ConsignmentRecord> {
        self.consignments
            .iter()
            .find(|consignment| consignment.id == id)
    }

    /// The readings that count.
    pub fn current_readings(&self) -> impl Iterator<Item = &ReadingRecord> {
        self.readings
            .iter()
            .filter(|reading| reading.standing == Standing::Current)
    }

    /// The pieces whose consignment is not unblinded: nothing about one of them may be public.
    #[must_use]
    pub fn blind_specimens(&self) -> BTreeSet<&Code> {
        let blind = self.consignments.iter().filter(|one| one.is_blind());
        blind
            .flat_map(|consignment| &consignment.pieces)
            .map(|piece| &piece.specimen)
            .collect()
    }

    /// Whether any consignment's values are still hidden.
    #[must_use]
    pub fn is_blind(&self) -> bool {
        self.consignments.iter().any(ConsignmentRecord::is_blind)
    }
}
