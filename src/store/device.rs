//! What devices that queue entries say of themselves, and the entries that their owners set aside.

use super::{Store, StoreError, moment_from_text, moment_to_text};
use crate::study::ids::StudyId;
use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

const DOING: &str = "noting what a device says";

/// What a device says of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    /// Its own id, drawn by itself.
    pub id: Uuid,
    /// Such as "Firefox on Android"; at most 100 characters.
    pub name: String,
    /// How many entries wait to be sent.
    pub waiting: u32,
    /// How many were refused and need somebody.
    pub refused: u32,
    /// When the oldest of them was taken, by the device's clock.
    pub oldest_at: Option<DateTime<Utc>>,
    /// How far its clock is ahead of this server's, in milliseconds.
    pub ahead_ms: i64,
}

/// A device as it last said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// What it said.
    pub said: Said,
    /// When, by this server's clock.
    pub at: DateTime<Utc>,
}

/// An entry that was given up instead of mended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// The entry's own id.
    pub id: Uuid,
    /// The entry as the device held it, as JSON.
    pub entry: String,
    /// Why the journal refused it.
    pub why: String,
    /// Why it was given up.
    pub reason: String,
    /// When.
    pub at: DateTime<Utc>,
}

impl Store {
    /// Keeps what a device of this person says; its earlier word is replaced.
    ///
    /// # Errors
    /// When the disk refuses; so for everything here that writes.
    pub async fn put_device(
        &self,
        account: Uuid,
        said: &Said,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let (account, id) = (account.to_string(), said.id.to_string());
        // Every page says so again; only news is worth a write.
        let stale = moment_to_text(now - TimeDelta::minutes(10));
        let (oldest, now) = (said.oldest_at.map(moment_to_text), moment_to_text(now));
        let done = sqlx::query!(
            "insert into device (account, id, name, waiting, refused, oldest_at, said_at, ahead_ms)
            values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)
            on conflict (account, id) do update
            set name = excluded.name, waiting = excluded.waiting, refused = excluded.refused,
                oldest_at = excluded.oldest_at, said_at = excluded.said_at,
                ahead_ms = excluded.ahead_ms
            where waiting <> excluded.waiting or refused <> excluded.refused
                or oldest_at is not excluded.oldest_at or said_at < ?9
                or abs(ahead_ms - excluded.ahead_ms) > 30000",
            account,
            id,
            said.name,
            said.waiting,
            said.refused,
            oldest,
            now,
            said.ahead_ms,
            stale,
        )
        .execute(&mut *self.house().await)
        .await;
        done.map(|_| ()).map_err(StoreError::while_doing(DOING))
    }

    /// A person's devices, the one heard of last first.
    ///
    /// # Errors
    /// When the database cannot be read; so for everything here that reads.
    pub async fn devices_of(&self, account: Uuid) -> Result<Vec<Device>, StoreError> {
        let account = account.to_string();
        let rows = sqlx::query!(
            r#"select id, name, waiting as "waiting: u32", refused as "refused: u32", oldest_at,
                said_at, ahead_ms
            from device
            where account = ?1
            order by said_at desc, id"#,
            account
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        let device = |row: (String, String, u32, u32, Option<String>, String, i64)| {
            let (id, name, waiting, refused, oldest, at, ahead_ms) = row;
            let said = Said {
                id: Uuid::parse_str(&id).map_err(StoreError::while_doing(DOING))?,
                name,
                waiting,
                refused,
                oldest_at: oldest.as_deref().map(moment_from_text).transpose()?,
                ahead_ms,
            };
            let at = moment_from_text(&at)?;
            Ok(Device { said, at })
        };
        let rows = rows.into_iter().map(|r| {
            device((
                r.id,
                r.name,
                r.waiting,
                r.refused,
                r.oldest_at,
                r.said_at,
                r.ahead_ms,
            ))
        });
        rows.collect()
    }

    /// Whether the journal holds this hash (in hexadecimal digits) at this place of a study's chain:
    /// what a receipt said.
    pub async fn holds(&self, chain: StudyId, seq: u64, hash: &str) -> Result<bool, StoreError> {
        let (chain, seq) = (chain.to_string(), i64::try_from(seq).unwrap_or(i64::MAX));
        sqlx::query_scalar!(
            r#"select exists (
                select 1 from journal where chain = ?1 and seq = ?2 and lower(hex(hash)) = ?3
            ) as "is_there!: bool""#,
            chain,
            seq,
            hash
        )
        .fetch_one(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))
    }

    /// Keeps an entry that its owner gave up. Keeping it again changes nothing.
    pub async fn set_aside(&self, account: Uuid, given_up: &SetAside) -> Result<(), StoreError> {
        let (account, id) = (account.to_string(), given_up.id.to_string());
        let at = moment_to_text(given_up.at);
        let done = sqlx::query!(
            "insert into set_aside (id, account, entry, why, reason, at)
            values (?1, ?2, ?3, ?4, ?5, ?6)
            on conflict (id) do nothing",
            id,
            account,
            given_up.entry,
            given_up.why,
            given_up.reason,
            at,
        )
        .execute(&mut *self.house().await)
        .await;
        done.map(|_| ()).map_err(StoreError::while_doing(DOING))
    }

    /// What a person set aside, newest first.
    pub async fn set_aside_by(&self, account: Uuid) -> Result<Vec<SetAside>, StoreError> {
        let account = account.to_string();
        let rows = sqlx::query!(
            "select id, entry, why, reason, at
            from set_aside
            where account = ?1
            order by at desc, id",
            account
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        let given_up = rows.into_iter().map(|row| {
            Ok(SetAside {
                id: Uuid::parse_str(&row.id).map_err(StoreError::while_doing(DOING))?,
                entry: row.entry,
                why: row.why,
                reason: row.reason,
                at: moment_from_text(&row.at)?,
            })
        });
        given_up.collect()
    }
}
