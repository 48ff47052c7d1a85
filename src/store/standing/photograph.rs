//! How a photograph stands.

use sqlx::sqlite::SqliteConnection;

use crate::store::StoreError;
use crate::store::rows;
use crate::study::plan::Plan;
use crate::study::standing::PhotographStanding;

const DOING: &str = "reading how a photograph stands";

/// The photograph of this entry, in this study.
pub(super) async fn standing(
    db: &mut SqliteConnection,
    (study, plan): (&str, Option<&Plan>),
    entry: &str,
) -> Result<Option<PhotographStanding>, StoreError> {
    let row = sqlx::query!(
        r#"select standing, holder, is_released as "is_released: bool", is_erased as "is_erased: bool",
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
            ) as "is_blind!: bool",
            (holder is null and not exists (
                select 1 from photograph_of o where o.entry = ?2
            )) as "is_of_whole!: bool"
        from photograph
        where study = ?1 and entry = ?2"#,
        study,
        entry
    )
    .fetch_optional(&mut *db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let Some(row) = row else { return Ok(None) };
    let is_blind = match &row.holder {
        _ if row.is_blind => true,
        None => false,
        Some(key) => match plan.and_then(|plan| plan.holder(key)) {
            Some((condition, _)) => is_condition_blind(db, study, &condition.key).await?,
            None => true,
        },
    };
    Ok(Some(PhotographStanding {
        standing: rows::standing(&row.standing)?,
        is_released: row.is_released,
        is_erased: row.is_erased,
        is_of_whole: row.is_of_whole,
        is_blind,
    }))
}

/// Whether a piece of a condition may still be tested blind, or nothing is known of any: the rule of
/// `StudyRecord::is_unblinded` for a holder.
async fn is_condition_blind(
    db: &mut SqliteConnection,
    study: &str,
    condition: &str,
) -> Result<bool, StoreError> {
    let row = sqlx::query!(
        r#"select count(*) as "pieces!: i64",
            coalesce(sum(
                exists (
                    select 1 from piece p join consignment c on c.id = p.consignment
                    where p.specimen = s.code and c.unblinded_at is null
                ) or (
                    s.whereabouts not in ('lost', 'destroyed', 'rejected') and not exists (
                        select 1 from piece p join consignment c on c.id = p.consignment
                        where p.specimen = s.code and c.unblinded_at is not null
                    )
                )
            ), 0) as "blind!: i64"
        from specimen s
        where s.study = ?1 and s.condition = ?2"#,
        study,
        condition
    )
    .fetch_one(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    Ok(row.pieces == 0 || row.blind > 0)
}
