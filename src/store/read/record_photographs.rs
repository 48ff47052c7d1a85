//! A study's photographs, also void ones, in the journal's order; and the files of one.

use std::collections::BTreeMap;

use sqlx::sqlite::SqliteConnection;

use crate::store::rows::{choice, parsed, standing};
use crate::store::{Store, StoreError, moment_from_text};
use crate::study::code::Code;
use crate::study::ids::EntryId;
use crate::study::photograph::{Described, Files, Photograph, View};
use crate::study::record::PhotographRecord;

const DOING: &str = "reading photographs";

pub(super) async fn photographs(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Vec<PhotographRecord>, StoreError> {
    let rows = sqlx::query!(
        r#"select p.entry, p.holder, p.view, p.frame_mm, p.width as "width: u32", p.height as "height: u32",
            p.large, p.small, p.sent, p.taken_at, p.standing,
            p.is_released as "is_released: bool", p.is_erased as "is_erased: bool", j.note
        from photograph p join journal j on j.id = p.entry
        where p.study = ?1
        order by j.seq"#,
        study
    )
    .fetch_all(&mut *db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let mut shown = specimens(db, study).await?;
    let mut photographs = Vec::with_capacity(rows.len());
    for row in rows {
        let described = Described {
            specimens: shown.remove(&row.entry).unwrap_or_default(),
            holder: row.holder,
            view: choice("view", &row.view, View::parse)?,
            frame_mm: row.frame_mm,
        };
        let files = Files {
            width: row.width,
            height: row.height,
            large: row.large,
            small: row.small,
            sent: row.sent,
        };
        photographs.push(PhotographRecord {
            entry: parsed("entry", &row.entry)?,
            photograph: Photograph { described, files },
            taken_at: moment_from_text(&row.taken_at)?,
            standing: standing(&row.standing)?,
            is_released: row.is_released,
            is_erased: row.is_erased,
            note: row.note,
        });
    }
    Ok(photographs)
}

/// The pieces that each photograph shows.
async fn specimens(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<BTreeMap<String, Vec<Code>>, StoreError> {
    let rows = sqlx::query!(
        "select o.entry, o.specimen
        from photograph p join photograph_of o on o.entry = p.entry
        where p.study = ?1
        order by o.entry, o.specimen",
        study
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let mut shown: BTreeMap<String, Vec<Code>> = BTreeMap::new();
    for row in rows {
        let code = parsed("code", &row.specimen)?;
        shown.entry(row.entry).or_default().push(code);
    }
    Ok(shown)
}

impl Store {
    /// The files of the photograph of this entry, whatever its study and standing: for telling
    /// whether it is sent a second time.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn photograph_files(&self, entry: EntryId) -> Result<Option<Files>, StoreError> {
        let entry = entry.to_string();
        sqlx::query_as!(
            Files,
            r#"select width as "width: u32", height as "height: u32", large, small, sent
            from photograph
            where entry = ?1"#,
            entry
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))
    }
}
