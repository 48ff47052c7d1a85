//! Writing a story into the journal through the production path: who says what, and when. The demo
//! tells its scenario with it, and the tests build their studies with it.

use chrono::{DateTime, Duration, Utc};

use crate::clock::Clock;
use crate::store::{Journal, NotTaken, Store};
use crate::study::entry::{Actor, Chain, Entry, Envelope, Receipt, StudyStarted};
use crate::study::ids::{AccountId, EntryId, StudyId};

/// One study's story. The clock is a set one, moved on as the story goes.
pub struct Script {
    /// Where it can be read back.
    pub store: Store,
    /// The journal it is written to.
    pub journal: Journal,
    /// The clock that dates it.
    pub clock: Clock,
    /// The study.
    pub study: StudyId,
    /// The steward who acts.
    pub steward: AccountId,
    /// The study's time zone.
    pub time_zone: String,
}

impl Script {
    /// Opens a study and begins its story.
    ///
    /// # Errors
    /// When the journal refuses it.
    pub async fn open(
        (store, journal): (Store, Journal),
        clock: Clock,
        started: StudyStarted,
    ) -> Result<Self, NotTaken> {
        let study = StudyId(clock.new_id());
        let time_zone = started.time_zone.clone();
        let steward = started.steward;
        let script = Self {
            store,
            journal,
            clock,
            study,
            steward,
            time_zone,
        };
        let opened = script.envelope(Actor::Keeper, Entry::StudyOpened { study }, None);
        let opened = Envelope {
            chain: Chain::Server,
            ..opened
        };
        let begun = script.envelope(Actor::Account(steward), Entry::StudyStarted(started), None);
        script.journal.submit_all(vec![opened, begun]).await?;
        Ok(script)
    }

    /// An entry of this study as an actor would send it now.
    #[must_use]
    pub fn envelope(&self, actor: Actor, entry: Entry, note: Option<&str>) -> Envelope {
        Envelope {
            id: EntryId(self.clock.new_id()),
            chain: Chain::Study(self.study),
            actor,
            device: "story".to_owned(),
            device_seq: 0,
            taken_at: self.clock.now(),
            time_zone: self.time_zone.clone(),
            note: note.map(str::to_owned),
            entry,
        }
    }

    /// The steward says something.
    ///
    /// # Errors
    /// When the journal does not take it.
    pub async fn say(&self, entry: Entry) -> Result<Receipt, NotTaken> {
        self.tell(Actor::Account(self.steward), entry, None).await
    }

    /// The steward says something with its reason.
    ///
    /// # Errors
    /// When the journal does not take it.
    pub async fn say_because(&self, entry: Entry, note: &str) -> Result<Receipt, NotTaken> {
        self.tell(Actor::Account(self.steward), entry, Some(note))
            .await
    }

    /// Somebody says something, with or without a note.
    ///
    /// # Errors
    /// When the journal does not take it.
    pub async fn tell(
        &self,
        actor: Actor,
        entry: Entry,
        note: Option<&str>,
    ) -> Result<Receipt, NotTaken> {
        self.journal.submit(self.envelope(actor, entry, note)).await
    }

    /// Time passes.
    pub fn wait(&self, time: Duration) -> DateTime<Utc> {
        self.clock.advance(time);
        self.clock.now()
    }
}
