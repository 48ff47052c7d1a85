//! The journal's vocabulary: one variant for each thing that can happen.
//!
//! An [`Entry`] is what happened; an [`Envelope`] says who recorded it, on what, and when. Each kind
//! carries a version; entries written by any earlier version stay readable ([`Entry::read`]).

#![expect(
    missing_docs,
    reason = "the members of a variant are named by their types"
)]

mod line;
mod names;
mod who;

pub use line::ChainLine;
pub use who::{Actor, Chain};

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::allocation::{Allocated, Placed};
use super::break_test::{BreakTest, Looks, TestSession};
use super::code::{BlindCode, Code};
use super::consignment::{Arrival, Consigned, ParcelState};
use super::curve::KeptCurve;
use super::custody::{Handled, Incident, NamelessFound, PutOut, TakenIn};
use super::drying::DryingWeighing;
use super::edition::Published;
use super::environment::SeriesAdded;
use super::equipment::{Change, EquipmentKept, SetUpBrought};
use super::ids::{AccountId, ConsignmentId, EntryId, LinkId, StudyId};
use super::literature::CitedFigure;
use super::photograph::Photograph;
use super::plan::Plan;
use super::reading::{Instrument, InstrumentCheck, Occasion, Reading};
use super::receipt::{About, ArrivalPhotograph, ParcelReceipt, TransitLogged};
use super::specimen::Made;

/// An entry with its header, before the journal has given it a place in its chain.
#[derive(Debug, Clone, PartialEq)]
pub struct Envelope {
    /// Given by the device that records.
    pub id: EntryId,
    /// The chain it goes to.
    pub chain: Chain,
    /// Who recorded it.
    pub actor: Actor,
    /// The device, as it calls itself.
    pub device: String,
    /// The device's own running number; 0 for a form without script.
    pub device_seq: u64,
    /// When it was recorded, by the device's clock.
    pub taken_at: DateTime<Utc>,
    /// The device's or the study's time zone (IANA name).
    pub time_zone: String,
    /// A note or reason in words; it stands outside the hashed body and can be erased.
    pub note: Option<String>,
    /// What happened.
    pub entry: Entry,
}

