//! Entries about figures that others published.

use sqlx::sqlite::SqliteConnection;

use super::{Applied, At};
use crate::study::literature::CitedFigure;

pub(super) async fn add(db: &mut SqliteConnection, at: &At<'_>, figure: &CitedFigure) -> Applied {
    let body = serde_json::to_string(figure)?;
    sqlx::query!(
        "insert into cited_figure (entry, study, body, received_at)
        values (?1, ?2, ?3, ?4)",
        at.entry,
        at.study,
        body,
        at.received_at,
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Declares a published figure void.
pub(super) async fn void(db: &mut SqliteConnection, entry: &str) -> Applied {
    sqlx::query!(
        "update cited_figure set standing = 'void' where entry = ?1",
        entry
    )
    .execute(db)
    .await?;
    Ok(())
}
