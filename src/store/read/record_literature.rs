//! The figures that others published, void ones included; other studies' are not.

use sqlx::sqlite::SqliteConnection;

use crate::store::rows::{json, parsed, standing};
use crate::store::{StoreError, moment_from_text};
use crate::study::record::CitedRecord;

const DOING: &str = "reading a study's published figures";

pub(super) async fn cited(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Vec<CitedRecord>, StoreError> {
    let rows = sqlx::query!(
        "select c.entry, c.body, c.received_at, c.standing
        from cited_figure c join journal j on j.id = c.entry
        where c.study = ?1
        order by j.seq",
        study
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let mut cited = Vec::with_capacity(rows.len());
    for row in rows {
        cited.push(CitedRecord {
            entry: parsed("entry", &row.entry)?,
            figure: json(&row.body)?,
            received_at: moment_from_text(&row.received_at)?,
            standing: standing(&row.standing)?,
        });
    }
    Ok(cited)
}
