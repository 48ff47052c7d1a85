//! Where photographs are made clean and kept: one at a time, off the threads that answer requests.

use super::App;
use super::fault::WebFault;
use crate::picture::{self, Clean, Refused};
use crate::store::{Blob, Store, StoreError};
use crate::study::ids::EntryId;
use crate::study::photograph::Files;
use axum::body::Bytes;
use std::sync::Arc;
use tokio::sync::Semaphore;

/// What the pictures made here are.
pub const JPEG: &str = "image/jpeg";

/// One of the two pictures that are kept of a photograph, by the name with which its address ends.
///
/// # Errors
/// Not found under any other name; a fault of ours when the file is gone.
pub(super) async fn picture(store: &Store, files: &Files, name: &str) -> Result<Blob, WebFault> {
    let sha256 = match name {
        "large.jpg" => &files.large,
        "small.jpg" => &files.small,
        _ => return Err(WebFault::NotFound),
    };
    let blob = store.find_blob_by_hex(sha256).await?;
    blob.ok_or_else(|| WebFault::ours("a photograph's file is missing"))
}

/// The darkroom's one place.
#[derive(Clone)]
pub(crate) struct Darkroom(Arc<Semaphore>);

impl Default for Darkroom {
    fn default() -> Self {
        Self(Arc::new(Semaphore::new(1)))
    }
}

/// Why there are no pictures.
#[derive(Debug)]
pub(super) enum Undeveloped {
    /// It is no photograph that we take; the sentence is for its sender.
    Refused(Refused),
    /// A fault of the server.
    Fault(WebFault),
}

impl Darkroom {
    /// The clean pictures. The place is given back only when the work is over, also when nobody
    /// waits for it any longer.
    async fn clean(&self, bytes: Bytes) -> Result<Clean, Undeveloped> {
        let place = Arc::clone(&self.0).acquire_owned().await;
        let place = place.map_err(|closed| Undeveloped::Fault(WebFault::ours(closed)))?;
        let work = tokio::task::spawn_blocking(move || {
            let clean = picture::clean(&bytes);
            drop(place);
            clean
        });
        match work.await {
            Ok(clean) => clean.map_err(Undeveloped::Refused),
            // A decoder that gave up on a hostile file: its sender is told that it is damaged.
            Err(broken) => {
                tracing::warn!(%broken, "a picture broke its decoder");
                Err(Undeveloped::Refused(Refused::Damaged))
            }
        }
    }
}

/// Keeps the pictures made of these bytes.
///
/// # Errors
/// When the disk refuses.
pub(crate) async fn keep(store: &Store, clean: Clean, sent: &[u8]) -> Result<Files, StoreError> {
    let files = Files {
        width: clean.width,
        height: clean.height,
        large: picture::sha256(&clean.large),
        small: picture::sha256(&clean.small),
        sent: picture::sha256(sent),
    };
    for bytes in [clean.large, clean.small] {
        let media_type = JPEG.to_owned();
        store.put_blob(&Blob { media_type, bytes }).await?;
    }
    Ok(files)
}

/// Makes the pictures of the photograph that this entry is to hold, and keeps them. When the entry
/// holds the same bytes already, its own files are the answer, so that it may be sent again.
///
/// # Errors
/// [`Undeveloped`].
pub(super) async fn develop(app: &App, entry: EntryId, bytes: Bytes) -> Result<Files, Undeveloped> {
    let fault = |error| Undeveloped::Fault(WebFault::from(error));
    let sent = picture::sha256(&bytes);
    let known = app.store.photograph_files(entry).await.map_err(fault)?;
    if let Some(files) = known.filter(|files| files.sent == sent) {
        return Ok(files);
    }
    let clean = app.darkroom.clean(bytes.clone()).await?;
    keep(&app.store, clean, &bytes).await.map_err(fault)
}
