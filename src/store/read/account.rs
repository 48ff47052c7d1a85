//! Questions about people, their sessions and the secrets of lab links.

use crate::store::{Store, StoreError, moment_from_text, moment_to_text};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// A person who can sign in, or once could.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Account {
    /// What the journal calls this person.
    pub id: Uuid,
    /// What is typed to sign in.
    pub name: String,
    /// What other people see.
    pub display_name: String,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// When it was closed; `None` while it can sign in.
    pub closed_at: Option<DateTime<Utc>>,
}

/// What signing in needs to know of an account.
#[derive(Debug, Clone)]
pub struct Credentials {
    /// Whose they are.
    pub account: Uuid,
    /// argon2id, as a PHC string.
    pub password_hash: String,
}

/// A live session with the account it belongs to.
#[derive(Debug, Clone)]
pub struct SessionOf {
    /// Who is signed in.
    pub account: Account,
    /// When this session was last noted as used.
    pub last_seen_at: DateTime<Utc>,
}

/// One of a person's sessions, for the list on the account page.
#[derive(Debug, Clone)]
pub struct Session {
    /// Identifies it; worthless as a cookie.
    pub token_sha256: Vec<u8>,
    /// Such as "Firefox on Android".
    pub device: String,
    /// When it began.
    pub made_at: DateTime<Utc>,
    /// When it was last noted as used; up to an hour late.
    pub last_seen_at: DateTime<Utc>,
}

struct AccountRow {
    id: String,
    name: String,
    display_name: String,
    made_at: String,
    closed_at: Option<String>,
}

impl TryFrom<AccountRow> for Account {
    type Error = StoreError;

    fn try_from(row: AccountRow) -> Result<Self, StoreError> {
        Ok(Self {
            id: account_id(&row.id)?,
            name: row.name,
            display_name: row.display_name,
            made_at: moment_from_text(&row.made_at)?,
            closed_at: row.closed_at.as_deref().map(moment_from_text).transpose()?,
        })
    }
}

fn account_id(text: &str) -> Result<Uuid, StoreError> {
    Uuid::parse_str(text).map_err(StoreError::while_doing("reading an account's id"))
}

impl Store {
    /// Whether any account was ever made, closed ones included: the end of the first run.
    ///
    /// # Errors
    /// When the database cannot be read; so for every question here.
    pub async fn has_any_account(&self) -> Result<bool, StoreError> {
        let found =
            sqlx::query_scalar!(r#"select exists (select 1 from account) as "found!: bool""#)
                .fetch_one(self.readers())
                .await;
        found.map_err(StoreError::while_doing("looking for any account"))
    }

    /// All accounts by name, closed ones included.
    pub async fn accounts(&self) -> Result<Vec<Account>, StoreError> {
        let rows = sqlx::query_as!(
            AccountRow,
            "select id, name, display_name, made_at, closed_at
            from account
            order by name",
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing("listing accounts"))?;
        rows.into_iter().map(Account::try_from).collect()
    }

    /// The account of this name, closed or not.
    pub async fn find_account(&self, name: &str) -> Result<Option<Account>, StoreError> {
        let row = sqlx::query_as!(
            AccountRow,
            "select id, name, display_name, made_at, closed_at
            from account
            where name = ?1",
            name,
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing("reading an account"))?;
        row.map(Account::try_from).transpose()
    }

    /// What signing in under this name needs; nothing for a closed account.
    pub async fn find_credentials(&self, name: &str) -> Result<Option<Credentials>, StoreError> {
        let row = sqlx::query!(
            "select id, password_hash
            from account
            where name = ?1
                and closed_at is null",
            name,
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing("reading an account to sign in"))?;
        let Some(row) = row else { return Ok(None) };
        let account = account_id(&row.id)?;
        Ok(Some(Credentials {
            account,
            password_hash: row.password_hash,
        }))
    }

    /// Who this cookie signs in at this moment; nobody when it ran out or the account is closed.
    pub async fn find_session(
        &self,
        token_sha256: &[u8; 32],
        now: DateTime<Utc>,
    ) -> Result<Option<SessionOf>, StoreError> {
        let (token, now) = (token_sha256.as_slice(), moment_to_text(now));
        let row = sqlx::query!(
            "select account.id, name, display_name, account.made_at, closed_at, last_seen_at
            from session
            join account on account.id = session.account
            where token_sha256 = ?1
                and expires_at > ?2
                and closed_at is null",
            token,
            now,
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing("reading a session"))?;
        let Some(row) = row else { return Ok(None) };
        let last_seen_at = moment_from_text(&row.last_seen_at)?;
        let account = Account::try_from(AccountRow {
            id: row.id,
            name: row.name,
            display_name: row.display_name,
            made_at: row.made_at,
            closed_at: row.closed_at,
        })?;
        Ok(Some(SessionOf {
            account,
            last_seen_at,
        }))
    }

    /// A person's live sessions, the latest used first.
    pub async fn sessions_of(
        &self,
        account: Uuid,
        now: DateTime<Utc>,
    ) -> Result<Vec<Session>, StoreError> {
        let (account, now) = (account.to_string(), moment_to_text(now));
        let rows = sqlx::query!(
            "select token_sha256, device, made_at, last_seen_at
            from session
            where account = ?1
                and expires_at > ?2
            order by last_seen_at desc, token_sha256",
            account,
            now,
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing("listing sessions"))?;
        let sessions = rows.into_iter().map(|row| {
            Ok(Session {
                token_sha256: row.token_sha256,
                device: row.device,
                made_at: moment_from_text(&row.made_at)?,
                last_seen_at: moment_from_text(&row.last_seen_at)?,
            })
        });
        sessions.collect()
    }

    /// Whether this secret belongs to this lab link. Says nothing of whether the link still holds.
    pub async fn lab_secret_fits(
        &self,
        link_id: Uuid,
        token_sha256: &[u8; 32],
    ) -> Result<bool, StoreError> {
        let (link, token) = (link_id.to_string(), token_sha256.as_slice());
        let fits = sqlx::query_scalar!(
            r#"select exists (
                select 1
                from lab_secret
                where link_id = ?1
                    and token_sha256 = ?2
            ) as "fits!: bool""#,
            link,
            token,
        )
        .fetch_one(self.readers())
        .await;
        fits.map_err(StoreError::while_doing("checking a lab link's secret"))
    }

    /// Answers when the database can be read: for the health check.
    pub async fn ping(&self) -> Result<(), StoreError> {
        let answer = sqlx::query_scalar!(r#"select 1 as "one!: i64""#).fetch_one(self.readers());
        answer
            .await
            .map(|_| ())
            .map_err(StoreError::while_doing("asking the database anything"))
    }
}
