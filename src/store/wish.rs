//! Where people want reminders, and how early.

use super::rows::{bad, parsed};
use super::{Store, StoreError, moment_from_text, moment_to_text};
use crate::study::ids::AccountId;
use chrono::{DateTime, Utc};

/// Where a person wants reminders, and how early.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wish {
    /// Who.
    pub account: AccountId,
    /// An e-mail address; `None` for no mail.
    pub mail: Option<String>,
    /// An address for a webhook; `None` for none.
    pub webhook: Option<String>,
    /// Signs what goes to the webhook.
    pub webhook_key: Option<[u8; 32]>,
    /// So many days before something opens, at most 60.
    pub days_ahead: u32,
    /// When this person's list was last gone through; `None` before the first time.
    pub written_at: Option<DateTime<Utc>>,
}

struct WishRow {
    account: String,
    mail: Option<String>,
    webhook: Option<String>,
    webhook_key: Option<Vec<u8>>,
    days_ahead: u32,
    written_at: Option<String>,
}

impl TryFrom<WishRow> for Wish {
    type Error = StoreError;

    fn try_from(row: WishRow) -> Result<Self, StoreError> {
        let key = |bytes: Vec<u8>| {
            bytes
                .try_into()
                .map_err(|_| bad("key", "of another length"))
        };
        Ok(Self {
            account: parsed("account", &row.account)?,
            mail: row.mail,
            webhook: row.webhook,
            webhook_key: row.webhook_key.map(key).transpose()?,
            days_ahead: row.days_ahead,
            written_at: row
                .written_at
                .as_deref()
                .map(moment_from_text)
                .transpose()?,
        })
    }
}

const WISHING: &str = "keeping where reminders go";

impl Store {
    /// Keeps where a person wants reminders. What was said already stays said.
    ///
    /// # Errors
    /// When the disk refuses; so for everything here.
    pub async fn put_wish(&self, wish: &Wish) -> Result<(), StoreError> {
        let account = wish.account.to_string();
        let key = wish.webhook_key.as_ref().map(<[u8; 32]>::as_slice);
        let done = sqlx::query!(
            "insert into reminder_wish (account, mail, webhook, webhook_key, days_ahead)
            values (?1, ?2, ?3, ?4, ?5)
            on conflict (account) do update
            set mail = excluded.mail, webhook = excluded.webhook,
                webhook_key = excluded.webhook_key, days_ahead = excluded.days_ahead",
            account,
            wish.mail,
            wish.webhook,
            key,
            wish.days_ahead,
        )
        .execute(&mut *self.house().await)
        .await;
        done.map(|_| ()).map_err(StoreError::while_doing(WISHING))
    }

    /// Notes that a person's list was gone through.
    pub async fn note_written(
        &self,
        account: AccountId,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let (account, now) = (account.to_string(), moment_to_text(now));
        let done = sqlx::query!(
            "update reminder_wish set written_at = ?2 where account = ?1",
            account,
            now,
        )
        .execute(&mut *self.house().await)
        .await;
        done.map(|_| ()).map_err(StoreError::while_doing(WISHING))
    }

    /// Where a person wants reminders.
    pub async fn find_wish(&self, account: AccountId) -> Result<Option<Wish>, StoreError> {
        let account = account.to_string();
        let row = sqlx::query_as!(
            WishRow,
            r#"select account, mail, webhook, webhook_key, days_ahead as "days_ahead: u32",
                written_at
            from reminder_wish
            where account = ?1"#,
            account
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing(WISHING))?;
        row.map(Wish::try_from).transpose()
    }

    /// Where everybody wants reminders; nobody whose account is closed.
    pub async fn wishes(&self) -> Result<Vec<Wish>, StoreError> {
        let rows = sqlx::query_as!(
            WishRow,
            r#"select account, mail, webhook, webhook_key, days_ahead as "days_ahead: u32",
                written_at
            from reminder_wish
            where account in (select id from account where closed_at is null)
            order by account"#
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing(WISHING))?;
        rows.into_iter().map(Wish::try_from).collect()
    }
}
