//! Files by their content: photographs, curves, certificates, the bytes of an edition.

use super::{Store, StoreError};
use crate::study::ids::EntryId;
use sha2::{Digest, Sha256};
use sqlx::sqlite::SqliteConnection;

/// The largest file kept, in bytes (32 MB): what one durable write takes well under a second for.
pub const MAX_BLOB_BYTES: usize = 32 * 1024 * 1024;

/// A stored file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Blob {
    /// Such as `image/jpeg`; decided by us when it was stored, never by the sender alone.
    pub media_type: String,
    /// The file itself.
    pub bytes: Vec<u8>,
}

impl Store {
    /// Keeps these bytes and gives their SHA-256. The same bytes again change nothing.
    ///
    /// # Errors
    /// When they are more than [`MAX_BLOB_BYTES`] (check before), or the disk refuses.
    pub async fn put_blob(&self, blob: &Blob) -> Result<[u8; 32], StoreError> {
        let hash: [u8; 32] = Sha256::digest(&blob.bytes).into();
        let key = hash.as_slice();
        sqlx::query!(
            "insert into blob (sha256, media_type, bytes)
            values (?1, ?2, ?3)
            on conflict (sha256) do nothing",
            key,
            blob.media_type,
            blob.bytes,
        )
        .execute(&mut *self.house().await)
        .await
        .map_err(StoreError::while_doing("storing a file"))?;
        Ok(hash)
    }

    /// The file with this SHA-256.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn find_blob(&self, sha256: &[u8; 32]) -> Result<Option<Blob>, StoreError> {
        let key = sha256.as_slice();
        sqlx::query_as!(
            Blob,
            "select media_type, bytes from blob where sha256 = ?1",
            key
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing("reading a file"))
    }

    /// The file with this SHA-256 in hexadecimal digits; none for what are none.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn find_blob_by_hex(&self, sha256: &str) -> Result<Option<Blob>, StoreError> {
        sqlx::query_as!(
            Blob,
            "select media_type, bytes from blob where sha256 = unhex(?1)",
            sha256
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing("reading a file"))
    }
}

/// Removes the files of a photograph that an entry has just erased, unless a published edition or
/// another photograph is made of the same bytes.
pub(super) async fn erase_photograph(
    db: &mut SqliteConnection,
    photograph: EntryId,
) -> Result<(), sqlx::Error> {
    let entry = photograph.to_string();
    sqlx::query!(
        "with gone (sha256) as (
            select large from photograph where entry = ?1
            union
            select small from photograph where entry = ?1
        )
        delete from blob
        where sha256 in (
            select unhex(g.sha256) from gone g
            where not exists (select 1 from edition_file f where f.sha256 = g.sha256)
                and not exists (
                    select 1 from photograph p
                    where p.is_erased = 0 and (p.large = g.sha256 or p.small = g.sha256)
                )
        )",
        entry
    )
    .execute(db)
    .await
    .map(|_| ())
}
