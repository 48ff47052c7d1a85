//! Entry → tables. One function for each variant, grouped by subject: the study as a whole
//! ([`study`]), its pieces ([`pieces`]), their drying ([`drying`]) and photographs ([`photographs`]), the
//! lab ([`lab`]), with what it works with and what came of a parcel ([`custody`]).
//!
//! `apply` uses no clock and no randomness: applying the same journal to empty tables gives the same
//! tables. Notes are not copied; readers join them.

mod custody;
mod drying;
mod events;
mod lab;
mod literature;
mod photographs;
mod pieces;
mod series;
mod study;

use sqlx::sqlite::SqliteConnection;

use super::journal::Row;
use crate::clock::hex;
use crate::study::entry::Entry;

/// Version of the projected tables; a database with another one is rebuilt when it is opened.
pub(super) const PROJECTION_VERSION: i64 = 14;

/// Where an entry stands, as the functions below need it.
struct At<'r> {
    entry: &'r str,
    study: &'r str,
    seq: i64,
    taken_at: &'r str,
    received_at: &'r str,
    hash: String,
}

/// Why an entry could not be applied.
#[derive(Debug)]
pub(super) enum ApplyError {
    /// SQLite refused a statement.
    Sql(sqlx::Error),
    /// A body could not be written as JSON.
    Json(serde_json::Error),
}

impl From<sqlx::Error> for ApplyError {
    fn from(error: sqlx::Error) -> Self {
        Self::Sql(error)
    }
}

impl From<serde_json::Error> for ApplyError {
    fn from(error: serde_json::Error) -> Self {
        Self::Json(error)
    }
}

impl std::fmt::Display for ApplyError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Sql(error) => error.fmt(f),
            Self::Json(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for ApplyError {}

type Applied = Result<(), ApplyError>;

/// Applies an entry to the tables.
pub(super) async fn apply(db: &mut SqliteConnection, row: &Row, entry: &Entry) -> Applied {
    let at = At {
        entry: &row.id,
        study: &row.chain,
        seq: row.seq,
        taken_at: &row.taken_at,
        received_at: &row.received_at,
        hash: hex(&row.hash),
    };
    match entry {
        Entry::AccountMade { .. }
        | Entry::AccountClosed { .. }
        | Entry::StudyOpened { .. }
        | Entry::NoteErased { .. } => Ok(()),
        Entry::StudyStarted(_)
        | Entry::StewardAdded { .. }
        | Entry::StewardRemoved { .. }
        | Entry::MadePublic {}
        | Entry::MadePrivate {}
        | Entry::PlanWritten { .. }
        | Entry::Sealed { .. }
        | Entry::Amended { .. }
        | Entry::InstrumentAdded { .. }
        | Entry::InstrumentChecked { .. }
        | Entry::EditionPublished(_)
        | Entry::EditionWithdrawn { .. }
        | Entry::WitnessNoted { .. } => study::apply(db, &at, entry).await,
        Entry::DryingWeighed(_) | Entry::DryingOverridden { .. } => {
            drying::apply(db, &at, entry).await
        }
        Entry::SeriesAdded(added) => series::add(db, &at, added).await,
        Entry::FigureCited(figure) => literature::add(db, &at, figure).await,
        Entry::SpecimensMade { .. }
        | Entry::SpecimenRejected { .. }
        | Entry::ReadingTaken { .. }
        | Entry::ReadingCorrected { .. }
        | Entry::Voided { .. }
        | Entry::AllocationDrawn(_)
        | Entry::GroupingReported { .. }
        | Entry::Waived { .. }
        | Entry::PutOut(_)
        | Entry::Handled(_)
        | Entry::Incident(_)
        | Entry::TakenIn(_)
        | Entry::NamelessFound(_) => pieces::apply(db, &at, entry).await,
        Entry::PhotographTaken { .. }
        | Entry::PhotographScaled { .. }
        | Entry::PhotographReleased { .. }
        | Entry::PhotographWithheld { .. }
        | Entry::PhotographErased { .. } => photographs::apply(db, &at, entry).await,
        Entry::ParcelSealed { .. }
        | Entry::LabLinked { .. }
        | Entry::EquipmentKept(_)
        | Entry::ReceiptNoted(_)
        | Entry::ArrivalPhotographed(_)
        | Entry::TransitLogged(_)
        | Entry::DifferenceSettled { .. } => custody::apply(db, &at, entry).await,
        _ => lab::apply(db, &at, entry).await,
    }
}
