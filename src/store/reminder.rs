//! Reminders: the messages that go out, and what was said already; where people want them is in `wish`.
//! What a message says and how it is sent is the business of `remind`.

use super::rows::{bad, parsed};
use super::{Store, StoreError, moment_from_text, moment_to_text};
use crate::study::ids::AccountId;
use chrono::{DateTime, Utc};
use sqlx::Connection;
use uuid::Uuid;

/// A way to a person.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Channel {
    /// E-mail.
    Mail,
    /// An address that takes a signed POST.
    Webhook,
}

impl Channel {
    /// As the tables keep it.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Mail => "mail",
            Self::Webhook => "webhook",
        }
    }

    fn parse(text: &str) -> Result<Self, StoreError> {
        match text {
            "mail" => Ok(Self::Mail),
            "webhook" => Ok(Self::Webhook),
            other => Err(bad("channel", other)),
        }
    }
}

/// A message to be sent.
#[derive(Debug, Clone)]
pub struct NewMessage {
    /// Its id; the same at every attempt, so that the other side can tell a repeat.
    pub id: Uuid,
    /// To whom.
    pub account: AccountId,
    /// Which way.
    pub channel: Channel,
    /// Now.
    pub made_at: DateTime<Utc>,
    /// In one line.
    pub subject: String,
    /// What it says, as JSON.
    pub body: String,
    /// What it reminds of; none of it was said on this channel before.
    pub things: Vec<String>,
}

/// Where a message stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MessageState {
    /// It will be tried, or tried again.
    Waiting,
    /// The other side took it.
    Sent,
    /// It will not be tried again.
    GivenUp,
}

/// A message as it stands.
#[derive(Debug, Clone)]
pub struct Message {
    /// Its id.
    pub id: Uuid,
    /// To whom.
    pub account: AccountId,
    /// Which way.
    pub channel: Channel,
    /// When it was written.
    pub made_at: DateTime<Utc>,
    /// In one line.
    pub subject: String,
    /// What it says, as JSON.
    pub body: String,
    /// Where it stands.
    pub state: MessageState,
    /// How often it was tried without success.
    pub attempts: u32,
    /// Not tried before this.
    pub next_try_at: DateTime<Utc>,
    /// What became of the last attempt, in words.
    pub last_said: Option<String>,
    /// When the other side took it.
    pub sent_at: Option<DateTime<Utc>>,
}

struct MessageRow {
    id: String,
    account: String,
    channel: String,
    made_at: String,
    subject: String,
    body: String,
    state: String,
    attempts: u32,
    next_try_at: String,
    last_said: Option<String>,
    sent_at: Option<String>,
}

impl TryFrom<MessageRow> for Message {
    type Error = StoreError;

    fn try_from(row: MessageRow) -> Result<Self, StoreError> {
        Ok(Self {
            id: parsed("message", &row.id)?,
            account: parsed("account", &row.account)?,
            channel: Channel::parse(&row.channel)?,
            made_at: moment_from_text(&row.made_at)?,
            subject: row.subject,
            body: row.body,
            state: match row.state.as_str() {
                "waiting" => MessageState::Waiting,
                "sent" => MessageState::Sent,
                "given_up" => MessageState::GivenUp,
                other => return Err(bad("message's state", other)),
            },
            attempts: row.attempts,
            next_try_at: moment_from_text(&row.next_try_at)?,
            last_said: row.last_said,
            sent_at: row.sent_at.as_deref().map(moment_from_text).transpose()?,
        })
    }
}

const SENDING: &str = "keeping a reminder";

impl Store {
    /// What a person was reminded of on a channel.
    ///
    /// # Errors
    /// When the database cannot be read or written; so for everything here.
    pub async fn reminded_of(
        &self,
        account: AccountId,
        channel: Channel,
    ) -> Result<Vec<String>, StoreError> {
        let (account, channel) = (account.to_string(), channel.key());
        let found = sqlx::query_scalar!(
            "select thing from reminder where account = ?1 and channel = ?2 order by thing",
            account,
            channel,
        )
        .fetch_all(self.readers())
        .await;
        found.map_err(StoreError::while_doing(SENDING))
    }

