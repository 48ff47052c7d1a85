//! What the guards need to know before an entry is appended: the state of the study and of the
//! pieces, the consignment and the earlier entry that it names. `store::standing` loads it inside the
//! writer's transaction.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};

use super::allocation::Place;
use super::code::{BlindCode, Code};
use super::drying::Weighing;
use super::ids::{AccountId, ConsignmentId, EntryId, InstrumentId, LinkId};
use super::plan::Plan;
use super::reading::{MoistureState, Occasion, Quantity};
use super::record;
use super::specimen::Whereabouts;
use super::units::Dimension;

/// Everything that the guards of one entry may ask.
#[derive(Debug, Clone, Default)]
pub struct Standing {
    /// The study of the entry's chain; `None` when there is none yet.
    pub study: Option<StudyStanding>,
    /// The pieces that the entry names and that exist in this study.
    pub specimens: BTreeMap<Code, SpecimenStanding>,
    /// Of the spares that it packs for it, in whose place they stand.
    pub retests: BTreeMap<Code, RetestStanding>,
    /// Codes that the entry would make and that exist already, in this or another study.
    pub taken_codes: BTreeSet<Code>,
    /// Whether another study has the slug or the mark that the entry would take.
    pub is_address_taken: bool,
    /// The consignment that the entry names.
    pub consignment: Option<ConsignmentStanding>,
    /// The lab link that the entry names, or that sends it.
    pub link: Option<LinkStanding>,
    /// The earlier entry that it names.
    pub target: Option<TargetStanding>,
    /// The photograph that it names.
    pub photograph: Option<PhotographStanding>,
}

/// A study.
#[derive(Debug, Clone)]
pub struct StudyStanding {
    /// It had begun before anybody opened it here.
    pub is_after_the_fact: bool,
    /// The plan that holds, with its version.
    pub plan: Option<(u32, Plan)>,
    /// Whether the plan is sealed.
    pub is_sealed: bool,
    /// Its stewards.
    pub stewards: BTreeSet<AccountId>,
    /// Number of draws so far.
    pub draws: u32,
    /// The plan version of the last draw.
    pub draw_plan_version: Option<u32>,
    /// Whether any piece has its place, by a draw or a report.
    pub is_placed: bool,
    /// Whether any piece has gone out.
    pub is_out: bool,
    /// Whether anything is packed.
    pub is_consigned: bool,
    /// Whether it is public.
    pub is_public: bool,
    /// Its instruments.
    pub instruments: BTreeMap<InstrumentId, Dimension>,
    /// Number of its specimens.
    pub specimens: u32,
    /// Number of published editions.
    pub editions: u32,
}

/// A piece.
#[derive(Debug, Clone)]
pub struct SpecimenStanding {
    /// What it is for.
    pub place: Option<Place>,
    /// Where it is.
    pub whereabouts: Whereabouts,
    /// When the last thing happened to it.
    pub last_event_at: Option<DateTime<Utc>>,
    /// Whether its baseline readings were waived.
    pub is_waived: bool,
    /// The current readings: quantity, occasion, repeat, state.
    pub readings: BTreeSet<(Quantity, Occasion, u8, MoistureState)>,
    /// The current weighings while it dried, in the order of their times.
    pub drying: Vec<(Occasion, Weighing)>,
    /// On which occasions its dry mass may be taken although the rule is not met.
    pub is_overridden: BTreeSet<Occasion>,
}

impl SpecimenStanding {
    /// What the plan calls for before exposure and is not on record: quantity and how many.
    #[must_use]
    pub fn missing_before(&self, plan: &Plan) -> Vec<(Quantity, u8)> {
        let missing = |quantity: Quantity| {
            let wanted = plan.readings_of(&quantity);
            let there = self.readings.iter().filter(|(q, occasion, _, state)| {
                *q == quantity && *occasion == Occasion::Before && *state == plan.reference_state
            });
            let there = u8::try_from(there.count()).unwrap_or(u8::MAX);
            (quantity, wanted.saturating_sub(there))
        };
        plan.quantities()
            .into_iter()
            .map(missing)
            .filter(|(_, count)| *count > 0)
            .collect()
    }
}

/// A consignment.
#[derive(Debug, Clone)]
pub struct ConsignmentStanding {
    /// Whether the tester declared it finished.
    pub is_finished: bool,
    /// Whether it is unblinded.
    pub is_unblinded: bool,
    /// Its pieces.
    pub pieces: BTreeMap<BlindCode, PieceStanding>,
    /// Whether it is on record how the parcel was opened.
    pub has_receipt: bool,
    /// The consignments of the study, each with the one by which its lab is known.
    pub labs: BTreeMap<ConsignmentId, ConsignmentId>,
    /// Every version of every item of its lab's record, by its entry.
    pub equipment: BTreeMap<EntryId, EquipmentItem>,
}

/// A piece whose test a spare is to repeat.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RetestStanding {
    /// Its place; for a spare that stood for another one, that one's.
    pub place: Option<Place>,
    /// Its lot and build.
    pub batch: (String, String),
    /// Those of the spare.
    pub spare_batch: (String, String),
    /// Whether the test that counts is called invalid, and each before it in whose place that piece stood.
    pub is_invalid: bool,
    /// Whether its consignment is finished or unblinded.
    pub has_ended: bool,
    /// Whether a spare was packed for it already that was not lost before its test.
    pub is_repeated: bool,
    /// Whether it is a spare that was lost, and another stands where it stood.
    pub is_replaced: bool,
}

/// A version of an item of a lab's record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EquipmentItem {
    /// The entry that named the item first.
    pub item: EntryId,
    /// Whether it is the item as it is now.
    pub is_current: bool,
}

/// A packed piece.
#[derive(Debug, Clone)]
pub struct PieceStanding {
    /// Place in the order of testing.
    pub position: u32,
    /// It did not arrive.
    pub is_missing: bool,
    /// The test that counts.
    pub test: Option<EntryId>,
    /// Whether the tester said what it looked like.
    pub is_guessed: bool,
    /// It did not arrive whole and without a remark.
    pub arrived_otherwise: bool,
}

/// A lab link.
#[derive(Debug, Clone)]
pub struct LinkStanding {
    /// Its id.
    pub id: LinkId,
    /// Whether it may still write: neither revoked nor past its end.
    pub is_open: bool,
    /// Whether it is for the consignment that the entry names.
    pub is_for_consignment: bool,
}

/// An earlier entry.
#[derive(Debug, Clone)]
pub struct TargetStanding {
    /// Its kind.
    pub kind: String,
    /// Whether it counts.
    pub standing: record::Standing,
    /// The specimen or the blind code that it is about.
    pub subject: String,
    /// Whether later entries rest on it, so that it cannot be voided first.
    pub is_rested_on: bool,
    /// Whether it has a note.
    pub has_note: bool,
}

/// A photograph.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PhotographStanding {
    /// Whether it counts.
    pub standing: record::Standing,
    /// Whether it is released for the public page.
    pub is_released: bool,
    /// Whether its files are gone.
    pub is_erased: bool,
    /// Whether it is of the study as a whole, attached to no piece and no holder.
    pub is_of_whole: bool,
    /// Whether showing it would break the blind: one of its pieces is not unblinded yet.
    pub is_blind: bool,
}
