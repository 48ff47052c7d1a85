//! Publishing: a study's findings rendered once into files, the files kept by their content, and the
//! entry that names them. Used by the steward's page and by the demo.

use std::collections::BTreeSet;
use std::fmt;

use crate::analysis::findings::Findings;
use crate::clock::{Clock, hex};
use crate::report::changes::Previous;
use crate::report::edition::{File, RenderFault, render};
use crate::report::format::day;
use crate::report::package::{Curve, Extra};
use crate::report::page::Meta;
use crate::report::photograph;
use crate::store::read::edition::EditionFound;
use crate::store::{Blob, MAX_BLOB_BYTES, Store};
use crate::study::code::BlindCode;
use crate::study::curve::codes_in;
use crate::study::edition::{EditionFile, Published};
use crate::study::licence::Licence;
use crate::study::plan::sha256_hex;
use crate::study::record::StudyRecord;

/// Why there is no edition.
#[derive(Debug)]
pub enum NotPublished {
    /// Nothing is unblinded yet.
    NoResults,
    /// A file is larger than the database keeps.
    TooLarge(String),
    /// Our own failure.
    Ours(Box<dyn std::error::Error + Send + Sync>),
}

impl fmt::Display for NotPublished {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoResults => {
                f.write_str("Nothing is unblinded yet, so there is nothing to publish.")
            }
            Self::TooLarge(path) => {
                write!(f, "The file {path} of the edition is larger than 32 MB.")
            }
            Self::Ours(cause) => cause.fmt(f),
        }
    }
}

impl std::error::Error for NotPublished {}

/// What the steward and the server say about an edition beside its findings.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Choice {
    /// The licence of its data.
    pub licence: Option<Licence>,
    /// The server's own address, when it knows it.
    pub origin: Option<String>,
}

/// Renders the next edition of a study and keeps its files; the entry that publishes it is the
/// caller's to submit. Files of an entry that is then refused stay behind and harm nobody.
///
/// # Errors
/// [`NotPublished`].
pub async fn freeze(
    store: &Store,
    clock: &Clock,
    record: &StudyRecord,
    findings: &Findings,
    choice: Choice,
) -> Result<Published, NotPublished> {
    if !findings.standing.has_results() {
        return Err(NotPublished::NoResults);
    }
    let meta = Meta {
        number: u32::try_from(record.editions.len() + 1).unwrap_or(u32::MAX),
        at: clock.now(),
        current_href: format!("../../../{}", record.slug),
        program: env!("CARGO_PKG_VERSION").to_owned(),
        licence: choice.licence,
        origin: choice.origin,
    };
    let rendered = rendered(store, record, findings, &meta).await?;
    let mut files = Vec::with_capacity(rendered.len());
    let mut findings_sha256 = String::new();
    for file in rendered {
        if file.bytes.len() > MAX_BLOB_BYTES {
            return Err(NotPublished::TooLarge(file.path));
        }
        if file.path == "findings.json" {
            findings_sha256 = sha256_hex(&file.bytes);
        }
        let blob = Blob {
            media_type: file.media_type.clone(),
            bytes: file.bytes,
        };
        let kept = store.put_blob(&blob).await.map_err(ours)?;
        files.push(EditionFile {
            path: file.path,
            media_type: file.media_type,
            sha256: hex(&kept),
        });
    }
    Ok(Published {
        number: meta.number,
        is_interim: !findings.standing.is_final,
        head: record.head.clone(),
        findings_sha256,
        licence: meta.licence,
        files,
    })
}

fn ours(cause: impl std::error::Error + Send + Sync + 'static) -> NotPublished {
    NotPublished::Ours(Box::new(cause))
}

