//! Tokens of the machine interface: made, revoked, looked up. Only the hash of a token is kept. Whether it
//! still opens anything is asked anew each time: its maker may have left the study.

use super::rows::parsed;
use super::{Store, StoreError, moment_from_text, moment_to_text};
use crate::study::ids::{AccountId, LinkId, StudyId};
use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

const DOING: &str = "reading a token";

/// Whose a token is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Maker {
    /// A steward's.
    Steward(AccountId),
    /// A tester's, made through a lab link.
    Tester(LinkId),
}

/// A token to be made.
#[derive(Debug, Clone)]
pub struct NewToken {
    /// Its id, which is no secret.
    pub id: Uuid,
    /// Of the secret.
    pub token_sha256: [u8; 32],
    /// What its maker calls it.
    pub name: String,
    /// The study that it is for.
    pub study: StudyId,
    /// Whose it is.
    pub maker: Maker,
    /// Whether it may send as well as read.
    pub can_send: bool,
    /// When it is made.
    pub made_at: DateTime<Utc>,
    /// When it ends.
    pub ends_at: DateTime<Utc>,
}

/// A token, without its secret.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TokenRow {
    /// Its id.
    pub id: Uuid,
    /// What its maker calls it.
    pub name: String,
    /// The study that it is for.
    pub study: StudyId,
    /// Whose it is.
    pub maker: Maker,
    /// Whether it may send as well as read.
    pub can_send: bool,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// When it ends.
    pub ends_at: DateTime<Utc>,
    /// When it was last used.
    pub used_at: Option<DateTime<Utc>>,
    /// When it was revoked.
    pub revoked_at: Option<DateTime<Utc>>,
}

/// As the columns give it.
struct Row {
    id: String,
    name: String,
    study: String,
    account: Option<String>,
    link: Option<String>,
    can_send: bool,
    made_at: String,
    ends_at: String,
    used_at: Option<String>,
    revoked_at: Option<String>,
}

impl TryFrom<Row> for TokenRow {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let maker = match (&row.account, &row.link) {
            (Some(account), _) => Maker::Steward(parsed("account", account)?),
            (None, Some(link)) => Maker::Tester(parsed("link", link)?),
            (None, None) => return Err(StoreError::new(DOING, "a token is nobody's")),
        };
        let moment = |text: &Option<String>| text.as_deref().map(moment_from_text).transpose();
        Ok(Self {
            id: parsed("id", &row.id)?,
            name: row.name,
            study: parsed("study", &row.study)?,
            maker,
            can_send: row.can_send,
            made_at: moment_from_text(&row.made_at)?,
            ends_at: moment_from_text(&row.ends_at)?,
            used_at: moment(&row.used_at)?,
            revoked_at: moment(&row.revoked_at)?,
        })
    }
}

impl Store {
    /// Keeps a token.
    ///
    /// # Errors
    /// When the disk refuses; so for everything here that writes.
    pub async fn add_token(&self, new: &NewToken) -> Result<(), StoreError> {
        let (id, study) = (new.id.to_string(), new.study.to_string());
        let (account, link) = match new.maker {
            Maker::Steward(account) => (Some(account.to_string()), None),
            Maker::Tester(link) => (None, Some(link.to_string())),
        };
        let token = new.token_sha256.as_slice();
        let (made, ends) = (moment_to_text(new.made_at), moment_to_text(new.ends_at));
        let done = sqlx::query!(
            "insert into api_token
                (id, token_sha256, name, study, account, link, can_send, made_at, ends_at)
            values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
            id,
            token,
            new.name,
            study,
            account,
            link,
            new.can_send,
            made,
            ends,
        )
        .execute(&mut *self.house().await)
        .await;
        done.map(|_| ())
            .map_err(StoreError::while_doing("keeping a token"))
    }

    /// The token with this secret, when it was neither revoked nor has ended, and when, for a steward's,
    /// its maker is a steward of its study still. Whether a tester's lab link holds is not asked here.
    ///
    /// # Errors
    /// When the database cannot be read; so for everything here that reads.
    pub async fn open_token(
        &self,
        token_sha256: &[u8; 32],
        now: DateTime<Utc>,
    ) -> Result<Option<(TokenRow, String)>, StoreError> {
        let (token, now) = (token_sha256.as_slice(), moment_to_text(now));
        let found = sqlx::query!(
            r#"select t.id, t.name, t.study, t.account, t.link, t.can_send as "can_send: bool",
                t.made_at, t.ends_at, t.used_at, t.revoked_at, s.slug
            from api_token t
            join study s on s.id = t.study
            where t.token_sha256 = ?1
                and t.revoked_at is null
                and t.ends_at > ?2
                and (t.account is null or exists (
                    select 1
                    from study_steward m
                    join account a on a.id = m.account
                    where m.study = t.study and m.account = t.account and a.closed_at is null
                ))"#,
            token,
            now,
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        let Some(found) = found else { return Ok(None) };
        let row = Row {
            id: found.id,
            name: found.name,
            study: found.study,
            account: found.account,
            link: found.link,
            can_send: found.can_send,
            made_at: found.made_at,
            ends_at: found.ends_at,
            used_at: found.used_at,
            revoked_at: found.revoked_at,
        };
        Ok(Some((row.try_into()?, found.slug)))
    }

    /// Notes that a token is used, at most once a minute.
    ///
    /// # Errors
    /// As above.
    pub async fn touch_token(
        &self,
        token: &TokenRow,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let is_fresh = |at: DateTime<Utc>| now - at < TimeDelta::minutes(1);
        if token.used_at.is_some_and(is_fresh) {
            return Ok(());
        }
        let (id, now) = (token.id.to_string(), moment_to_text(now));
        sqlx::query!("update api_token set used_at = ?2 where id = ?1", id, now)
            .execute(&mut *self.house().await)
            .await
            .map_err(StoreError::while_doing("noting that a token is used"))?;
        Ok(())
    }

    /// The tokens of a study, also revoked and ended ones, the newest first.
    ///
    /// # Errors
    /// As above.
    pub async fn tokens_of(&self, study: StudyId) -> Result<Vec<TokenRow>, StoreError> {
        let study = study.to_string();
        let rows = sqlx::query_as!(
            Row,
            r#"select id, name, study, account, link, can_send as "can_send: bool", made_at, ends_at,
                used_at, revoked_at
            from api_token
            where study = ?1
            order by made_at desc, id"#,
            study,
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        rows.into_iter().map(TokenRow::try_from).collect()
    }

    /// Revokes a token, at once and for good; revoking one again changes nothing.
    ///
    /// # Errors
    /// As above.
    pub async fn revoke_token(&self, id: Uuid, now: DateTime<Utc>) -> Result<(), StoreError> {
        let (id, now) = (id.to_string(), moment_to_text(now));
        sqlx::query!(
            "update api_token set revoked_at = ?2 where id = ?1 and revoked_at is null",
            id,
            now
        )
        .execute(&mut *self.house().await)
        .await
        .map_err(StoreError::while_doing("revoking a token"))?;
        Ok(())
    }
}
