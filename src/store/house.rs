//! What is written outside the journal: accounts, sessions, the secrets of lab links. Each function
//! is one statement, or one transaction on the house's own connection.

use super::{Store, StoreError, moment_to_text};
use chrono::{DateTime, Utc};
use sqlx::Connection;
use sqlx::error::ErrorKind;
use uuid::Uuid;

/// An account to be made; the caller has hashed the password.
#[derive(Debug, Clone)]
pub struct NewAccount {
    /// What the journal will call this person.
    pub id: Uuid,
    /// What is typed to sign in.
    pub name: String,
    /// What other people see.
    pub display_name: String,
    /// argon2id, as a PHC string.
    pub password_hash: String,
    /// Now.
    pub made_at: DateTime<Utc>,
}

/// A session to be begun.
#[derive(Debug, Clone)]
pub struct NewSession {
    /// Of the cookie's token.
    pub token_sha256: [u8; 32],
    /// Who signs in.
    pub account: Uuid,
    /// Now.
    pub made_at: DateTime<Utc>,
    /// When it ends if it is not used again.
    pub expires_at: DateTime<Utc>,
    /// Such as "Firefox on Android"; at most 100 characters.
    pub device: String,
}

/// What became of an account to be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AddAccount {
    /// It was made.
    Made,
    /// Somebody has, or had, this name.
    NameTaken,
    /// It was to be the first one, and another was quicker.
    NotTheFirst,
}

impl Store {
    /// Makes an account.
    ///
    /// # Errors
    /// When the disk refuses; so for everything here.
    pub async fn add_account(&self, new: &NewAccount) -> Result<AddAccount, StoreError> {
        let (id, made_at) = (new.id.to_string(), moment_to_text(new.made_at));
        let done = sqlx::query!(
            "insert into account (id, name, display_name, password_hash, made_at)
            values (?1, ?2, ?3, ?4, ?5)",
            id,
            new.name,
            new.display_name,
            new.password_hash,
            made_at,
        )
        .execute(&mut *self.house().await)
        .await;
        outcome(done.map(|done| done.rows_affected()))
    }

    /// Makes the very first account, or none when there is one: decided in the statement itself.
    pub async fn add_first_account(&self, new: &NewAccount) -> Result<AddAccount, StoreError> {
        let (id, made_at) = (new.id.to_string(), moment_to_text(new.made_at));
        let done = sqlx::query!(
            "insert into account (id, name, display_name, password_hash, made_at)
            select ?1, ?2, ?3, ?4, ?5
            where not exists (select 1 from account)",
            id,
            new.name,
            new.display_name,
            new.password_hash,
            made_at,
        )
        .execute(&mut *self.house().await)
        .await;
        outcome(done.map(|done| done.rows_affected()))
    }

    /// Gives an account another password and ends its sessions. False when there is no such
    /// account.
    pub async fn set_password(&self, account: Uuid, hash: &str) -> Result<bool, StoreError> {
        let failed = "setting a password";
        let account = account.to_string();
        let mut house = self.house().await;
        let mut both = house
            .begin()
            .await
            .map_err(StoreError::while_doing(failed))?;
        let done = sqlx::query!(
            "update account set password_hash = ?2 where id = ?1",
            account,
            hash
        )
        .execute(&mut *both)
        .await
        .map_err(StoreError::while_doing(failed))?;
        sqlx::query!("delete from session where account = ?1", account)
            .execute(&mut *both)
            .await
            .map_err(StoreError::while_doing(failed))?;
        both.commit()
            .await
            .map_err(StoreError::while_doing(failed))?;
        Ok(done.rows_affected() == 1)
    }

