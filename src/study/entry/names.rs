//! What an entry names: specimens, a consignment, an earlier entry. The guards load only these.

use super::Entry;
use crate::study::code::Code;
use crate::study::ids::{ConsignmentId, EntryId};

impl Entry {
    /// The consignment that a lab link must be for, when this is something a tester may send.
    #[must_use]
    pub fn tester_consignment(&self) -> Option<ConsignmentId> {
        match self {
            Self::Arrived { consignment, .. }
            | Self::Guessed { consignment, .. }
            | Self::DifferenceSettled { consignment, .. }
            | Self::Finished { consignment } => Some(*consignment),
            Self::SessionSet(session) => Some(session.consignment),
            Self::CurveKept(curve) => Some(curve.consignment),
            Self::EquipmentKept(kept) => Some(kept.consignment),
            Self::ReceiptNoted(receipt) => Some(receipt.consignment),
            Self::ArrivalPhotographed(photograph) => Some(photograph.consignment),
            Self::TransitLogged(transit) => Some(transit.consignment),
            Self::BreakTested(test) | Self::BreakTestCorrected { test, .. } => {
                Some(test.consignment)
            }
            _ => None,
        }
    }

    /// Every specimen it names.
    #[must_use]
    pub fn specimens(&self) -> Vec<&Code> {
        match self {
            Self::SpecimenRejected { specimen } => vec![specimen],
            Self::ReadingTaken { reading } | Self::ReadingCorrected { reading, .. } => {
                vec![&reading.specimen]
            }
            Self::DryingWeighed(weighing) => vec![&weighing.specimen],
            Self::AllocationDrawn(drawn) => drawn.rows.iter().map(|row| &row.specimen).collect(),
            Self::GroupingReported { rows } => rows.iter().map(|row| &row.specimen).collect(),
            Self::Waived { specimens } | Self::DryingOverridden { specimens, .. } => {
                specimens.iter().collect()
            }
            Self::PutOut(out) => out.specimens.iter().collect(),
            Self::Handled(handled) => handled.specimens.iter().collect(),
            Self::PhotographTaken { photograph } => photograph.described.specimens.iter().collect(),
            Self::TakenIn(taken) => taken.pieces.iter().map(|piece| &piece.specimen).collect(),
            Self::Consigned(packed) => packed.pieces.iter().map(|piece| &piece.specimen).collect(),
            _ => Vec::new(),
        }
    }

    /// The consignment it names.
    #[must_use]
    pub fn consignment(&self) -> Option<ConsignmentId> {
        match self {
            Self::ParcelMoved { consignment, .. }
            | Self::ParcelSealed { consignment, .. }
            | Self::LabLinked { consignment, .. }
            | Self::LinkIssued { consignment, .. }
            | Self::Reopened { consignment }
            | Self::Unblinded { consignment } => Some(*consignment),
            Self::SetUpBrought(brought) => Some(brought.consignment),
            other => other.tester_consignment(),
        }
    }

    /// The photograph that it is about.
    #[must_use]
    pub fn photograph(&self) -> Option<EntryId> {
        match self {
            Self::PhotographScaled { photograph, .. }
            | Self::PhotographReleased { photograph, .. }
            | Self::PhotographWithheld { photograph }
            | Self::PhotographErased { photograph } => Some(*photograph),
            _ => None,
        }
    }

    /// The earlier entry that it supersedes, voids or erases the note of.
    #[must_use]
    pub fn target(&self) -> Option<EntryId> {
        match self {
            Self::ReadingCorrected { supersedes, .. }
            | Self::BreakTestCorrected { supersedes, .. } => Some(*supersedes),
            Self::Voided { entry } | Self::NoteErased { entry } => Some(*entry),
            _ => None,
        }
    }
}
