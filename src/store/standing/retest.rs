//! How the pieces stand whose invalid tests are to be repeated on spares.

use std::collections::BTreeMap;

use sqlx::sqlite::SqliteConnection;

use super::DOING;
use crate::store::StoreError;
use crate::store::rows::place;
use crate::study::code::Code;
use crate::study::consignment::Consigned;
use crate::study::standing::RetestStanding;

/// By the codes of the spares.
pub(super) async fn standings(
    db: &mut SqliteConnection,
    study: &str,
    packed: &Consigned,
) -> Result<BTreeMap<Code, RetestStanding>, StoreError> {
    let mut found = BTreeMap::new();
    for piece in &packed.pieces {
        let Some(of) = &piece.retest_of else { continue };
        let (spare, of) = (piece.specimen.as_str(), of.as_str());
        let row = sqlx::query!(
            r#"with recursive way (code, depth) as (
                -- a spare that was itself invalid stands at the place of the piece before it
                select ?3, 0
                union all
                select p.retest_of, way.depth + 1
                from way join piece p on p.specimen = way.code
                where p.retest_of is not null and way.depth < 1000
            )
            select s.lot as spare_lot, s.build as spare_build, o.lot, o.build, r.role, r.condition,
                r.stage_days as "stage_days: u32", r.holder,
                not exists (
                    select 1 from way where not exists (
                        select 1 from piece p join break_test t
                            on t.consignment = p.consignment and t.blind = p.blind
                                and t.standing = 'current'
                        where p.specimen = way.code and t.outcome = 'invalid'
                    )
                ) as "is_invalid!: bool",
                exists (
                    select 1 from piece p join consignment c on c.id = p.consignment
                    where p.specimen = ?3
                        and (c.finished_at is not null or c.unblinded_at is not null)
                ) as "has_ended!: bool"
            from specimen s, specimen o, specimen r
            where s.study = ?1 and s.code = ?2 and o.study = ?1 and o.code = ?3
                and r.code = (select code from way order by depth desc limit 1)"#,
            study,
            spare,
            of
        )
        .fetch_optional(&mut *db)
        .await
        .map_err(StoreError::while_doing(DOING))?;
        let Some(row) = row else { continue };
        let (is_repeated, is_replaced) = spares_of(db, of).await?;
        let standing = RetestStanding {
            place: place(row.role, row.condition, row.stage_days, row.holder)?,
            batch: (row.lot, row.build),
            spare_batch: (row.spare_lot, row.spare_build),
            is_invalid: row.is_invalid,
            has_ended: row.has_ended,
            is_repeated,
            is_replaced,
        };
        found.insert(piece.specimen.clone(), standing);
    }
    Ok(found)
}

/// Whether a spare stands for a piece that was not lost before its test, and whether the piece is itself a spare whose
/// place another one has.
async fn spares_of(db: &mut SqliteConnection, of: &str) -> Result<(bool, bool), StoreError> {
    let row = sqlx::query!(
        r#"select
            exists (
                select 1 from piece p join consignment c on c.id = p.consignment
                where p.retest_of = ?1
                    and (
                        exists (
                            select 1 from break_test t
                            where t.consignment = p.consignment and t.blind = p.blind
                                and t.standing = 'current'
                        )
                        or not (
                            c.parcel = 'lost'
                            or (
                                p.arrival is not null and p.arrival = 'missing'
                                and (c.finished_at is not null or c.unblinded_at is not null)
                            )
                        )
                    )
            ) as "is_repeated!: bool",
            exists (
                select 1 from piece own
                    join consignment c on c.id = own.consignment
                    join piece later on later.retest_of = own.retest_of
                    join consignment l on l.id = later.consignment
                where own.specimen = ?1 and l.packed_at > c.packed_at
            ) as "is_replaced!: bool""#,
        of
    )
    .fetch_one(&mut *db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    Ok((row.is_repeated, row.is_replaced))
}
