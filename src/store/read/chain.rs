//! A study's chain as it may be handed out; what of it is public is decided by who hands it out.

use crate::store::{Store, StoreError, journal};
use crate::study::entry::ChainLine;
use crate::study::record::StudyRecord;

const DOING: &str = "reading a study's journal";

/// Lines read at once.
const PAGE: i64 = 500;

impl Store {
    /// The entries on which a record rests, in their order.
    ///
    /// # Errors
    /// When the database cannot be read, or the chain does not end where the record says.
    pub async fn chain_lines(&self, record: &StudyRecord) -> Result<Vec<ChainLine>, StoreError> {
        let chain = record.id.to_string();
        let mut db = self
            .readers()
            .acquire()
            .await
            .map_err(StoreError::while_doing(DOING))?;
        let mut lines: Vec<ChainLine> = Vec::new();
        loop {
            let after = lines.last().map_or(0, |line| line.seq);
            if after >= record.entries {
                break;
            }
            let after = i64::try_from(after).unwrap_or(i64::MAX);
            let rows = journal::rows_after(&mut db, &chain, after, PAGE).await;
            let rows = rows.map_err(StoreError::while_doing(DOING))?;
            if rows.is_empty() {
                break;
            }
            for row in rows {
                lines.push(row.line()?);
            }
        }
        // Entries that came in since the record was read are not its business.
        lines.retain(|line| line.seq <= record.entries);
        match lines.last() {
            Some(last) if last.hash == record.head => Ok(lines),
            _ => Err(StoreError::new(
                DOING,
                "it does not end where the record does",
            )),
        }
    }
}
