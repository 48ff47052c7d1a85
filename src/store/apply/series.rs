//! Entries about series of the environment.

use sqlx::sqlite::SqliteConnection;

use super::{Applied, At};
use crate::study::environment::SeriesAdded;

pub(super) async fn add(db: &mut SqliteConnection, at: &At<'_>, series: &SeriesAdded) -> Applied {
    let body = serde_json::to_string(series)?;
    sqlx::query!(
        "insert into series (entry, study, body, file_sha256, values_sha256, received_at)
        values (?1, ?2, ?3, ?4, ?5, ?6)",
        at.entry,
        at.study,
        body,
        series.file_sha256,
        series.values_sha256,
        at.received_at,
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Declares a series void.
pub(super) async fn void(db: &mut SqliteConnection, entry: &str) -> Applied {
    sqlx::query!(
        "update series set standing = 'void' where entry = ?1",
        entry
    )
    .execute(db)
    .await?;
    Ok(())
}