/// Every file of the edition, made off the threads that answer readers.
async fn rendered(
    store: &Store,
    record: &StudyRecord,
    findings: &Findings,
    meta: &Meta,
) -> Result<Vec<File>, NotPublished> {
    let values = store.series_values(record).await.map_err(ours)?;
    let extra = Extra {
        journal: store.chain_lines(record).await.map_err(ours)?,
        curves: curves(store, record).await?,
        photographs: photographs(store, record, meta.number).await?,
        previous: previous(store, record).await?,
        most_bytes: MAX_BLOB_BYTES,
    };
    let (record, findings, meta) = (record.clone(), findings.clone(), meta.clone());
    let all = move || {
        let mut files = render(&record, &findings, &values, &extra, &meta)?;
        files.extend(extra.photographs);
        Ok::<_, RenderFault>(files)
    };
    let made = tokio::task::spawn_blocking(all).await.map_err(ours)?;
    made.map_err(ours)
}

/// The edition before this one that still stands, as it was published.
async fn previous(store: &Store, record: &StudyRecord) -> Result<Option<Previous>, NotPublished> {
    let standing = record.editions.iter().rev();
    let Some(last) = standing.into_iter().find(|e| e.withdrawn.is_none()) else {
        return Ok(None);
    };
    let file = store
        .edition_file(&record.slug, last.number, "findings.json")
        .await;
    let EditionFound::File(file) = file.map_err(ours)? else {
        return Ok(None);
    };
    Ok(Some(Previous {
        number: last.number,
        day: day(last.at, &record.time_zone),
        findings: serde_json::from_slice(&file.bytes).map_err(ours)?,
    }))
}

/// The curves of every unblinded consignment. A machine's file that also holds pieces of one that is
/// still blind stays out.
async fn curves(store: &Store, record: &StudyRecord) -> Result<Vec<Curve>, NotPublished> {
    let (blind, open): (Vec<_>, Vec<_>) = record.consignments.iter().partition(|c| c.is_blind());
    let mut codes = Vec::new();
    let mut shared = BTreeSet::new();
    for consignment in blind {
        codes.extend(consignment.pieces.iter().map(|piece| &piece.blind));
        let kept = store.curves_of(consignment.id).await.map_err(ours)?;
        shared.extend(kept.into_iter().map(|curve| curve.file_sha256));
    }
    let mut curves = Vec::new();
    for consignment in open {
        for kept in store.curves_of(consignment.id).await.map_err(ours)? {
            let bytes = picture(store, &kept.file_sha256).await?;
            let is_shared = shared.contains(&kept.file_sha256) || names_one(&bytes, &codes);
            curves.push(Curve {
                kept,
                bytes: (!is_shared).then_some(bytes),
            });
        }
    }
    Ok(curves)
}

/// Whether a file's text names one of these codes, in whatever encoding its letters are ASCII.
fn names_one(bytes: &[u8], codes: &[&BlindCode]) -> bool {
    let plain = bytes.iter().filter(|byte| **byte != 0).copied().collect();
    let text = String::from_utf8(plain).unwrap_or_else(|cause| {
        let bytes = cause.into_bytes();
        bytes.into_iter().map(char::from).collect()
    });
    !codes_in(&text, codes).is_empty()
}

/// The files of the photographs that the steward released and the blind allows.
async fn photographs(
    store: &Store,
    record: &StudyRecord,
    number: u32,
) -> Result<Vec<File>, NotPublished> {
    let mut bytes = Vec::new();
    for photo in record.public_photographs() {
        let files = &photo.photograph.files;
        bytes.push(photograph::Bytes {
            entry: photo.entry,
            large: picture(store, &files.large).await?,
            small: picture(store, &files.small).await?,
        });
    }
    photograph::files(record, number, bytes).map_err(ours)
}

async fn picture(store: &Store, sha256: &str) -> Result<Vec<u8>, NotPublished> {
    let found = store.find_blob_by_hex(sha256).await.map_err(ours)?;
    let missing = || NotPublished::Ours(format!("the file {sha256} is missing").into());
    found.map(|blob| blob.bytes).ok_or_else(missing)
}
