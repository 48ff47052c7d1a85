//! The journal's rows and their chain: how an entry is written, hashed and read back. Who may write
//! is decided in `writer.rs`, what follows from an entry in `apply/`.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use sqlx::sqlite::SqliteConnection;
use subtle::ConstantTimeEq;

use super::{StoreError, moment_from_text, moment_to_text};
use crate::clock::hex;
use crate::study::entry::{ChainLine, Entry, Envelope, Receipt, VERSION};

/// A row of the journal, as stored.
#[derive(Debug, Clone)]
pub(super) struct Row {
    pub chain: String,
    pub seq: i64,
    pub id: String,
    pub kind: String,
    pub version: i64,
    pub actor: String,
    pub device: String,
    pub device_seq: i64,
    pub taken_at: String,
    pub received_at: String,
    pub time_zone: String,
    pub note: Option<String>,
    pub note_salt: Option<Vec<u8>>,
    pub prev_hash: Vec<u8>,
    pub salt: Vec<u8>,
    pub body: Vec<u8>,
    pub hash: Vec<u8>,
}

/// What is hashed as the body: the entry's own body and, when it has a note, the note's salted hash.
#[derive(Serialize, Deserialize)]
struct Content {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    note_sha256: Option<String>,
    body: serde_json::Value,
}

/// The hash before a chain's first entry.
pub(super) fn genesis(chain: &str) -> [u8; 32] {
    Sha256::new()
        .chain_update("overwinter journal 1\n")
        .chain_update(chain)
        .finalize()
        .into()
}

fn note_hash(salt: &[u8], note: &str) -> String {
    hex(&Sha256::new()
        .chain_update(salt)
        .chain_update(note)
        .finalize())
}

impl Row {
    /// The row for a new entry, at a place in its chain.
    pub(super) fn new(
        envelope: &Envelope,
        (seq, prev_hash): (i64, &[u8]),
        received_at: DateTime<Utc>,
        salts: ([u8; 16], [u8; 16]),
    ) -> Result<Self, StoreError> {
        let failed = "writing an entry as JSON";
        let (kind, body) = envelope
            .entry
            .to_parts()
            .map_err(StoreError::while_doing(failed))?;
        let note = envelope.note.clone().filter(|note| !note.is_empty());
        let note_sha256 = note.as_deref().map(|note| note_hash(&salts.1, note));
        let content = Content { note_sha256, body };
        let mut row = Self {
            chain: envelope.chain.to_string(),
            seq,
            id: envelope.id.to_string(),
            kind,
            version: i64::from(VERSION),
            actor: envelope.actor.to_string(),
            device: envelope.device.clone(),
            device_seq: i64::try_from(envelope.device_seq).unwrap_or(i64::MAX),
            taken_at: moment_to_text(envelope.taken_at),
            received_at: moment_to_text(received_at),
            time_zone: envelope.time_zone.clone(),
            note_salt: note.is_some().then(|| salts.1.to_vec()),
            note,
            prev_hash: prev_hash.to_vec(),
            salt: salts.0.to_vec(),
            body: serde_json::to_vec(&content).map_err(StoreError::while_doing(failed))?,
            hash: Vec::new(),
        };
        row.hash = row.hash_of().to_vec();
        Ok(row)
    }

    fn content_hash(&self) -> [u8; 32] {
        Sha256::new()
            .chain_update(&self.salt)
            .chain_update(&self.body)
            .finalize()
            .into()
    }

    /// The hash that this row must have: over the previous hash, every member of the header with its
    /// length before it, and the SHA-256 of salt and body.
    pub(super) fn hash_of(&self) -> [u8; 32] {
        let content = self.content_hash();
        let seq = self.seq.to_string();
        let (version, device_seq) = (self.version.to_string(), self.device_seq.to_string());
        let header = [
            &self.chain,
            &seq,
            &self.id,
            &self.kind,
            &version,
            &self.actor,
            &self.device,
            &device_seq,
            &self.taken_at,
            &self.received_at,
            &self.time_zone,
        ];
        let mut hash = Sha256::new().chain_update(&self.prev_hash);
        for member in header {
            hash.update((member.len() as u64).to_be_bytes());
            hash.update(member);
        }
        hash.chain_update(content).finalize().into()
    }

    fn content(&self) -> Result<Content, StoreError> {
        serde_json::from_slice(&self.body)
            .map_err(StoreError::while_doing("reading an entry's body"))
    }

    /// The entry in this row.
    pub(super) fn entry(&self) -> Result<Entry, StoreError> {
        let version = u32::try_from(self.version).unwrap_or(u32::MAX);
        Entry::read(&self.kind, version, self.content()?.body)
            .map_err(StoreError::while_doing("reading an entry"))
    }

