//! The tables built anew from the journal: when a database is opened whose tables have another
//! shape, for `verify`, and for `verify --rebuild`. Replay applies; it never asks the guards.

use sqlx::Connection;
use sqlx::sqlite::SqliteConnection;

use super::apply::{self, PROJECTION_VERSION};
use super::{StoreError, journal};

const SCHEMA: &str = include_str!("projection.sql");
const DOING: &str = "rebuilding the tables from the journal";
const PAGE: i64 = 500;

/// Builds the tables if they are missing or of another version. Returns how many entries were
/// replayed, or `None` when nothing was to be done.
///
/// # Errors
/// When the journal cannot be read or applied; the tables are then as they were.
pub(super) async fn build_if_needed(db: &mut SqliteConnection) -> Result<Option<u64>, StoreError> {
    let version = sqlx::query_scalar!("select version from projection")
        .fetch_one(&mut *db)
        .await
        .map_err(StoreError::while_doing(DOING))?;
    if version == PROJECTION_VERSION {
        Ok(None)
    } else {
        rebuild(db).await.map(Some)
    }
}

/// Drops the tables and builds them from the journal, in one transaction.
///
/// # Errors
/// As [`build_if_needed`].
pub(super) async fn rebuild(db: &mut SqliteConnection) -> Result<u64, StoreError> {
    let mut all = db
        .begin_with("begin immediate")
        .await
        .map_err(StoreError::while_doing(DOING))?;
    make_tables(&mut all).await?;
    let count = replay(&mut all).await?;
    sqlx::query!("update projection set version = ?1", PROJECTION_VERSION)
        .execute(&mut *all)
        .await
        .map_err(StoreError::while_doing(DOING))?;
    all.commit().await.map_err(StoreError::while_doing(DOING))?;
    Ok(count)
}

/// Makes the tables, empty. Never on a connection with another database attached: a name that is not
/// in the first one would be found, and dropped, in the other.
pub(super) async fn make_tables(db: &mut SqliteConnection) -> Result<(), StoreError> {
    sqlx::raw_sql(SCHEMA)
        .execute(db)
        .await
        .map(|_| ())
        .map_err(StoreError::while_doing(DOING))
}

/// Applies every chain of the journal to empty tables.
pub(super) async fn replay(db: &mut SqliteConnection) -> Result<u64, StoreError> {
    let chains = journal::chains(db)
        .await
        .map_err(StoreError::while_doing(DOING))?;
    let mut count = 0;
    for chain in chains {
        count += replay_chain(db, &chain).await?;
    }
    Ok(count)
}

async fn replay_chain(db: &mut SqliteConnection, chain: &str) -> Result<u64, StoreError> {
    let (mut seq, mut count) = (0, 0);
    loop {
        let rows = journal::rows_after(db, chain, seq, PAGE).await;
        let rows = rows.map_err(StoreError::while_doing(DOING))?;
        let Some(last) = rows.last() else {
            return Ok(count);
        };
        seq = last.seq;
        for row in &rows {
            let entry = row.entry()?;
            apply::apply(db, row, &entry)
                .await
                .map_err(StoreError::while_doing(DOING))?;
            count += 1;
        }
    }
}
