//! Opening a data folder: its lock, the migrations, and the connections with their pragmas stated
//! rather than assumed.

use super::kept::Kept;
use super::{Journal, Room, StoreError, replay};
use crate::clock::Clock;
use sqlx::migrate::{MigrateError, Migrator};
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteConnection, SqliteJournalMode, SqlitePool, SqlitePoolOptions,
    SqliteSynchronous,
};
use sqlx::{ConnectOptions, Connection};
use std::fmt;
use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Mutex, MutexGuard};

/// The database's name inside the data folder.
pub const DATABASE_FILE: &str = "overwinter.db";
const LOCK_FILE: &str = "overwinter.lock";

/// Readers at once; beyond that a request waits. SQLite reads are short and two cores are common.
const READERS: u32 = 8;

/// How long a statement waits for another process's write (`account` beside a server) to end.
const BUSY: Duration = Duration::from_secs(10);

static MIGRATIONS: Migrator = sqlx::migrate!("./migrations");

/// How a command wants the data folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hold {
    /// Alone, as the server does: makes the folder and the database, runs migrations.
    Alone,
    /// Beside a running server, on a database that is there and of this version.
    Beside,
}

/// An open data folder. Cheap to clone; the folder is let go when the last clone is dropped.
#[derive(Clone)]
pub struct Store(Arc<Inner>);

struct Inner {
    folder: PathBuf,
    /// Outside the journal: accounts, sessions, link secrets, blobs. The journal's writer has its
    /// own.
    house: Mutex<SqliteConnection>,
    readers: SqlitePool,
    kept: Kept,
    /// Held for as long as the store lives; dropping the file releases the lock.
    _lock: Option<File>,
}

impl Store {
    /// Opens the data folder.
    ///
    /// # Errors
    /// When another server holds it, its database is of another version, or the disk refuses.
    pub async fn open(folder: &Path, hold: Hold) -> Result<Self, OpenError> {
        let database = folder.join(DATABASE_FILE);
        let lock = match hold {
            Hold::Alone => {
                std::fs::create_dir_all(folder).map_err(|cause| unusable(folder, cause))?;
                Some(lock_folder(folder)?)
            }
            Hold::Beside if database.exists() => None,
            Hold::Beside => return Err(OpenError::NoDatabase(database)),
        };
        let mut house = writing(&database)
            .connect()
            .await
            .map_err(|e| broken(&database, e))?;
        match hold {
            Hold::Alone => {
                migrate(&mut house, &database).await?;
                replay::build_if_needed(&mut house)
                    .await
                    .map_err(|e| broken(&database, e))?;
            }
            Hold::Beside => check_version(&mut house, &database).await?,
        }
        let readers = reading_pool(&database)
            .await
            .map_err(|e| broken(&database, e))?;
        let folder = folder.to_owned();
        Ok(Self(Arc::new(Inner {
            folder,
            house: Mutex::new(house),
            readers,
            kept: Kept::default(),
            _lock: lock,
        })))
    }

    /// The data folder itself.
    pub fn folder(&self) -> &Path {
        &self.0.folder
    }

    /// Starts the journal's writer on this folder's database.
    pub fn start_journal(&self, clock: Clock) -> (Journal, tokio::task::JoinHandle<()>) {
        Journal::start(self.0.folder.join(DATABASE_FILE), clock, Room::Disk)
    }

    /// Builds the tables anew from the journal. Returns how many entries were replayed.
    ///
    /// # Errors
    /// When the journal cannot be read or applied; the tables are then as they were.
    pub async fn rebuild(&self) -> Result<u64, StoreError> {
        replay::rebuild(&mut *self.house().await).await
    }

    /// The study records kept in memory.
    pub(super) fn kept(&self) -> &Kept {
        &self.0.kept
    }

    /// Read-only connections, for questions.
    pub fn readers(&self) -> &SqlitePool {
        &self.0.readers
    }

    /// The one connection that writes outside the journal.
    pub(super) async fn house(&self) -> MutexGuard<'_, SqliteConnection> {
        self.0.house.lock().await
    }

    /// Closes the connections, which folds the write-ahead log into the database file. For a tidy
    /// end and for tests that copy the file; dropping the store without it loses nothing.
    ///
    /// # Errors
    /// When the database cannot be closed.
    pub async fn close(self) -> Result<(), StoreError> {
        let failed = "closing the database";
        self.0.readers.close().await;
        if let Some(inner) = Arc::into_inner(self.0) {
            let house = inner.house.into_inner();
            house
                .close()
                .await
                .map_err(StoreError::while_doing(failed))?;
        }
        Ok(())
    }
}

