//! Questions about the journal's entries themselves.

use crate::clock::hex;
use crate::store::{Store, StoreError};
use crate::study::ids::{EntryId, StudyId};

const DOING: &str = "reading the journal";

/// One entry as the journal page lists it. Its body is left out: it may hold what is still blind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EntryLine {
    /// Its place in the chain.
    pub seq: u64,
    /// Its id.
    pub id: String,
    /// Its kind.
    pub kind: String,
    /// Who recorded it: `keeper`, `account:…` or `link:…`.
    pub actor: String,
    /// When it was taken, by the device's clock, as stored.
    pub taken_at: String,
    /// When the server received it, as stored.
    pub received_at: String,
    /// Its note.
    pub note: Option<String>,
    /// Its hash, in hexadecimal digits.
    pub hash: String,
}

impl Store {
    /// Whether an entry is on record, in any chain.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn has_entry(&self, id: EntryId) -> Result<bool, StoreError> {
        let id = id.to_string();
        sqlx::query_scalar!(
            r#"select exists (select 1 from journal where id = ?1) as "is_there!: bool""#,
            id
        )
        .fetch_one(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))
    }

    /// The place of a study's seal in its chain; `None` before the seal.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn place_of_seal(&self, study: StudyId) -> Result<Option<u64>, StoreError> {
        let study = study.to_string();
        let place = sqlx::query_scalar!(
            r#"select journal.seq as "seq: u32"
            from seal
            join journal on journal.id = seal.entry
            where seal.study = ?1"#,
            study
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        Ok(place.map(u64::from))
    }

    /// The entries of a study before a place in its chain, newest first.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn entries_before(
        &self,
        study: StudyId,
        before: u64,
        limit: u32,
    ) -> Result<Vec<EntryLine>, StoreError> {
        let (study, limit) = (study.to_string(), i64::from(limit));
        let before = i64::try_from(before).unwrap_or(i64::MAX);
        let rows = sqlx::query!(
            r#"select seq as "seq: u32", id, kind, actor, taken_at, received_at, note, hash
            from journal
            where chain = ?1 and seq < ?2
            order by seq desc
            limit ?3"#,
            study,
            before,
            limit
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        let lines = rows.into_iter().map(|row| EntryLine {
            seq: u64::from(row.seq),
            id: row.id,
            kind: row.kind,
            actor: row.actor,
            taken_at: row.taken_at,
            received_at: row.received_at,
            note: row.note,
            hash: hex(&row.hash),
        });
        Ok(lines.collect())
    }
}
