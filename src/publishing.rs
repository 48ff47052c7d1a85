//! Publishing: a study's findings rendered once into files, the files kept by their content, and the
//! entry that names them. Used by the steward's page and by the demo.

use std::fmt;

use crate::analysis::findings::Findings;
use crate::clock::{Clock, hex};
use crate::report::edition::render;
use crate::report::page::Meta;
use crate::report::{edition::File, photograph};
use crate::store::{Blob, MAX_BLOB_BYTES, Store};
use crate::study::edition::{EditionFile, Published};
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
) -> Result<Published, NotPublished> {
    if !findings.standing.has_results() {
        return Err(NotPublished::NoResults);
    }
    let number = u32::try_from(record.editions.len() + 1).unwrap_or(u32::MAX);
    let meta = Meta {
        number,
        at: clock.now(),
        current_href: format!("../../../{}", record.slug),
        program: env!("CARGO_PKG_VERSION").to_owned(),
    };
    let values = store.series_values(record).await;
    let values = values.map_err(|e| NotPublished::Ours(Box::new(e)))?;
    let mut rendered =
        render(record, findings, &values, &meta).map_err(|e| NotPublished::Ours(Box::new(e)))?;
    rendered.append(&mut photographs(store, record, number).await?);
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
        let kept = store
            .put_blob(&blob)
            .await
            .map_err(|e| NotPublished::Ours(Box::new(e)))?;
        files.push(EditionFile {
            path: file.path,
            media_type: file.media_type,
            sha256: hex(&kept),
        });
    }
    Ok(Published {
        number,
        is_interim: !findings.standing.is_final,
        head: record.head.clone(),
        findings_sha256,
        files,
    })
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
    photograph::files(record, number, bytes).map_err(|e| NotPublished::Ours(Box::new(e)))
}

async fn picture(store: &Store, sha256: &str) -> Result<Vec<u8>, NotPublished> {
    let found = store.find_blob_by_hex(sha256).await;
    let found = found.map_err(|e| NotPublished::Ours(Box::new(e)))?;
    let missing = || NotPublished::Ours(format!("the picture {sha256} is missing").into());
    found.map(|blob| blob.bytes).ok_or_else(missing)
}