/// What can happen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", content = "body", rename_all = "snake_case")]
pub enum Entry {
    /// Server: an account was made.
    AccountMade { account: AccountId },
    /// Server: an account was closed.
    AccountClosed { account: AccountId },
    /// Server: a study was opened.
    StudyOpened { study: StudyId },
    /// The first entry of a study.
    StudyStarted(StudyStarted),
    /// A steward was added.
    StewardAdded { account: AccountId },
    /// A steward was removed.
    StewardRemoved { account: AccountId },
    /// The study's public page was opened.
    MadePublic {},
    /// The study's public page was closed.
    MadePrivate {},
    /// A plan was written down; before the seal it may be written again.
    PlanWritten { plan: Box<Plan> },
    /// The plan was sealed.
    Sealed {
        plan_version: u32,
        plan_sha256: String,
    },
    /// The sealed plan was changed, with a reason.
    Amended { plan: Box<Plan> },
    /// An instrument was added.
    InstrumentAdded { instrument: Instrument },
    /// A known weight or gauge was read on an instrument.
    InstrumentChecked { check: InstrumentCheck },
    /// Specimens were registered.
    SpecimensMade { pieces: Vec<Made> },
    /// A specimen was rejected for a visible defect before the allocation.
    SpecimenRejected { specimen: Code },
    /// A reading was taken.
    ReadingTaken { reading: Reading },
    /// A reading was corrected, with a reason.
    ReadingCorrected {
        supersedes: EntryId,
        reading: Reading,
    },
    /// An entry was declared void without replacement, with a reason.
    Voided { entry: EntryId },
    /// A piece was weighed while it dries.
    DryingWeighed(DryingWeighing),
    /// The dry mass of pieces may be taken although the plan's rule is not met, with a reason.
    DryingOverridden {
        specimens: Vec<Code>,
        occasion: Occasion,
    },
    /// A series of the environment was added: a logger's file or an archive's answer.
    SeriesAdded(Box<SeriesAdded>),
    /// A figure that others published was entered with its citation.
    FigureCited(Box<CitedFigure>),
    /// The allocation was drawn.
    AllocationDrawn(Allocated),
    /// The grouping of a study entered after the fact, as reported.
    GroupingReported { rows: Vec<Placed> },
    /// Pieces may go out without their baseline readings, with a reason.
    Waived { specimens: Vec<Code> },
    /// Pieces were put out.
    PutOut(PutOut),
    /// Something was done to pieces, or found about them.
    Handled(Handled),
    /// Something happened to a holder.
    Incident(Incident),
    /// Pieces were taken in.
    TakenIn(TakenIn),
    /// A piece without its mark was found.
    NamelessFound(NamelessFound),
    /// A photograph was taken.
    PhotographTaken { photograph: Box<Photograph> },
    /// How wide the frame of a photograph is was measured, or measured anew.
    PhotographScaled { photograph: EntryId, frame_mm: f64 },
    /// The steward released a photograph for the public page.
    PhotographReleased {
        photograph: EntryId,
        /// The steward looked, and no code, label or place of a piece can be read in it: asked of a photograph
        /// of the study as a whole, which may be public before there are results.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        shows_no_piece: bool,
    },
    /// The steward took that back, for what is published later.
    PhotographWithheld { photograph: EntryId },
    /// The files of a photograph were erased, with a reason: it shows a person, a place.
    PhotographErased { photograph: EntryId },
    /// Pieces were packed under blind codes.
    Consigned(Consigned),
    /// A parcel moved.
    ParcelMoved {
        consignment: ConsignmentId,
        state: ParcelState,
        at: DateTime<Utc>,
    },
    /// A parcel was sealed; the number is on the seal.
    ParcelSealed {
        consignment: ConsignmentId,
        number: String,
    },
    /// The steward said which earlier consignment went to the same lab, or that none did.
    LabLinked {
        consignment: ConsignmentId,
        same_as: Option<ConsignmentId>,
    },
    /// An item was put into the lab's own record, or written down anew.
    EquipmentKept(Box<EquipmentKept>),
    /// A lab's last set-up was brought over from another study.
    SetUpBrought(Box<SetUpBrought>),
    /// A lab link was made; its end counts from the parcel's receipt.
    LinkIssued {
        link: LinkId,
        consignment: ConsignmentId,
        days: u32,
        latest: DateTime<Utc>,
    },
    /// A lab link was extended.
    LinkExtended { link: LinkId, latest: DateTime<Utc> },
    /// A lab link was revoked.
    LinkRevoked { link: LinkId },
    /// A piece arrived at the lab, or did not.
    Arrived {
        consignment: ConsignmentId,
        blind: BlindCode,
        arrival: Arrival,
    },
    /// The parcel was opened: count and seal.
    ReceiptNoted(ParcelReceipt),
    /// What arrived was photographed.
    ArrivalPhotographed(Box<ArrivalPhotograph>),
    /// A logger travelled with the parcel.
    TransitLogged(Box<TransitLogged>),
    /// What arrived otherwise than it was sent was settled, in words.
    DifferenceSettled {
        consignment: ConsignmentId,
        about: About,
    },
    /// The tester set machine, fixture, speed, room and unit.
    SessionSet(TestSession),
    /// A piece was tested.
    BreakTested(BreakTest),
    /// A break test was corrected, with a reason.
    BreakTestCorrected {
        supersedes: EntryId,
        test: BreakTest,
    },
    /// A curve was kept for a piece; with a reason where the tester said its end.
    CurveKept(Box<KeptCurve>),
    /// What a piece looked like to the tester.
    Guessed {
        consignment: ConsignmentId,
        blind: BlindCode,
        looks: Looks,
    },
    /// The tester declared the consignment finished.
    Finished { consignment: ConsignmentId },
    /// The steward opened it again, with a reason.
    Reopened { consignment: ConsignmentId },
    /// The steward unblinded it.
    Unblinded { consignment: ConsignmentId },
    /// An edition was published.
    EditionPublished(Published),
    /// An edition was withdrawn because the law asks it.
    EditionWithdrawn { number: u32 },
    /// The seal line was posted somewhere outside this server.
    WitnessNoted { place: String },
    /// The note of an entry was erased.
    NoteErased { entry: EntryId },
}

/// How a study begins.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StudyStarted {
    /// Its address on this server.
    pub slug: String,
    /// The two characters that begin its specimens' codes.
    pub mark: String,
    /// Its title.
    pub title: String,
    /// Its time zone (IANA name).
    pub time_zone: String,
    /// Its first steward.
    pub steward: AccountId,
    /// The study had begun before anybody opened it here.
    pub is_after_the_fact: bool,
}

