//! The curves that were kept for the pieces of a consignment.

use sqlx::sqlite::SqliteConnection;

use crate::store::rows::{bad, parsed};
use crate::store::{Store, StoreError};
use crate::study::curve::KeptCurve;
use crate::study::ids::ConsignmentId;

const DOING: &str = "reading a consignment's curves";

impl Store {
    /// The curve of each piece that counts, in the order of their codes.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn curves_of(
        &self,
        consignment: ConsignmentId,
    ) -> Result<Vec<KeptCurve>, StoreError> {
        let mut db = self
            .readers()
            .acquire()
            .await
            .map_err(StoreError::while_doing(DOING))?;
        curves(&mut db, &consignment.to_string()).await
    }
}

pub(super) async fn curves(
    db: &mut SqliteConnection,
    id: &str,
) -> Result<Vec<KeptCurve>, StoreError> {
    let rows = sqlx::query!(
        r#"select c.blind, c.body, j.note from curve c join journal j on j.id = c.entry
            where c.consignment = ?1 and c.standing = 'current'
            order by c.blind"#,
        id
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let mut found = Vec::with_capacity(rows.len());
    for row in rows {
        let mut curve: KeptCurve =
            serde_json::from_str(&row.body).map_err(StoreError::while_doing(DOING))?;
        curve.end_reason = row.note.filter(|_| curve.ended_at_line.is_some());
        if curve.blind != parsed("blind code", &row.blind)? {
            return Err(bad("curve", &row.body));
        }
        found.push(curve);
    }
    Ok(found)
}
