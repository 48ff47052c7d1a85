//! A consistent copy while the server runs, and putting one back. Both end with the bytes and the
//! folder's entry on disk before they say so.

use super::open::{DATABASE_FILE, broken, check_version, lock_folder, writing};
use super::{OpenError, StoreError};
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{ConnectOptions, Connection};
use std::fmt;
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

/// Our mark in the file's header, as the first migration sets it.
const APPLICATION_ID: i64 = 1_333_162_615;

/// Copies the database of `folder` to `target`, whether a server runs or not.
///
/// # Errors
/// When there is no database, `target` exists, or the disk refuses.
pub async fn backup(folder: &Path, target: &Path) -> Result<(), BackupError> {
    let database = folder.join(DATABASE_FILE);
    if !database.exists() {
        return Err(BackupError::Open(OpenError::NoDatabase(database)));
    }
    if target.exists() {
        return Err(BackupError::TargetExists(target.to_owned()));
    }
    let unfinished = beside(target, "unfinished");
    remove_if_there(&unfinished)?;
    let mut source = reading(&database).await?;
    copy_into(&mut source, &unfinished).await?;
    File::open(&unfinished)?.sync_all()?;
    std::fs::rename(&unfinished, target)?;
    sync_folder_of(target)?;
    Ok(())
}

/// What happened to the database that was there before.
#[derive(Debug, PartialEq, Eq)]
pub enum Restored {
    /// There was none.
    IntoEmpty,
    /// It was kept under this name.
    KeptOldAs(PathBuf),
}

/// Puts `copy` in place of the database of `folder`, which no server may hold.
///
/// # Errors
/// When the folder is held, `copy` is not a sound database of ours, or there is a database and
/// `overwrite` was not said.
pub async fn restore(
    folder: &Path,
    copy: &Path,
    existing: Existing,
) -> Result<Restored, BackupError> {
    std::fs::create_dir_all(folder)?;
    let _held = lock_folder(folder).map_err(BackupError::Open)?;
    let database = folder.join(DATABASE_FILE);
    if database.exists() && existing == Existing::Refuse {
        return Err(BackupError::TargetExists(database));
    }
    check_sound(copy).await?;
    let unfinished = beside(&database, "unfinished");
    std::fs::copy(copy, &unfinished)?;
    File::open(&unfinished)?.sync_all()?;
    let restored = set_aside(&database).await?;
    std::fs::rename(&unfinished, &database)?;
    sync_folder_of(&database)?;
    Ok(restored)
}

/// What to do with a database that is already there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Existing {
    /// Leave it and refuse.
    Refuse,
    /// Keep it under another name and put the copy in its place.
    SetAside,
}

async fn copy_into(source: &mut SqliteConnection, target: &Path) -> Result<(), BackupError> {
    let target = target
        .to_str()
        .ok_or_else(|| BackupError::Name(target.to_owned()))?;
    sqlx::query!("vacuum into ?1", target)
        .execute(source)
        .await
        .map_err(StoreError::while_doing("copying the database"))?;
    Ok(())
}

/// Refuses what is no database of ours, damaged, or written by a newer version.
async fn check_sound(copy: &Path) -> Result<(), BackupError> {
    if !copy.is_file() {
        return Err(BackupError::NotOurs(copy.to_owned()));
    }
    let mut connection = reading(copy).await?;
    let not_ours = |_| BackupError::NotOurs(copy.to_owned());
    let id = sqlx::query_scalar::<_, i64>("pragma application_id")
        .fetch_one(&mut connection)
        .await
        .map_err(not_ours)?;
    let said = sqlx::query_scalar::<_, String>("pragma integrity_check(1)")
        .fetch_one(&mut connection)
        .await
        .map_err(not_ours)?;
    if id != APPLICATION_ID || said != "ok" {
        return Err(BackupError::NotOurs(copy.to_owned()));
    }
    match check_version(&mut connection, copy).await {
        // An older one is welcome: `serve` brings it up to date.
        Ok(()) | Err(OpenError::Older(_)) => Ok(()),
        Err(other) => Err(BackupError::Open(other)),
    }
}

/// Gives the old database a second name, so that the rename that follows replaces it in one step
/// and a crash at any point leaves a whole database under the right name.
async fn set_aside(database: &Path) -> Result<Restored, BackupError> {
    if !database.exists() {
        return Ok(Restored::IntoEmpty);
    }
    fold_log(database).await?;
    let mut number = 1;
    let mut aside = beside(database, "before-restore-1");
    while aside.exists() {
        number += 1;
        aside = beside(database, &format!("before-restore-{number}"));
    }
    std::fs::hard_link(database, &aside)?;
    Ok(Restored::KeptOldAs(aside))
}

/// Folds the write-ahead log into the file: a log left behind would be read into the restored one.
/// A database too damaged for that has its log moved out of the way.
async fn fold_log(database: &Path) -> Result<(), BackupError> {
    let folded = async {
        let mut old = writing(database).connect().await?;
        sqlx::query("pragma wal_checkpoint(truncate)")
            .execute(&mut old)
            .await?;
        old.close().await
    };
    if let Err(error) = folded.await {
        tracing::warn!(%error, "the old database cannot be opened; its log is kept beside it");
    }
    for ending in ["-wal", "-shm"] {
        let mut log = database.as_os_str().to_owned();
        log.push(ending);
        let log = PathBuf::from(log);
        if log.exists() {
            std::fs::rename(&log, beside(&log, "before-restore"))?;
        }
    }
    Ok(())
}

/// A read-only connection without `query_only`, which would forbid `vacuum into`.
async fn reading(database: &Path) -> Result<SqliteConnection, BackupError> {
    let options = SqliteConnectOptions::new()
        .filename(database)
        .read_only(true);
    let opened = options
        .busy_timeout(std::time::Duration::from_secs(10))
        .connect()
        .await;
    opened.map_err(|cause| BackupError::Open(broken(database, cause)))
}

fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".");
    name.push(ending);
    PathBuf::from(name)
}

fn remove_if_there(path: &Path) -> io::Result<()> {
    match std::fs::remove_file(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}

/// A rename is on disk only when its folder is.
fn sync_folder_of(path: &Path) -> io::Result<()> {
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    File::open(folder.unwrap_or(Path::new(".")))?.sync_all()
}

/// Why there is no copy, or nothing was put back.
#[derive(Debug)]
pub enum BackupError {
    /// The data folder or a database could not be opened.
    Open(OpenError),
    /// Something is already where the copy should go.
    TargetExists(PathBuf),
    /// The file is not a sound database of ours.
    NotOurs(PathBuf),
    /// The file name is not UTF-8, which SQLite needs.
    Name(PathBuf),
    /// The disk refused.
    Disk(io::Error),
    /// SQLite refused.
    Store(StoreError),
}

impl From<io::Error> for BackupError {
    fn from(cause: io::Error) -> Self {
        Self::Disk(cause)
    }
}

impl From<StoreError> for BackupError {
    fn from(cause: StoreError) -> Self {
        Self::Store(cause)
    }
}

impl fmt::Display for BackupError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Open(cause) => cause.fmt(f),
            Self::TargetExists(path) => write!(f, "{} exists and was left alone", path.display()),
            Self::NotOurs(path) => {
                write!(f, "{} is not a sound overwinter database", path.display())
            }
            Self::Name(path) => write!(f, "the name {} is not UTF-8", path.display()),
            Self::Disk(cause) => write!(f, "the disk refused: {cause}"),
            Self::Store(cause) => cause.fmt(f),
        }
    }
}

impl std::error::Error for BackupError {}
