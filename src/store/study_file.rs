//! Files of studies that are being brought over: each is its sender's alone until the study is there.

use super::rows::{bad, parsed};
use super::{Store, StoreError, moment_to_text};
use crate::clock::hex;
use crate::study::ids::AccountId;
use chrono::{DateTime, Utc};
use uuid::Uuid;

const DOING: &str = "keeping a study's file";

/// A file as it came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StudyFile {
    /// Its own id.
    pub id: Uuid,
    /// Who sent it.
    pub account: AccountId,
    /// Of its bytes, which are a blob.
    pub sha256: [u8; 32],
    /// What the sender called it.
    pub name: String,
}

/// A study that was brought over from a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FromFile {
    /// Its address.
    pub slug: String,
    /// Its title.
    pub title: String,
}

impl Store {
    /// Notes a file whose bytes are a blob already; the same id again changes nothing.
    ///
    /// # Errors
    /// When the disk refuses.
    pub async fn add_study_file(
        &self,
        file: &StudyFile,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let (id, account) = (file.id.to_string(), file.account.to_string());
        let (sha256, at) = (file.sha256.as_slice(), moment_to_text(now));
        sqlx::query!(
            "insert into study_file (id, account, sha256, name, received_at)
            values (?1, ?2, ?3, ?4, ?5)
            on conflict (id) do nothing",
            id,
            account,
            sha256,
            file.name,
            at,
        )
        .execute(&mut *self.house().await)
        .await
        .map_err(StoreError::while_doing(DOING))?;
        Ok(())
    }

    /// A file that this person sent.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn study_file(
        &self,
        id: Uuid,
        account: AccountId,
    ) -> Result<Option<StudyFile>, StoreError> {
        let (key, owner) = (id.to_string(), account.to_string());
        let row = sqlx::query!(
            "select id, sha256, name from study_file where id = ?1 and account = ?2",
            key,
            owner,
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        let Some(row) = row else { return Ok(None) };
        Ok(Some(StudyFile {
            id: parsed("id", &row.id)?,
            account,
            sha256: row.sha256.try_into().map_err(|_| bad("hash", &row.name))?,
            name: row.name,
        }))
    }

    /// The studies of a person that were brought over from a file with these bytes, by title.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn studies_from_file(
        &self,
        account: AccountId,
        sha256: &[u8; 32],
    ) -> Result<Vec<FromFile>, StoreError> {
        let (account, device) = (account.to_string(), format!("file {}", hex(sha256)));
        sqlx::query_as!(
            FromFile,
            "select s.slug, s.title from study s join study_steward w on w.study = s.id
            where w.account = ?1
                and exists (select 1 from journal j where j.chain = s.id and j.device = ?2)
            order by s.title, s.slug",
            account,
            device,
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))
    }
}
