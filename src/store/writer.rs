//! The one writer of the journal: a queue, a task that gathers what waits into one commit, and an
//! answer for each sender only after that commit is on disk.
//!
//! Guards run before an entry's first statement, so a refusal leaves nothing to undo and most batches
//! need no savepoint. A job of several entries that must stand or fall together gets one. When a
//! constraint of the database stops a batch, it is undone and its jobs run again one by one, so that
//! the culprit stands alone. Any other failed statement fails the whole batch, because SQLite may
//! have rolled it back already: the connection is thrown away and nothing of it is answered as done.

use std::path::PathBuf;

use sqlx::error::ErrorKind;
use sqlx::sqlite::SqliteConnection;
use sqlx::{ConnectOptions, Connection};
use tokio::sync::{mpsc, oneshot};

use super::apply::{self, ApplyError};
use super::journal::{self, Row};
use super::{StoreError, Turns, blob, open, standing};
use crate::clock::Clock;
use crate::study::entry::{Entry, Envelope, Receipt};
use crate::study::guard::{self, Refusal};

/// Most entries in one commit.
const BATCH_ENTRIES: usize = 64;
/// Most bytes of entries in one commit, roughly.
const BATCH_BYTES: usize = 4 * 1024 * 1024;
/// Jobs that may wait; beyond that a sender is told to come back.
const QUEUE: usize = 1024;

/// Why the journal did not take an entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NotTaken {
    /// A rule of the study refuses it.
    Refused(Refusal),
    /// The journal holds another entry under this id.
    OtherContent,
    /// The database found it at odds with what is there, though the rules did not.
    Conflict,
    /// The queue is full; come back in a moment.
    Busy,
    /// The disk or the database failed; whether it was stored is not known. Sending it again finds out.
    Unknown,
}

impl std::fmt::Display for NotTaken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Refused(refusal) => refusal.fmt(f),
            Self::OtherContent => f.write_str(
                "An entry with this id but other content is on record already; nothing was changed.",
            ),
            Self::Conflict => f.write_str("This contradicts what is on record; look again."),
            Self::Busy => f.write_str("Too much is waiting to be written; try again in a moment."),
            Self::Unknown => f.write_str(
                "The server could not write this down; send it again to find out whether it is stored.",
            ),
        }
    }
}

impl std::error::Error for NotTaken {}

/// A sender's answer: a receipt, or why not.
pub type Answer = Result<Receipt, NotTaken>;

struct Job {
    /// One entry, or several that stand or fall together.
    envelopes: Vec<Envelope>,
    answer: oneshot::Sender<Result<Vec<Receipt>, NotTaken>>,
}

/// The way into the journal. Cheap to clone; the writer ends when the last clone is dropped and what
/// was accepted is written.
#[derive(Clone)]
pub struct Journal {
    queue: mpsc::Sender<Job>,
    turns: Turns,
}

impl Journal {
    /// Starts the writer on a database.
    #[must_use]
    pub fn start(
        database: PathBuf,
        clock: Clock,
        room: Room,
    ) -> (Self, tokio::task::JoinHandle<()>) {
        let (queue, jobs) = mpsc::channel(QUEUE);
        let turns = Turns::default();
        let writer = Writer {
            turns: turns.clone(),
            database,
            clock,
            room,
            connection: None,
        };
        (Self { queue, turns }, tokio::spawn(writer.run(jobs)))
    }

    /// The counters that move with every commit of this writer.
    #[must_use]
    pub fn turns(&self) -> &Turns {
        &self.turns
    }

    /// Writes one entry down; answers when it is on disk.
    ///
    /// # Errors
    /// [`NotTaken`].
    pub async fn submit(&self, envelope: Envelope) -> Answer {
        let receipts = self.submit_all(vec![envelope]).await?;
        receipts.into_iter().next().ok_or(NotTaken::Unknown)
    }

    /// Writes several entries down, all or none.
    ///
    /// # Errors
    /// [`NotTaken`] of the first one that was not taken.
    pub async fn submit_all(&self, envelopes: Vec<Envelope>) -> Result<Vec<Receipt>, NotTaken> {
        let (answer, wait) = oneshot::channel();
        self.queue
            .try_send(Job { envelopes, answer })
            .map_err(|_| NotTaken::Busy)?;
        wait.await.unwrap_or(Err(NotTaken::Unknown))
    }
}

