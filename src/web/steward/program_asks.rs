//! What the desk's pages ask before a reading is recorded, for readings that a steward's program sends.

use super::reading_correct::doubt;
use crate::study::entry::Entry;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::fault::WebFault;
use crate::web::lab::program_asks::Objection;

/// What a page would say to a reading that is not on record yet. A piece or an instrument that the study does
/// not have is the journal's to refuse.
pub(in crate::web) async fn objection(
    app: &App,
    study: &StudyAccess,
    entry: &Entry,
) -> Result<Option<Objection>, WebFault> {
    let (Entry::ReadingTaken { reading } | Entry::ReadingCorrected { reading, .. }) = entry else {
        return Ok(None);
    };
    if reading.is_confirmed_doubt {
        return Ok(None);
    }
    let record = study.record(app).await?;
    Ok(doubt(&record, reading).map(Objection::doubt))
}
