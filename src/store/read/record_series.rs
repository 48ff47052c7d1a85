//! The series of a study's environment, void ones included; other studies' are not. Their values stand
//! in files of their own: see `Store::series_values`.

use sqlx::sqlite::SqliteConnection;

use crate::store::rows::{json, parsed, standing};
use crate::store::{StoreError, moment_from_text};
use crate::study::record::SeriesRecord;

const DOING: &str = "reading a study's series";

pub(super) async fn series(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Vec<SeriesRecord>, StoreError> {
    let rows = sqlx::query!(
        "select s.entry, s.body, s.received_at, s.standing, j.note
        from series s join journal j on j.id = s.entry
        where s.study = ?1
        order by j.seq",
        study
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let mut series = Vec::with_capacity(rows.len());
    for row in rows {
        series.push(SeriesRecord {
            entry: parsed("entry", &row.entry)?,
            series: json(&row.body)?,
            received_at: moment_from_text(&row.received_at)?,
            standing: standing(&row.standing)?,
            note: row.note.unwrap_or_default(),
        });
    }
    Ok(series)
}
