//! Files of the exposure record that stand outside the journal: logger files that wait to be looked at,
//! and a weather archive's answers.

use chrono::{DateTime, Utc};

use super::{Blob, Store, StoreError, moment_from_text, moment_to_text};
use crate::study::environment::Values;
use crate::study::ids::{EntryId, StudyId};
use crate::study::record::{Standing, StudyRecord};

/// An answer that was kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptAnswer {
    /// SHA-256 of its bytes.
    pub sha256: [u8; 32],
    /// When it was given.
    pub at: DateTime<Utc>,
}

impl Store {
    /// Keeps a file that a steward of a study sent, and gives its SHA-256.
    ///
    /// # Errors
    /// When the disk refuses; so for everything here.
    pub async fn put_upload(
        &self,
        study: StudyId,
        bytes: Vec<u8>,
        now: DateTime<Utc>,
    ) -> Result<[u8; 32], StoreError> {
        let media_type = "text/csv".to_owned();
        let sha256 = self.put_blob(&Blob { media_type, bytes }).await?;
        let (study, key, at) = (study.to_string(), sha256.as_slice(), moment_to_text(now));
        sqlx::query!(
            "insert into upload (study, sha256, at)
            values (?1, ?2, ?3)
            on conflict (study, sha256) do nothing",
            study,
            key,
            at,
        )
        .execute(&mut *self.house().await)
        .await
        .map_err(StoreError::while_doing("keeping a logger's file"))?;
        Ok(sha256)
    }

    /// A file that was sent to this study; never one of another's.
    pub async fn find_upload(
        &self,
        study: StudyId,
        sha256: &[u8; 32],
    ) -> Result<Option<Vec<u8>>, StoreError> {
        let (study, key) = (study.to_string(), sha256.as_slice());
        sqlx::query_scalar!(
            "select b.bytes
            from upload u join blob b on b.sha256 = u.sha256
            where u.study = ?1 and u.sha256 = ?2",
            study,
            key
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing("reading a logger's file"))
    }

    /// The answer kept for what was asked.
    pub async fn find_weather_answer(&self, asked: &str) -> Result<Option<KeptAnswer>, StoreError> {
        let row = sqlx::query!(
            "select sha256, at from weather_answer where asked = ?1",
            asked
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing("looking for a weather answer"))?;
        let Some(row) = row else { return Ok(None) };
        let sha256 = row.sha256.try_into();
        let sha256 =
            sha256.map_err(|_| StoreError::new("reading a weather answer", "no SHA-256"))?;
        Ok(Some(KeptAnswer {
            sha256,
            at: moment_from_text(&row.at)?,
        }))
    }

    /// Keeps an answer.
    pub async fn keep_weather_answer(
        &self,
        asked: &str,
        bytes: Vec<u8>,
        now: DateTime<Utc>,
    ) -> Result<[u8; 32], StoreError> {
        let media_type = "application/json".to_owned();
        let sha256 = self.put_blob(&Blob { media_type, bytes }).await?;
        let (key, at) = (sha256.as_slice(), moment_to_text(now));
        sqlx::query!(
            "insert into weather_answer (asked, sha256, at)
            values (?1, ?2, ?3)
            on conflict (asked) do update set sha256 = ?2, at = ?3",
            asked,
            key,
            at,
        )
        .execute(&mut *self.house().await)
        .await
        .map_err(StoreError::while_doing("keeping a weather answer"))?;
        Ok(sha256)
    }

    /// The values of every series of a study that counts.
    pub async fn series_values(
        &self,
        record: &StudyRecord,
    ) -> Result<std::collections::BTreeMap<EntryId, Values>, StoreError> {
        const DOING: &str = "reading a series";
        let mut all = std::collections::BTreeMap::new();
        let current = record.series.iter();
        for series in current.filter(|series| series.standing == Standing::Current) {
            let sha256 = sha256_of(&series.series.values_sha256)
                .ok_or_else(|| StoreError::new(DOING, "its hash is none"))?;
            let blob = self.find_blob(&sha256).await?;
            let blob = blob.ok_or_else(|| StoreError::new(DOING, "its values are missing"))?;
            let values = Values::from_bytes(&blob.bytes)
                .ok_or_else(|| StoreError::new(DOING, "its values cannot be read"))?;
            all.insert(series.entry, values);
        }
        Ok(all)
    }
}

/// Reads 64 hexadecimal digits.
#[must_use]
pub fn sha256_of(text: &str) -> Option<[u8; 32]> {
    let mut bytes = [0; 32];
    if text.len() != 64 || !text.bytes().all(|byte| byte.is_ascii_hexdigit()) {
        return None;
    }
    for (at, byte) in bytes.iter_mut().enumerate() {
        *byte = u8::from_str_radix(text.get(at * 2..at * 2 + 2)?, 16).ok()?;
    }
    Some(bytes)
}
