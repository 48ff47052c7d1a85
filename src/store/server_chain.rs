//! The server's own chain: accounts made and closed, by the keeper or on the first run.

use super::{Answer, Journal, Store};
use crate::clock::Clock;
use crate::study::entry::{Actor, Chain, Entry, Envelope};
use crate::study::ids::EntryId;

impl Journal {
    /// Notes something in the server's own chain.
    ///
    /// # Errors
    /// As [`Journal::submit`].
    pub async fn note(&self, clock: &Clock, entry: Entry) -> Answer {
        self.submit(Envelope {
            id: EntryId(clock.new_id()),
            chain: Chain::Server,
            actor: Actor::Keeper,
            device: "keeper".to_owned(),
            device_seq: 0,
            taken_at: clock.now(),
            time_zone: "UTC".to_owned(),
            note: None,
            entry,
        })
        .await
    }
}

impl Store {
    /// The same from a command, which has no journal of its own running.
    ///
    /// # Errors
    /// As [`Journal::submit`].
    pub async fn note_once(&self, clock: &Clock, entry: Entry) -> Answer {
        let (journal, writer) = self.start_journal(clock.clone());
        let answer = journal.note(clock, entry).await;
        drop(journal);
        // The writer has nothing left to do; whatever became of it, the answer stands.
        let _ended = writer.await;
        answer
    }
}
