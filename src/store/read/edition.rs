//! Questions about published editions: their files come from the blob table, byte for byte.

use crate::store::{Store, StoreError};

const DOING: &str = "reading an edition";

/// A file of an edition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EditionBytes {
    /// Its media type.
    pub media_type: String,
    /// SHA-256 of the bytes, in hexadecimal digits.
    pub sha256: String,
    /// The bytes.
    pub bytes: Vec<u8>,
}

/// What an address of an edition leads to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum EditionFound {
    /// The file.
    File(EditionBytes),
    /// The edition was withdrawn.
    Withdrawn {
        /// When, as stored.
        at: String,
        /// Why.
        reason: String,
    },
    /// There is no such edition, or no such file in it.
    Nothing,
}

impl Store {
    /// A file of an edition of the study with an address.
    ///
    /// # Errors
    /// When the database cannot be read, or holds the edition but not the file's bytes.
    pub async fn edition_file(
        &self,
        slug: &str,
        number: u32,
        path: &str,
    ) -> Result<EditionFound, StoreError> {
        let number = i64::from(number);
        let row = sqlx::query!(
            r#"select e.withdrawn_by is not null as "is_withdrawn!: bool", j.received_at as "at?",
                j.note as "note?", f.media_type as "media_type?", f.sha256 as "sha256?"
            from study s
            join edition e on e.study = s.id and e.number = ?2
            left join journal j on j.id = e.withdrawn_by
            left join edition_file f on f.study = s.id and f.number = ?2 and f.path = ?3
            where s.slug = ?1"#,
            slug,
            number,
            path
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        let Some(row) = row else {
            return Ok(EditionFound::Nothing);
        };
        if row.is_withdrawn {
            let (at, reason) = (row.at.unwrap_or_default(), row.note.unwrap_or_default());
            return Ok(EditionFound::Withdrawn { at, reason });
        }
        let (Some(media_type), Some(sha256)) = (row.media_type, row.sha256) else {
            return Ok(EditionFound::Nothing);
        };
        let bytes = self.bytes_of(&sha256).await?;
        Ok(EditionFound::File(EditionBytes {
            media_type,
            sha256,
            bytes,
        }))
    }

    /// The names of an edition's files, in their order; none for an edition that is not there.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn edition_paths(&self, slug: &str, number: u32) -> Result<Vec<String>, StoreError> {
        let number = i64::from(number);
        sqlx::query_scalar!(
            "select f.path from edition_file f
            join study s on s.id = f.study
            where s.slug = ?1 and f.number = ?2
            order by f.path",
            slug,
            number
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))
    }

    async fn bytes_of(&self, sha256: &str) -> Result<Vec<u8>, StoreError> {
        let bytes = sqlx::query_scalar!("select bytes from blob where sha256 = unhex(?1)", sha256)
            .fetch_optional(self.readers())
            .await
            .map_err(StoreError::while_doing(DOING))?;
        bytes.ok_or_else(|| StoreError::new(DOING, "the file's bytes are missing"))
    }
}
