//! Files of testing machines on their way into the journal, and how a lab's files are read.

use super::rows::{bad, parsed};
use super::{Store, StoreError, moment_from_text, moment_to_text};
use crate::study::ids::{ConsignmentId, LinkId};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// A file as it came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CurveFile {
    /// Its own id.
    pub id: Uuid,
    /// The consignment that it was sent for.
    pub consignment: ConsignmentId,
    /// Of its bytes, which are a blob.
    pub sha256: [u8; 32],
    /// What the sender called it.
    pub name: String,
    /// When it came.
    pub received_at: DateTime<Utc>,
    /// What a person put right about reading it, as the fields of the form.
    pub said: String,
}

const DOING: &str = "keeping a curve's file";

impl Store {
    /// Notes a file whose bytes are a blob already; `false` when the consignment has it.
    ///
    /// # Errors
    /// When the disk refuses; so for everything here that writes.
    pub async fn add_curve_file(&self, file: &CurveFile) -> Result<bool, StoreError> {
        let (id, consignment) = (file.id.to_string(), file.consignment.to_string());
        let (sha256, at) = (file.sha256.as_slice(), moment_to_text(file.received_at));
        let done = sqlx::query!(
            "insert into curve_file (id, consignment, sha256, name, received_at, said)
            values (?1, ?2, ?3, ?4, ?5, ?6)
            on conflict (consignment, sha256) do nothing",
            id,
            consignment,
            sha256,
            file.name,
            at,
            file.said,
        )
        .execute(&mut *self.house().await)
        .await
        .map_err(StoreError::while_doing(DOING))?;
        Ok(done.rows_affected() == 1)
    }

    /// The files of a consignment in the order of their names.
    ///
    /// # Errors
    /// When the database cannot be read; so for everything here that reads.
    pub async fn curve_files(&self, of: ConsignmentId) -> Result<Vec<CurveFile>, StoreError> {
        let consignment = of.to_string();
        let rows = sqlx::query!(
            "select id, sha256, name, received_at, said from curve_file
            where consignment = ?1
            order by name, id",
            consignment
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        let file = |row: (String, Vec<u8>, String, String, String)| {
            let (id, sha256, name, received_at, said) = row;
            Ok(CurveFile {
                id: parsed("id", &id)?,
                consignment: of,
                sha256: sha256.try_into().map_err(|_| bad("hash", &name))?,
                name,
                received_at: moment_from_text(&received_at)?,
                said,
            })
        };
        rows.into_iter()
            .map(|row| file((row.id, row.sha256, row.name, row.received_at, row.said)))
            .collect()
    }

    /// Notes how a file is to be read.
    ///
    /// # Errors
    /// As above.
    pub async fn say_of_curve_file(&self, id: Uuid, said: &str) -> Result<(), StoreError> {
        let id = id.to_string();
        sqlx::query!("update curve_file set said = ?2 where id = ?1", id, said)
            .execute(&mut *self.house().await)
            .await
            .map_err(StoreError::while_doing(DOING))?;
        Ok(())
    }

    /// Takes a file off the list; its bytes stay.
    ///
    /// # Errors
    /// As above.
    pub async fn drop_curve_file(&self, id: Uuid) -> Result<(), StoreError> {
        let id = id.to_string();
        sqlx::query!("delete from curve_file where id = ?1", id)
            .execute(&mut *self.house().await)
            .await
            .map_err(StoreError::while_doing(DOING))?;
        Ok(())
    }

    /// Remembers for a lab how files of a layout are read.
    ///
    /// # Errors
    /// As above.
    pub async fn remember_layout(
        &self,
        link: LinkId,
        layout: &str,
        said: &str,
    ) -> Result<(), StoreError> {
        let link = link.to_string();
        sqlx::query!(
            "insert into curve_layout (link, layout, said) values (?1, ?2, ?3)
            on conflict (link, layout) do update set said = excluded.said",
            link,
            layout,
            said
        )
        .execute(&mut *self.house().await)
        .await
        .map_err(StoreError::while_doing(DOING))?;
        Ok(())
    }

    /// What a lab has said before of files of a layout.
    ///
    /// # Errors
    /// As above.
    pub async fn remembered_layout(
        &self,
        link: LinkId,
        layout: &str,
    ) -> Result<Option<String>, StoreError> {
        let link = link.to_string();
        sqlx::query_scalar!(
            "select said from curve_layout where link = ?1 and layout = ?2",
            link,
            layout
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))
    }
}
