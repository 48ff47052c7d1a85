//! Proving the journal: every hash, every link of every chain, every note, every file; then the
//! tables, by replaying the journal into an empty database and comparing table by table.
//!
//! A chain proves that nothing inside it was changed. That its end was not cut off, or the whole of
//! it written anew, only a head noted elsewhere can show: see [`Witness`].

mod files;

use std::collections::BTreeSet;
use std::path::Path;

use sqlx::sqlite::SqliteConnection;
use sqlx::{ConnectOptions, Connection};

use super::journal::{self, Row};
use super::{StoreError, open, replay};
use crate::clock::hex;
use crate::study::entry::Entry;
pub use crate::study::witness::Witness;

const DOING: &str = "verifying the journal";
const PAGE: i64 = 500;

/// What `verify` found.
#[derive(Debug, Default)]
pub struct Report {
    /// Chains read.
    pub chains: u64,
    /// Entries read.
    pub entries: u64,
    /// Files whose bytes were hashed.
    pub files: u64,
    /// Tables compared with a replay.
    pub tables: u64,
    /// Outside heads that were looked up.
    pub witnesses: u64,
    /// Everything wrong, one sentence each.
    pub faults: Vec<String>,
}

/// Verifies a database against itself and against heads noted elsewhere.
///
/// # Errors
/// When the database cannot be read at all; what is wrong in it stands in the report.
pub async fn verify(database: &Path, witnesses: &[Witness]) -> Result<Report, StoreError> {
    let mut report = Report::default();
    let folder = tempfile_beside(database)?;
    let scratch = folder.join("replay.db");
    let outcome = async {
        let mut db = open::writing(&scratch)
            .connect()
            .await
            .map_err(StoreError::while_doing(DOING))?;
        replay::make_tables(&mut db).await?;
        attach(&mut db, database).await?;
        integrity(&mut db, &mut report).await?;
        chains(&mut db, &mut report).await?;
        files::blobs(&mut db, &mut report).await?;
        tables(&mut db, &mut report).await?;
        for witness in witnesses {
            check_witness(&mut db, witness, &mut report).await?;
        }
        db.close().await.map_err(StoreError::while_doing(DOING))
    }
    .await;
    let removed = std::fs::remove_dir_all(&folder).map_err(StoreError::while_doing(DOING));
    outcome.and(removed).map(|()| report)
}

fn tempfile_beside(database: &Path) -> Result<std::path::PathBuf, StoreError> {
    let folder = database.with_extension(format!("verify-{}", std::process::id()));
    if folder.exists() {
        std::fs::remove_dir_all(&folder).map_err(StoreError::while_doing(DOING))?;
    }
    std::fs::create_dir(&folder).map_err(StoreError::while_doing(DOING))?;
    Ok(folder)
}

/// Attaches the live database read-only under the name `live`; views of the same names make the
/// journal readable to the same questions.
async fn attach(db: &mut SqliteConnection, database: &Path) -> Result<(), StoreError> {
    let address = format!("file:{}?mode=ro", uri_path(database));
    sqlx::query("attach database ?1 as live")
        .bind(address)
        .execute(&mut *db)
        .await
        .map_err(StoreError::while_doing(DOING))?;
    // One snapshot for everything that follows, while the server may go on writing.
    sqlx::query("begin")
        .execute(&mut *db)
        .await
        .map_err(StoreError::while_doing(DOING))?;
    sqlx::query("create temp view journal as select * from live.journal")
        .execute(&mut *db)
        .await
        .map_err(StoreError::while_doing(DOING))?;
    Ok(())
}

/// A path as the path of a `file:` address.
fn uri_path(path: &Path) -> String {
    let text = path.to_string_lossy();
    text.replace('%', "%25")
        .replace('?', "%3f")
        .replace('#', "%23")
}

async fn integrity(db: &mut SqliteConnection, report: &mut Report) -> Result<(), StoreError> {
    let lines = sqlx::query_scalar::<_, String>("pragma live.integrity_check")
        .fetch_all(db)
        .await
        .map_err(StoreError::while_doing(DOING))?;
    report.faults.extend(
        lines
            .into_iter()
            .filter(|line| line != "ok")
            .map(|line| format!("SQLite finds: {line}")),
    );
    Ok(())
}

async fn chains(db: &mut SqliteConnection, report: &mut Report) -> Result<(), StoreError> {
    let chains = journal::chains(db)
        .await
        .map_err(StoreError::while_doing(DOING))?;
    for chain in chains {
        report.chains += 1;
        let erased = erased_notes(db, &chain, report).await?;
        one_chain(db, &chain, &erased, report).await?;
    }
    Ok(())
}

/// The entries whose note was erased by an entry; their missing notes are in order.
async fn erased_notes(
    db: &mut SqliteConnection,
    chain: &str,
    report: &mut Report,
) -> Result<BTreeSet<String>, StoreError> {
    let mut erased = BTreeSet::new();
    let mut seq = 0;
    loop {
        let rows = journal::rows_after(db, chain, seq, PAGE).await;
        let rows = rows.map_err(StoreError::while_doing(DOING))?;
        let Some(last) = rows.last() else {
            return Ok(erased);
        };
        seq = last.seq;
        for row in rows.iter().filter(|row| row.kind == "note_erased") {
            match row.entry() {
                Ok(Entry::NoteErased { entry }) => {
                    erased.insert(entry.to_string());
                }
                _ => report
                    .faults
                    .push(format!("{}: its body cannot be read.", place(row))),
            }
        }
    }
}