/// How far the database may grow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Room {
    /// As far as the disk goes.
    Disk,
    /// To so many pages; then it is as if the disk were full.
    Pages(u32),
}

/// Why a transaction was given up.
enum Failure {
    /// A constraint stopped it.
    Constraint,
    /// Anything else: nothing more is known.
    Storage(StoreError),
}

impl From<sqlx::Error> for Failure {
    fn from(error: sqlx::Error) -> Self {
        match &error {
            sqlx::Error::Database(cause) if cause.kind() != ErrorKind::Other => Self::Constraint,
            _ => Self::Storage(StoreError::new("writing the journal", error)),
        }
    }
}

impl From<StoreError> for Failure {
    fn from(error: StoreError) -> Self {
        Self::Storage(error)
    }
}

impl From<ApplyError> for Failure {
    fn from(error: ApplyError) -> Self {
        match error {
            ApplyError::Sql(error) => error.into(),
            ApplyError::Json(error) => {
                Self::Storage(StoreError::new("writing an entry as JSON", error))
            }
        }
    }
}

type Outcome = Result<Vec<Receipt>, NotTaken>;

struct Writer {
    database: PathBuf,
    clock: Clock,
    room: Room,
    turns: Turns,
    connection: Option<SqliteConnection>,
}

impl Writer {
    async fn run(mut self, mut jobs: mpsc::Receiver<Job>) {
        while let Some(first) = jobs.recv().await {
            let mut batch = vec![first];
            let mut bytes = batch.first().map_or(0, size);
            let mut entries = batch.first().map_or(0, |job| job.envelopes.len());
            while entries < BATCH_ENTRIES && bytes < BATCH_BYTES {
                let Ok(next) = jobs.try_recv() else { break };
                bytes += size(&next);
                entries += next.envelopes.len();
                batch.push(next);
            }
            self.write(batch).await;
        }
        if let Some(connection) = self.connection.take() {
            // Folding the write-ahead log in is a courtesy; everything acknowledged is on disk.
            if let Err(cause) = connection.close().await {
                tracing::warn!(%cause, "closing the journal's connection");
            }
        }
    }

    async fn write(&mut self, batch: Vec<Job>) {
        let (works, answers): (Vec<_>, Vec<_>) = batch
            .into_iter()
            .map(|job| (job.envelopes, job.answer))
            .unzip();
        let outcomes = match self.transaction(&works).await {
            Ok(outcomes) => outcomes,
            Err(Failure::Constraint) if works.len() > 1 => self.one_by_one(&works).await,
            Err(failure) => {
                let outcome = self.given_up(failure).await;
                vec![outcome; works.len()]
            }
        };
        // Also when the outcome is not known: it may be on disk.
        let chains = works.iter().flatten().map(|envelope| envelope.chain);
        self.turns.move_on(chains);
        for (answer, outcome) in answers.into_iter().zip(outcomes) {
            // A sender that went away still has its entry; the receipt is there when it asks again.
            let _gone = answer.send(outcome);
        }
    }

    async fn one_by_one(&mut self, works: &[Vec<Envelope>]) -> Vec<Outcome> {
        let mut outcomes = Vec::with_capacity(works.len());
        for work in works {
            let outcome = match self.transaction(std::slice::from_ref(work)).await {
                Ok(mut only) => only.pop().unwrap_or(Err(NotTaken::Unknown)),
                Err(failure) => self.given_up(failure).await,
            };
            outcomes.push(outcome);
        }
        outcomes
    }

    async fn given_up(&mut self, failure: Failure) -> Outcome {
        match failure {
            Failure::Constraint => Err(NotTaken::Conflict),
            Failure::Storage(error) => {
                tracing::error!(%error, "the journal could not be written");
                Err(NotTaken::Unknown)
            }
        }
    }

    async fn connect(&self) -> Result<SqliteConnection, sqlx::Error> {
        let options = open::writing(&self.database);
        match self.room {
            Room::Disk => options.connect().await,
            Room::Pages(pages) => {
                options
                    .pragma("max_page_count", pages.to_string())
                    .connect()
                    .await
            }
        }
    }