    /// Keeps a message with what it reminds of, all or nothing: the table itself refuses to say a thing
    /// twice.
    pub async fn add_message(&self, new: &NewMessage) -> Result<(), StoreError> {
        let (id, account) = (new.id.to_string(), new.account.to_string());
        let (channel, made_at) = (new.channel.key(), moment_to_text(new.made_at));
        let mut house = self.house().await;
        let mut all = house
            .begin()
            .await
            .map_err(StoreError::while_doing(SENDING))?;
        sqlx::query!(
            "insert into message (id, account, channel, made_at, subject, body, state, next_try_at)
            values (?1, ?2, ?3, ?4, ?5, ?6, 'waiting', ?4)",
            id,
            account,
            channel,
            made_at,
            new.subject,
            new.body,
        )
        .execute(&mut *all)
        .await
        .map_err(StoreError::while_doing(SENDING))?;
        for thing in &new.things {
            sqlx::query!(
                "insert into reminder (account, channel, thing, message) values (?1, ?2, ?3, ?4)",
                account,
                channel,
                thing,
                id,
            )
            .execute(&mut *all)
            .await
            .map_err(StoreError::while_doing(SENDING))?;
        }
        all.commit().await.map_err(StoreError::while_doing(SENDING))
    }

    /// The messages that may be tried now, the oldest first, at most 50; none of a closed account.
    pub async fn messages_to_send(&self, now: DateTime<Utc>) -> Result<Vec<Message>, StoreError> {
        let now = moment_to_text(now);
        let rows = sqlx::query_as!(
            MessageRow,
            r#"select id, account, channel, made_at, subject, body, state,
                attempts as "attempts: u32", next_try_at, last_said, sent_at
            from message
            where state = 'waiting'
                and next_try_at <= ?1
                and account in (select id from account where closed_at is null)
            order by next_try_at, id
            limit 50"#,
            now
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing(SENDING))?;
        rows.into_iter().map(Message::try_from).collect()
    }

    /// A person's messages, the newest first, at most 100.
    pub async fn messages_of(&self, account: AccountId) -> Result<Vec<Message>, StoreError> {
        let account = account.to_string();
        let rows = sqlx::query_as!(
            MessageRow,
            r#"select id, account, channel, made_at, subject, body, state,
                attempts as "attempts: u32", next_try_at, last_said, sent_at
            from message
            where account = ?1
            order by made_at desc, id desc
            limit 100"#,
            account
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing(SENDING))?;
        rows.into_iter().map(Message::try_from).collect()
    }

    /// Notes that the other side took a message.
    pub async fn note_sent(
        &self,
        id: Uuid,
        said: &str,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let (id, now) = (id.to_string(), moment_to_text(now));
        let done = sqlx::query!(
            "update message set state = 'sent', sent_at = ?3, last_said = ?2 where id = ?1",
            id,
            said,
            now,
        )
        .execute(&mut *self.house().await)
        .await;
        done.map(|_| ()).map_err(StoreError::while_doing(SENDING))
    }

    /// Notes that an attempt failed, and when the next one is due; never again with `None`.
    pub async fn note_failed(
        &self,
        id: Uuid,
        said: &str,
        next_try_at: Option<DateTime<Utc>>,
    ) -> Result<(), StoreError> {
        let id = id.to_string();
        let state = match next_try_at {
            Some(_) => "waiting",
            None => "given_up",
        };
        let next = next_try_at.map(moment_to_text);
        let done = sqlx::query!(
            "update message
            set state = ?3, attempts = attempts + 1, last_said = ?2,
                next_try_at = coalesce(?4, next_try_at)
            where id = ?1 and state = 'waiting'",
            id,
            said,
            state,
            next,
        )
        .execute(&mut *self.house().await)
        .await;
        done.map(|_| ()).map_err(StoreError::while_doing(SENDING))
    }

    /// Lets everything that was given up for a person be tried again; how many there were.
    pub async fn retry_messages(
        &self,
        account: AccountId,
        now: DateTime<Utc>,
    ) -> Result<u64, StoreError> {
        let (account, now) = (account.to_string(), moment_to_text(now));
        let done = sqlx::query!(
            "update message set state = 'waiting', attempts = 0, next_try_at = ?2
            where account = ?1 and state = 'given_up'",
            account,
            now,
        )
        .execute(&mut *self.house().await)
        .await
        .map_err(StoreError::while_doing(SENDING))?;
        Ok(done.rows_affected())
    }
}