/// The version in which entries are written now.
pub const VERSION: u32 = 1;

impl Entry {
    /// The name of its kind, as stored.
    ///
    /// # Errors
    /// When it cannot be written as JSON (a number that is not finite).
    pub fn kind(&self) -> Result<String, serde_json::Error> {
        let value = serde_json::to_value(self)?;
        Ok(value
            .get("kind")
            .and_then(|kind| kind.as_str())
            .unwrap_or_default()
            .to_owned())
    }

    /// Splits into kind and body, as stored.
    ///
    /// # Errors
    /// When it cannot be written as JSON (a number that is not finite).
    pub fn to_parts(&self) -> Result<(String, serde_json::Value), serde_json::Error> {
        let mut value = serde_json::to_value(self)?;
        let kind = value
            .get("kind")
            .and_then(|kind| kind.as_str())
            .unwrap_or_default()
            .to_owned();
        let body = value
            .get_mut("body")
            .map_or(serde_json::Value::Null, serde_json::Value::take);
        Ok((kind, body))
    }

    /// Reads an entry of any version ever written.
    ///
    /// # Errors
    /// When the version is newer than this program or the body does not fit its kind.
    pub fn read(kind: &str, version: u32, body: serde_json::Value) -> Result<Self, String> {
        if version != VERSION {
            return Err(format!(
                "entries of version {version} are newer than this program"
            ));
        }
        let value = serde_json::json!({ "kind": kind, "body": body });
        serde_json::from_value(value).map_err(|fault| fault.to_string())
    }

    /// Whether it needs a reason in words (its note).
    #[must_use]
    pub fn needs_reason(&self) -> bool {
        match self {
            Self::Amended { .. }
            | Self::ReadingCorrected { .. }
            | Self::Voided { .. }
            | Self::Waived { .. }
            | Self::DryingOverridden { .. }
            | Self::SpecimenRejected { .. }
            | Self::BreakTestCorrected { .. }
            | Self::Reopened { .. }
            | Self::Incident(_)
            | Self::PhotographErased { .. }
            | Self::DifferenceSettled { .. }
            | Self::EditionWithdrawn { .. } => true,
            Self::Handled(handled) => handled.what.needs_reason(),
            Self::AllocationDrawn(drawn) => drawn.draw > 1,
            Self::BreakTested(test) => {
                test.is_out_of_order || test.outcome != super::break_test::Outcome::Valid
            }
            Self::Arrived { arrival, .. } => *arrival == Arrival::Remark,
            Self::CurveKept(curve) => curve.ended_at_line.is_some(),
            Self::EquipmentKept(kept) => kept.change == Some(Change::Wrong),
            _ => false,
        }
    }

    /// Whether the journal's clients may send it as it is. The others hold what only the server may
    /// draw or compute (codes, seeds, hashes) or belong to a page of their own.
    #[must_use]
    pub fn is_from_device(&self) -> bool {
        matches!(
            self,
            Self::ReadingTaken { .. }
                | Self::ReadingCorrected { .. }
                | Self::InstrumentChecked { .. }
                | Self::Voided { .. }
                | Self::Waived { .. }
                | Self::DryingWeighed(_)
                | Self::DryingOverridden { .. }
                | Self::SpecimenRejected { .. }
                | Self::PutOut(_)
                | Self::Handled(_)
                | Self::Incident(_)
                | Self::TakenIn(_)
                | Self::ParcelMoved { .. }
                | Self::ParcelSealed { .. }
                | Self::LabLinked { .. }
                | Self::ReceiptNoted(_)
                | Self::DifferenceSettled { .. }
                | Self::EquipmentKept(_)
                | Self::Arrived { .. }
                | Self::SessionSet(_)
                | Self::BreakTested(_)
                | Self::BreakTestCorrected { .. }
                | Self::Guessed { .. }
                | Self::Finished { .. }
        )
    }
}

/// The journal's answer to an entry: where it stands, and its hash.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Receipt {
    /// The entry.
    pub id: Uuid,
    /// Its chain.
    pub chain: String,
    /// Its place in the chain, from 1.
    pub seq: u64,
    /// Its hash, in hexadecimal digits.
    pub hash: String,
    /// Whether this repeats the answer to an entry that was already there.
    #[serde(default)]
    pub is_repeat: bool,
}
