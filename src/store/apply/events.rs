//! Events of pieces, and where a piece is after them.

use sqlx::sqlite::SqliteConnection;

use super::{Applied, At};
use crate::study::specimen::Whereabouts;

/// A row of the table `event`, apart from the piece.
pub(super) struct Event<'t> {
    pub(super) kind: &'t str,
    pub(super) detail: Option<&'t str>,
    pub(super) extra: Option<&'t str>,
    pub(super) leaves: Option<Whereabouts>,
    pub(super) at: &'t str,
}

impl<'t> Event<'t> {
    pub(super) fn at(time: &'t str) -> Self {
        Self {
            kind: "",
            detail: None,
            extra: None,
            leaves: None,
            at: time,
        }
    }
}

/// Notes an event of a piece and settles where the piece is now.
pub(super) async fn note_event(
    db: &mut SqliteConnection,
    at: &At<'_>,
    specimen: &str,
    event: &Event<'_>,
) -> Applied {
    let leaves = event.leaves.map(Whereabouts::key);
    sqlx::query!(
        "insert into event (entry, specimen, study, kind, detail, extra, leaves_it, at, received_at, seq)
        values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        at.entry,
        specimen,
        at.study,
        event.kind,
        event.detail,
        event.extra,
        leaves,
        event.at,
        at.received_at,
        at.seq,
    )
    .execute(&mut *db)
    .await?;
    settle(db, specimen).await
}

/// Where a piece is follows from its last event that counts and moves it, or from its test.
pub(super) async fn settle(db: &mut SqliteConnection, specimen: &str) -> Applied {
    sqlx::query!(
        "update specimen
        set whereabouts = case
                when exists (
                    select 1
                    from piece p join break_test t
                        on t.consignment = p.consignment and t.blind = p.blind
                    where p.specimen = ?1
                ) then 'tested'
                else coalesce((
                    select leaves_it from event
                    where specimen = ?1 and standing = 'current' and leaves_it is not null
                    order by seq desc limit 1
                ), 'bench')
            end,
            out_at = (
                select at from event
                where specimen = ?1 and standing = 'current' and kind = 'put_out'
                order by seq desc limit 1
            ),
            in_at = (
                select at from event
                where specimen = ?1 and standing = 'current' and kind = 'taken_in'
                order by seq desc limit 1
            ),
            recovery = (
                select detail from event
                where specimen = ?1 and standing = 'current' and kind = 'taken_in'
                order by seq desc limit 1
            ),
            identity = (
                select extra from event
                where specimen = ?1 and standing = 'current' and kind = 'taken_in'
                order by seq desc limit 1
            ),
            holder = coalesce((
                select extra from event
                where specimen = ?1 and standing = 'current' and kind = 'handled'
                    and detail = 'moved'
                order by seq desc limit 1
            ), allocated_holder)
        where code = ?1",
        specimen
    )
    .execute(db)
    .await?;
    Ok(())
}
