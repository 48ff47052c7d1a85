//! How a photograph stands.

use sqlx::sqlite::SqliteConnection;

use crate::store::StoreError;
use crate::store::rows;
use crate::study::standing::PhotographStanding;

/// The photograph of this entry, in this study.
pub(super) async fn standing(
    db: &mut SqliteConnection,
    study: &str,
    entry: &str,
) -> Result<Option<PhotographStanding>, StoreError> {
    let row = sqlx::query!(
        r#"select standing, is_released as "is_released: bool", is_erased as "is_erased: bool",
            exists (
                select 1 from photograph_of o
                where o.entry = ?2 and (
                    exists (
                        select 1 from piece p join consignment c on c.id = p.consignment
                        where p.specimen = o.specimen and c.unblinded_at is null
                    ) or not exists (
                        select 1 from piece p join consignment c on c.id = p.consignment
                        where p.specimen = o.specimen and c.unblinded_at is not null
                    )
                )
            ) as "is_blind!: bool"
        from photograph
        where study = ?1 and entry = ?2"#,
        study,
        entry
    )
    .fetch_optional(db)
    .await
    .map_err(StoreError::while_doing("reading how a photograph stands"))?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(PhotographStanding {
        standing: rows::standing(&row.standing)?,
        is_released: row.is_released,
        is_erased: row.is_erased,
        is_blind: row.is_blind,
    }))
}
