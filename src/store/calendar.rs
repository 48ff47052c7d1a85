//! Secret calendar addresses: made, ended, looked up. Only the hash of an address's token is kept.

use super::{Store, StoreError, moment_from_text, moment_to_text};
use crate::study::ids::AccountId;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// A person's calendar address, without its secret.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CalendarFeed {
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// When a calendar last fetched it.
    pub fetched_at: Option<DateTime<Utc>>,
}

impl Store {
    /// Gives a person a calendar address; the one before opens nothing from then on.
    ///
    /// # Errors
    /// When the disk refuses; so for everything here.
    pub async fn put_calendar_feed(
        &self,
        account: AccountId,
        token_sha256: &[u8; 32],
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let (account, token) = (account.to_string(), token_sha256.as_slice());
        let now = moment_to_text(now);
        let done = sqlx::query!(
            "insert into calendar_feed (account, token_sha256, made_at)
            values (?1, ?2, ?3)
            on conflict (account) do update
            set token_sha256 = excluded.token_sha256, made_at = excluded.made_at, fetched_at = null",
            account,
            token,
            now,
        )
        .execute(&mut *self.house().await)
        .await;
        done.map(|_| ())
            .map_err(StoreError::while_doing("making a calendar address"))
    }

    /// Ends a person's calendar address; ending one that is gone changes nothing.
    pub async fn end_calendar_feed(&self, account: AccountId) -> Result<(), StoreError> {
        let account = account.to_string();
        let done = sqlx::query!("delete from calendar_feed where account = ?1", account)
            .execute(&mut *self.house().await)
            .await;
        done.map(|_| ())
            .map_err(StoreError::while_doing("ending a calendar address"))
    }

    /// A person's calendar address.
    pub async fn find_calendar_feed(
        &self,
        account: AccountId,
    ) -> Result<Option<CalendarFeed>, StoreError> {
        let account = account.to_string();
        let row = sqlx::query!(
            "select made_at, fetched_at from calendar_feed where account = ?1",
            account
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing("reading a calendar address"))?;
        let Some(row) = row else { return Ok(None) };
        Ok(Some(CalendarFeed {
            made_at: moment_from_text(&row.made_at)?,
            fetched_at: row
                .fetched_at
                .as_deref()
                .map(moment_from_text)
                .transpose()?,
        }))
    }

    /// Whose calendar this token opens, and notes that it was fetched; nobody's when it was replaced or
    /// ended, or the account is closed.
    pub async fn open_calendar_feed(
        &self,
        token_sha256: &[u8; 32],
        now: DateTime<Utc>,
    ) -> Result<Option<AccountId>, StoreError> {
        let failed = "opening a calendar";
        let token = token_sha256.as_slice();
        let found = sqlx::query_scalar!(
            "select account from calendar_feed
            where token_sha256 = ?1
                and account in (select id from account where closed_at is null)",
            token,
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing(failed))?;
        let Some(account) = found else {
            return Ok(None);
        };
        let now = moment_to_text(now);
        sqlx::query!(
            "update calendar_feed set fetched_at = ?2 where token_sha256 = ?1",
            token,
            now,
        )
        .execute(&mut *self.house().await)
        .await
        .map_err(StoreError::while_doing(failed))?;
        let id = Uuid::parse_str(&account).map_err(StoreError::while_doing(failed))?;
        Ok(Some(AccountId(id)))
    }
}
