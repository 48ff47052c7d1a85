//! Reminders: what is due is written into messages once a day (`write`), each said once on each
//! channel, and sent by mail (`mail`) or to a webhook (`webhook`) until the other side has taken it.
//!
//! A message is noted as sent after the other side has taken it. When the server dies in between, it
//! is sent again, under the same id: the mail's Message-ID, the webhook's Idempotency-Key.

mod address;
pub mod mail;
pub mod notice;
pub mod webhook;
mod write;

use crate::clock::Clock;
use crate::config::{Config, Outgoing};
use crate::store::{Channel, Message, Store, StoreError, Wish};
use chrono::TimeDelta;
use mail::Mailer;
use std::time::Duration;
use tokio::sync::watch;
use tokio::task::JoinHandle;
use webhook::Hooks;

/// How often it is looked whether something is to be written or sent.
const EVERY: Duration = Duration::from_secs(20);
/// How long a stopping server waits for a message that is being sent.
const GRACE: Duration = Duration::from_secs(5);

/// Minutes between attempts, each longer than the one before; after the last the message is given up,
/// three days and a half after it was written.
const WAITS_MIN: [i64; 9] = [1, 5, 15, 60, 180, 360, 720, 1440, 2160];

/// What became of an attempt.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// The other side took it.
    Taken(String),
    /// Not now.
    Later(String),
    /// Not this way: trying again changes nothing.
    Never(String),
}

/// Everything that reminding needs.
#[derive(Clone)]
pub struct Reminders {
    store: Store,
    clock: Clock,
    mailer: Option<Mailer>,
    hooks: Hooks,
    /// The start of every link in a message.
    base: String,
}

/// The task that reminds, to be stopped at the end.
pub struct Running {
    stop: watch::Sender<bool>,
    task: JoinHandle<()>,
}

impl Reminders {
    /// With these settings.
    ///
    /// # Errors
    /// A sentence for the keeper, when the settings for mail do not fit together.
    pub fn new(store: Store, clock: Clock, config: &Config) -> Result<Self, String> {
        let outgoing: &Outgoing = &config.outgoing;
        Ok(Self {
            mailer: Mailer::from_settings(outgoing)?,
            hooks: Hooks::new(outgoing.webhook_private),
            base: config.link_base(),
            store,
            clock,
        })
    }

    /// Reminds until it is stopped.
    #[must_use]
    pub fn start(self) -> Running {
        let (stop, mut stopped) = watch::channel(false);
        let task = tokio::spawn(async move {
            loop {
                if let Err(error) = self.pass().await {
                    tracing::error!(%error, "reminders were not gone through");
                }
                tokio::select! {
                    _ = stopped.changed() => break,
                    () = tokio::time::sleep(EVERY) => {}
                }
            }
        });
        Running { stop, task }
    }

    /// Writes what is to be written and sends what is to be sent, once.
    ///
    /// # Errors
    /// When the database cannot be read or written.
    pub async fn pass(&self) -> Result<(), StoreError> {
        for wish in self.store.wishes().await? {
            write::for_one(self, &wish).await?;
        }
        for message in self.store.messages_to_send(self.clock.now()).await? {
            self.send(&message).await?;
        }
        Ok(())
    }

    async fn send(&self, message: &Message) -> Result<(), StoreError> {
        let wish = self.store.find_wish(message.account).await?;
        let outcome = match &wish {
            Some(wish) => self.attempt(message, wish).await,
            None => Outcome::Never("No address is set any more.".to_owned()),
        };
        let now = self.clock.now();
        match outcome {
            Outcome::Taken(said) => self.store.note_sent(message.id, &said, now).await,
            Outcome::Never(said) => self.store.note_failed(message.id, &said, None).await,
            Outcome::Later(said) => {
                let attempt = usize::try_from(message.attempts).unwrap_or(usize::MAX);
                let wait = WAITS_MIN.get(attempt);
                let next = wait.map(|minutes| now + TimeDelta::minutes(*minutes));
                self.store.note_failed(message.id, &said, next).await
            }
        }
    }

    async fn attempt(&self, message: &Message, wish: &Wish) -> Outcome {
        let gone = |what: &str| Outcome::Never(format!("{what} is set any more."));
        match message.channel {
            Channel::Mail => match (&self.mailer, &wish.mail) {
                (Some(mailer), Some(to)) => mailer.send(message, to).await,
                (None, Some(_)) => {
                    Outcome::Later("This server is not set up to send mail.".to_owned())
                }
                (_, None) => gone("No mail address"),
            },
            Channel::Webhook => match (&wish.webhook, &wish.webhook_key) {
                (Some(to), Some(key)) => {
                    let now = self.clock.now();
                    self.hooks.send(message, to, key, now).await
                }
                _ => gone("No webhook"),
            },
        }
    }
}

impl Running {
    /// Stops it; what is being sent has a few seconds to end.
    pub async fn stop(mut self) {
        let _nobody_listens = self.stop.send(true);
        if tokio::time::timeout(GRACE, &mut self.task).await.is_err() {
            self.task.abort();
        }
    }
}