    /// One transaction over several jobs. On any failure the connection is thrown away: after a
    /// failed statement or commit nothing about it can be trusted, and the head is read anew.
    async fn transaction(&mut self, works: &[Vec<Envelope>]) -> Result<Vec<Outcome>, Failure> {
        let mut db = match self.connection.take() {
            Some(connection) => connection,
            None => self.connect().await?,
        };
        match write_all(&mut db, works, &self.clock).await {
            Ok(outcomes) => {
                self.connection = Some(db);
                Ok(outcomes)
            }
            Err(failure) => {
                // Dropping the connection closes it, which undoes what was not committed.
                let _undone = db.close().await;
                Err(failure)
            }
        }
    }
}

async fn write_all(
    db: &mut SqliteConnection,
    works: &[Vec<Envelope>],
    clock: &Clock,
) -> Result<Vec<Outcome>, Failure> {
    sqlx::query("begin immediate").execute(&mut *db).await?;
    let mut outcomes = Vec::with_capacity(works.len());
    for work in works {
        outcomes.push(job(db, work, clock).await?);
    }
    sqlx::query("commit").execute(&mut *db).await?;
    Ok(outcomes)
}

/// One job. Several entries are written under a savepoint, so that a refusal of a later one undoes
/// the earlier ones.
async fn job(
    db: &mut SqliteConnection,
    work: &[Envelope],
    clock: &Clock,
) -> Result<Outcome, Failure> {
    if let [only] = work {
        return Ok(append(db, only, clock).await?.map(|receipt| vec![receipt]));
    }
    sqlx::query("savepoint job").execute(&mut *db).await?;
    let mut receipts = Vec::with_capacity(work.len());
    for envelope in work {
        match append(db, envelope, clock).await? {
            Ok(receipt) => receipts.push(receipt),
            Err(refused) => {
                sqlx::query("rollback to job").execute(&mut *db).await?;
                sqlx::query("release job").execute(&mut *db).await?;
                return Ok(Err(refused));
            }
        }
    }
    sqlx::query("release job").execute(&mut *db).await?;
    Ok(Ok(receipts))
}

/// One entry: known already, refused, or chained, appended and applied.
async fn append(
    db: &mut SqliteConnection,
    envelope: &Envelope,
    clock: &Clock,
) -> Result<Answer, Failure> {
    if let Some(known) = journal::row_by_id(db, &envelope.id.to_string()).await? {
        return Ok(repeated(envelope, &known)?);
    }
    let now = clock.now();
    let standing = standing::load(db, envelope, now).await?;
    if let Err(refusal) = guard::check(envelope, &standing, now) {
        return Ok(Err(NotTaken::Refused(refusal)));
    }
    let chain = envelope.chain.to_string();
    let (seq, prev_hash) = journal::head(db, &chain).await?;
    let salts = (clock.random(), clock.random());
    let row = Row::new(envelope, (seq + 1, &prev_hash), now, salts)?;
    journal::append(db, &row).await?;
    apply::apply(db, &row, &envelope.entry).await?;
    if let Entry::NoteErased { entry } = &envelope.entry {
        // In the journal itself, so no part of a replay.
        journal::erase_note(db, &entry.to_string()).await?;
    }
    if let Entry::PhotographErased { photograph } = &envelope.entry {
        blob::erase_photograph(db, *photograph).await?;
    }
    Ok(Ok(row.receipt(false)?))
}

/// The same id again: the same content gets the first answer, other content is refused.
fn repeated(envelope: &Envelope, known: &Row) -> Result<Answer, StoreError> {
    let is_same = known.chain == envelope.chain.to_string()
        && known.actor == envelope.actor.to_string()
        && known.note.as_deref().unwrap_or_default()
            == envelope.note.as_deref().unwrap_or_default()
        && known.entry()? == envelope.entry;
    if is_same {
        Ok(Ok(known.receipt(true)?))
    } else {
        Ok(Err(NotTaken::OtherContent))
    }
}

/// Roughly how large a job is, to bound a batch.
fn size(job: &Job) -> usize {
    job.envelopes
        .iter()
        .map(|envelope| 512 + 160 * envelope.entry.specimens().len())
        .sum()
}
