//! How a consignment and a lab link stand.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use sqlx::sqlite::SqliteConnection;

use super::{DOING, custody};
use crate::store::rows::{all, bad};
use crate::store::{StoreError, moment_from_text};
use crate::study::code::BlindCode;
use crate::study::ids::LinkId;
use crate::study::standing::{ConsignmentStanding, LinkStanding, PieceStanding};

pub(super) async fn consignment(
    db: &mut SqliteConnection,
    study: &str,
    id: &str,
) -> Result<Option<ConsignmentStanding>, StoreError> {
    let row = sqlx::query!(
        r#"select finished_at is not null as "is_finished!: bool",
            unblinded_at is not null as "is_unblinded!: bool",
            receipt is not null as "has_receipt!: bool"
        from consignment
        where id = ?1 and study = ?2"#,
        id,
        study
    )
    .fetch_optional(&mut *db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(ConsignmentStanding {
        is_finished: row.is_finished,
        is_unblinded: row.is_unblinded,
        pieces: pieces(db, id).await?,
        has_receipt: row.has_receipt,
        labs: custody::labs(db, study).await?,
        equipment: custody::equipment(db, id).await?,
    }))
}

/// The packed pieces, by their blind codes.
async fn pieces(
    db: &mut SqliteConnection,
    id: &str,
) -> Result<BTreeMap<BlindCode, PieceStanding>, StoreError> {
    let query = sqlx::query!(
        r#"select p.blind, p.position as "position: u32", p.arrival,
            p.looks is not null as "is_guessed!: bool", t.entry as "test?"
        from piece p
        left join break_test t
            on t.consignment = p.consignment and t.blind = p.blind and t.standing = 'current'
        where p.consignment = ?1"#,
        id
    );
    let pieces = all(&mut *db, DOING, query).await?;
    let mut standing = BTreeMap::new();
    for piece in pieces {
        let blind = piece
            .blind
            .parse()
            .map_err(|_| bad("blind code", &piece.blind))?;
        let test = piece
            .test
            .map(|id| id.parse().map_err(|_| bad("entry", &id)))
            .transpose()?;
        let is_missing = piece.arrival.as_deref() == Some("missing");
        let is_otherwise = |arrival: &str| arrival != "good";
        let arrived_otherwise = piece.arrival.as_deref().is_some_and(is_otherwise);
        let position = piece.position;
        let piece = PieceStanding {
            position,
            is_missing,
            test,
            is_guessed: piece.is_guessed,
            arrived_otherwise,
        };
        standing.insert(blind, piece);
    }
    Ok(standing)
}

pub(super) async fn link(
    db: &mut SqliteConnection,
    study: &str,
    link: LinkId,
    consignment: Option<&str>,
    now: DateTime<Utc>,
) -> Result<Option<LinkStanding>, StoreError> {
    let id = link.to_string();
    let row = sqlx::query!(
        r#"select consignment, ends_at, is_revoked as "is_revoked: bool" from lab_link
        where id = ?1 and study = ?2"#,
        id,
        study
    )
    .fetch_optional(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(LinkStanding {
        id: link,
        is_open: !row.is_revoked && moment_from_text(&row.ends_at)? > now,
        is_for_consignment: consignment == Some(row.consignment.as_str()),
    }))
}