    /// What the body says about a note: `None` when it had none, else whether the note that stands
    /// beside it is that one (`Some(None)`: it is gone).
    pub(super) fn note_fits(&self) -> Result<Option<Option<bool>>, StoreError> {
        let Some(expected) = self.content()?.note_sha256 else {
            return Ok(None);
        };
        let there = self.note.as_deref().zip(self.note_salt.as_deref());
        Ok(Some(there.map(|(note, salt)| {
            note_hash(salt, note)
                .as_bytes()
                .ct_eq(expected.as_bytes())
                .into()
        })))
    }

    /// The journal's answer to the sender.
    pub(super) fn receipt(&self, is_repeat: bool) -> Result<Receipt, StoreError> {
        Ok(Receipt {
            id: self
                .id
                .parse()
                .map_err(StoreError::while_doing("reading an entry's id"))?,
            chain: self.chain.clone(),
            seq: u64::try_from(self.seq).unwrap_or(0),
            hash: hex(&self.hash),
            is_repeat,
        })
    }

    /// The row as it may be handed out.
    pub(super) fn line(self) -> Result<ChainLine, StoreError> {
        let content = self.content_hash();
        let body = String::from_utf8(self.body);
        Ok(ChainLine {
            seq: u64::try_from(self.seq).unwrap_or(0),
            chain: self.chain,
            id: self.id,
            kind: self.kind,
            version: self.version.to_string(),
            actor: self.actor,
            device: self.device,
            device_seq: self.device_seq.to_string(),
            taken_at: self.taken_at,
            received_at: self.received_at,
            time_zone: self.time_zone,
            salt: hex(&self.salt),
            body: body.map_err(StoreError::while_doing("reading an entry's body"))?,
            content_sha256: hex(&content),
            hash: hex(&self.hash),
        })
    }

    /// When the server received it.
    pub(super) fn received_at(&self) -> Result<DateTime<Utc>, StoreError> {
        moment_from_text(&self.received_at)
    }
}

/// Place and hash of the last entry of a chain: (0, genesis) before the first.
pub(super) async fn head(
    db: &mut SqliteConnection,
    chain: &str,
) -> Result<(i64, Vec<u8>), sqlx::Error> {
    let last = sqlx::query!(
        "select seq, hash from journal where chain = ?1 order by seq desc limit 1",
        chain
    )
    .fetch_optional(db)
    .await?;
    Ok(last.map_or_else(|| (0, genesis(chain).to_vec()), |row| (row.seq, row.hash)))
}

/// The row with an id, when the journal has it.
pub(super) async fn row_by_id(
    db: &mut SqliteConnection,
    id: &str,
) -> Result<Option<Row>, sqlx::Error> {
    sqlx::query_as!(
        Row,
        "select chain, seq, id, kind, version, actor, device, device_seq, taken_at, received_at,
            time_zone, note, note_salt, prev_hash, salt, body, hash
        from journal
        where id = ?1",
        id
    )
    .fetch_optional(db)
    .await
}

/// The next rows of a chain after a place in it, at most `limit`.
pub(super) async fn rows_after(
    db: &mut SqliteConnection,
    chain: &str,
    seq: i64,
    limit: i64,
) -> Result<Vec<Row>, sqlx::Error> {
    sqlx::query_as!(
        Row,
        "select chain, seq, id, kind, version, actor, device, device_seq, taken_at, received_at,
            time_zone, note, note_salt, prev_hash, salt, body, hash
        from journal
        where chain = ?1 and seq > ?2
        order by seq
        limit ?3",
        chain,
        seq,
        limit
    )
    .fetch_all(db)
    .await
}

/// Every chain, the server's first: studies name accounts that it opened.
pub(super) async fn chains(db: &mut SqliteConnection) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select distinct chain as "chain!" from journal order by chain <> 'server', chain"#
    )
    .fetch_all(db)
    .await
}

/// Appends a row.
pub(super) async fn append(db: &mut SqliteConnection, row: &Row) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into journal (chain, seq, id, kind, version, actor, device, device_seq, taken_at,
            received_at, time_zone, note, note_salt, prev_hash, salt, body, hash)
        values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17)",
        row.chain,
        row.seq,
        row.id,
        row.kind,
        row.version,
        row.actor,
        row.device,
        row.device_seq,
        row.taken_at,
        row.received_at,
        row.time_zone,
        row.note,
        row.note_salt,
        row.prev_hash,
        row.salt,
        row.body,
        row.hash,
    )
    .execute(db)
    .await
    .map(|_| ())
}

/// Erases the note of an entry and its salt, so that the hash in the body can no longer be tried.
pub(super) async fn erase_note(db: &mut SqliteConnection, id: &str) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update journal set note = null, note_salt = null where id = ?1",
        id
    )
    .execute(db)
    .await
    .map(|_| ())
}