/// How a writing connection is opened: also for the journal's writer.
pub(super) fn writing(database: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new()
        .filename(database)
        .create_if_missing(true)
        // Readers go on while one writes.
        .journal_mode(SqliteJournalMode::Wal)
        // What is acknowledged survives a power cut: one fsync of the log per commit.
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .busy_timeout(BUSY)
}

async fn reading_pool(database: &Path) -> Result<SqlitePool, sqlx::Error> {
    let options = SqliteConnectOptions::new()
        .filename(database)
        .read_only(true)
        // A second bolt: even a wrong statement cannot write.
        .pragma("query_only", "on")
        .busy_timeout(BUSY);
    SqlitePoolOptions::new()
        .max_connections(READERS)
        .connect_with(options)
        .await
}

/// Takes the folder for this process, or says that another has it.
pub(super) fn lock_folder(folder: &Path) -> Result<File, OpenError> {
    let path = folder.join(LOCK_FILE);
    let open = File::options()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&path);
    let file = open.map_err(|cause| unusable(folder, cause))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(OpenError::Held(folder.to_owned())),
        Err(TryLockError::Error(cause)) => Err(unusable(folder, cause)),
    }
}

async fn migrate(house: &mut SqliteConnection, database: &Path) -> Result<(), OpenError> {
    MIGRATIONS.run(house).await.map_err(|error| match error {
        MigrateError::VersionMissing(found) | MigrateError::VersionTooNew(found, _) => {
            newer(database, found)
        }
        other => broken(database, other),
    })
}

/// For the commands beside a server: neither older nor newer than this program.
pub(super) async fn check_version(
    connection: &mut SqliteConnection,
    database: &Path,
) -> Result<(), OpenError> {
    let found = sqlx::query_scalar!(
        r#"select max(version) as "version: i64" from _sqlx_migrations where success"#
    )
    .fetch_one(connection)
    .await
    .map_err(|cause| broken(database, cause))?
    .unwrap_or(0);
    match found.cmp(&known_version()) {
        std::cmp::Ordering::Equal => Ok(()),
        std::cmp::Ordering::Greater => Err(newer(database, found)),
        std::cmp::Ordering::Less => Err(OpenError::Older(database.to_owned())),
    }
}

/// The number of the last migration this program has.
fn known_version() -> i64 {
    MIGRATIONS
        .iter()
        .map(|migration| migration.version)
        .max()
        .unwrap_or(0)
}

/// Why a data folder was not opened. Each reads as one clear line for the keeper.
#[derive(Debug)]
pub enum OpenError {
    /// Another running server holds the folder.
    Held(PathBuf),
    /// The folder cannot be made or used.
    Folder(PathBuf, std::io::Error),
    /// There is no database yet, and this command does not make one.
    NoDatabase(PathBuf),
    /// The database was written by a later version of the program.
    Newer {
        /// Which.
        database: PathBuf,
        /// The last migration it has seen.
        found: i64,
        /// The last one that this program knows.
        known: i64,
    },
    /// The database waits for migrations, which only `serve` runs.
    Older(PathBuf),
    /// SQLite cannot open it, or a migration failed.
    Broken(PathBuf, Box<dyn std::error::Error + Send + Sync>),
}

fn unusable(folder: &Path, cause: std::io::Error) -> OpenError {
    OpenError::Folder(folder.to_owned(), cause)
}

fn newer(database: &Path, found: i64) -> OpenError {
    OpenError::Newer {
        database: database.to_owned(),
        found,
        known: known_version(),
    }
}

pub(super) fn broken(
    database: &Path,
    cause: impl Into<Box<dyn std::error::Error + Send + Sync>>,
) -> OpenError {
    OpenError::Broken(database.to_owned(), cause.into())
}

impl fmt::Display for OpenError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Held(folder) => write!(
                f,
                "the data folder {} is held by another running overwinter; stop that one, or \
                 choose another folder with --data",
                folder.display()
            ),
            Self::Folder(folder, cause) => {
                write!(
                    f,
                    "the data folder {} cannot be used: {cause}",
                    folder.display()
                )
            }
            Self::NoDatabase(path) => write!(
                f,
                "there is no database at {}; start `overwinter serve` once, or point --data at \
                 the right folder",
                path.display()
            ),
            Self::Newer {
                database,
                found,
                known,
            } => write!(
                f,
                "the database {} was written by a newer overwinter (its version is {found}, this \
                 program knows up to {known}); install that version, or restore an older backup",
                database.display()
            ),
            Self::Older(path) => write!(
                f,
                "the database {} is from an older overwinter; start `overwinter serve` once to \
                 bring it up to date",
                path.display()
            ),
            Self::Broken(path, cause) => {
                write!(
                    f,
                    "the database {} cannot be opened: {cause}",
                    path.display()
                )
            }
        }
    }
}

impl std::error::Error for OpenError {}