fn place(row: &Row) -> String {
    format!(
        "Journal {}, entry {} ({}, {})",
        row.chain, row.seq, row.kind, row.id
    )
}

async fn one_chain(
    db: &mut SqliteConnection,
    chain: &str,
    erased: &BTreeSet<String>,
    report: &mut Report,
) -> Result<(), StoreError> {
    let (mut seq, mut prev) = (0, journal::genesis(chain).to_vec());
    loop {
        let rows = journal::rows_after(db, chain, seq, PAGE).await;
        let rows = rows.map_err(StoreError::while_doing(DOING))?;
        if rows.is_empty() {
            return Ok(());
        }
        for row in rows {
            report.entries += 1;
            if row.seq != seq + 1 {
                report.faults.push(format!(
                    "{}: {} is missing before it.",
                    place(&row),
                    seq + 1
                ));
            }
            one_row(&row, &prev, erased, report);
            (seq, prev) = (row.seq, row.hash);
        }
    }
}

fn one_row(row: &Row, prev: &[u8], erased: &BTreeSet<String>, report: &mut Report) {
    let mut fault = |sentence: &str| report.faults.push(format!("{}: {sentence}", place(row)));
    if row.prev_hash != prev {
        fault("it does not follow the entry before it.");
    }
    if row.hash_of().as_slice() != row.hash {
        fault("its hash does not fit its content: something in it was changed.");
    }
    match row.note_fits() {
        Err(_) => fault("its body cannot be read."),
        Ok(None) if row.note.is_some() => fault("it has a note that it did not have when written."),
        Ok(Some(Some(false))) => fault("its note was changed."),
        Ok(Some(None)) if !erased.contains(&row.id) => {
            fault("its note is gone, and no entry says that it was erased.");
        }
        Ok(_) => {}
    }
    if row.entry().is_err() {
        fault("it is of a kind or version that this program cannot read.");
    }
    if row.received_at().is_err() {
        fault("its time cannot be read.");
    }
}

macro_rules! comparisons {
    ($($table:literal),+ $(,)?) => {
        /// For each table: its name, what the replay has and the table has not, and the reverse.
        const COMPARISONS: &[(&str, &str, &str)] = &[$((
            $table,
            concat!("select count(*) from (select * from main.", $table,
                " except select * from live.", $table, ")"),
            concat!("select count(*) from (select * from live.", $table,
                " except select * from main.", $table, ")"),
        )),+];
    };
}

comparisons!(
    "study",
    "study_steward",
    "plan",
    "seal",
    "instrument",
    "instrument_check",
    "specimen",
    "reading",
    "voiding",
    "draw",
    "waiver",
    "drying",
    "drying_override",
    "series",
    "cited_figure",
    "event",
    "incident",
    "photograph",
    "photograph_of",
    "consignment",
    "piece",
    "parcel_event",
    "equipment",
    "test_session",
    "settlement",
    "arrival_photograph",
    "transit",
    "reopening",
    "break_test",
    "curve",
    "lab_link",
    "edition",
    "edition_file",
    "witness",
);

async fn tables(db: &mut SqliteConnection, report: &mut Report) -> Result<(), StoreError> {
    if let Err(error) = replay::replay(db).await {
        report
            .faults
            .push(format!("The journal cannot be replayed: {error}."));
        return Ok(());
    }
    for (table, missing, surplus) in COMPARISONS {
        report.tables += 1;
        for (query, what) in [
            (missing, "missing or different"),
            (surplus, "surplus or different"),
        ] {
            let count = sqlx::query_scalar::<_, i64>(*query)
                .fetch_one(&mut *db)
                .await
                .map_err(StoreError::while_doing(DOING))?;
            if count > 0 {
                report.faults.push(format!(
                    "Table {table}: {count} rows are {what} against a replay of the journal; \
                     `verify --rebuild` builds it anew."
                ));
            }
        }
    }
    Ok(())
}

async fn check_witness(
    db: &mut SqliteConnection,
    witness: &Witness,
    report: &mut Report,
) -> Result<(), StoreError> {
    report.witnesses += 1;
    let hash = sqlx::query_scalar::<_, Vec<u8>>(
        "select hash from live.journal where chain = ?1 and seq = ?2",
    )
    .bind(&witness.chain)
    .bind(witness.seq)
    .fetch_optional(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let name = format!("Journal {}, entry {}", witness.chain, witness.seq);
    match hash {
        None => report.faults.push(format!(
            "{name}: noted elsewhere, but gone here: the end was cut off."
        )),
        Some(hash) if hex(&hash) != witness.hash => report.faults.push(format!(
            "{name}: another hash was noted elsewhere: the journal was written anew."
        )),
        Some(_) => {}
    }
    Ok(())
}