    /// Closes an account and ends its sessions. False when there is none that is open.
    pub async fn close_account(
        &self,
        account: Uuid,
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError> {
        let failed = "closing an account";
        let (account, now) = (account.to_string(), moment_to_text(now));
        let mut house = self.house().await;
        let mut both = house
            .begin()
            .await
            .map_err(StoreError::while_doing(failed))?;
        let done = sqlx::query!(
            "update account set closed_at = ?2 where id = ?1 and closed_at is null",
            account,
            now,
        )
        .execute(&mut *both)
        .await
        .map_err(StoreError::while_doing(failed))?;
        sqlx::query!("delete from session where account = ?1", account)
            .execute(&mut *both)
            .await
            .map_err(StoreError::while_doing(failed))?;
        both.commit()
            .await
            .map_err(StoreError::while_doing(failed))?;
        Ok(done.rows_affected() == 1)
    }

    /// Begins a session, and sweeps out those that ran out.
    pub async fn begin_session(&self, new: &NewSession) -> Result<(), StoreError> {
        let failed = "beginning a session";
        let (token, account) = (new.token_sha256.as_slice(), new.account.to_string());
        let (made_at, expires_at) = (moment_to_text(new.made_at), moment_to_text(new.expires_at));
        let mut house = self.house().await;
        let mut both = house
            .begin()
            .await
            .map_err(StoreError::while_doing(failed))?;
        sqlx::query!("delete from session where expires_at <= ?1", made_at)
            .execute(&mut *both)
            .await
            .map_err(StoreError::while_doing(failed))?;
        sqlx::query!(
            "insert into session
                (token_sha256, account, made_at, expires_at, last_seen_at, device)
            values (?1, ?2, ?3, ?4, ?3, ?5)",
            token,
            account,
            made_at,
            expires_at,
            new.device,
        )
        .execute(&mut *both)
        .await
        .map_err(StoreError::while_doing(failed))?;
        both.commit().await.map_err(StoreError::while_doing(failed))
    }

    /// Notes that a session is in use and moves its end on.
    pub async fn touch_session(
        &self,
        token_sha256: &[u8; 32],
        now: DateTime<Utc>,
        expires_at: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let token = token_sha256.as_slice();
        let (now, expires_at) = (moment_to_text(now), moment_to_text(expires_at));
        let done = sqlx::query!(
            "update session set last_seen_at = ?2, expires_at = ?3 where token_sha256 = ?1",
            token,
            now,
            expires_at,
        )
        .execute(&mut *self.house().await)
        .await;
        done.map(|_| ())
            .map_err(StoreError::while_doing("noting that a session is in use"))
    }

    /// Ends one session; ending one that is gone changes nothing.
    pub async fn end_session(&self, token_sha256: &[u8; 32]) -> Result<(), StoreError> {
        let token = token_sha256.as_slice();
        let done = sqlx::query!("delete from session where token_sha256 = ?1", token)
            .execute(&mut *self.house().await)
            .await;
        done.map(|_| ())
            .map_err(StoreError::while_doing("ending a session"))
    }

    /// Ends every session of a person.
    pub async fn end_sessions_of(&self, account: Uuid) -> Result<(), StoreError> {
        let account = account.to_string();
        let done = sqlx::query!("delete from session where account = ?1", account)
            .execute(&mut *self.house().await)
            .await;
        done.map(|_| ())
            .map_err(StoreError::while_doing("ending a person's sessions"))
    }

    /// Keeps the secret of a lab link, or replaces it: the old one then opens nothing.
    pub async fn put_lab_secret(
        &self,
        link_id: Uuid,
        token_sha256: &[u8; 32],
    ) -> Result<(), StoreError> {
        let (link, token) = (link_id.to_string(), token_sha256.as_slice());
        let done = sqlx::query!(
            "insert into lab_secret (link_id, token_sha256)
            values (?1, ?2)
            on conflict (link_id) do update set token_sha256 = excluded.token_sha256",
            link,
            token,
        )
        .execute(&mut *self.house().await)
        .await;
        done.map(|_| ())
            .map_err(StoreError::while_doing("keeping a lab link's secret"))
    }
}

/// Uniqueness is decided by the database; on SQLite the constraint has no name, only a kind.
fn outcome(done: Result<u64, sqlx::Error>) -> Result<AddAccount, StoreError> {
    match done {
        Ok(0) => Ok(AddAccount::NotTheFirst),
        Ok(_) => Ok(AddAccount::Made),
        Err(sqlx::Error::Database(error)) if error.kind() == ErrorKind::UniqueViolation => {
            Ok(AddAccount::NameTaken)
        }
        Err(other) => Err(StoreError::new("making an account", other)),
    }
}
