//! Files by their content: photographs, curves, certificates, the bytes of an edition.

use super::{Store, StoreError};
use sha2::{Digest, Sha256};

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
}
