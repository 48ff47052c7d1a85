//! Files → a zip archive whose bytes depend on them alone: no clock, no machine, the order given.

use std::io::{Cursor, Write};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use crate::report::edition::RenderFault;

/// Packs the files. Pictures are packed already and only stored.
pub(super) fn zipped(files: &[(&str, &[u8])]) -> Result<Vec<u8>, RenderFault> {
    let failed = |cause: String| RenderFault::Archive(cause);
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (path, bytes) in files {
        let method = if path.ends_with(".jpg") {
            CompressionMethod::Stored
        } else {
            CompressionMethod::Deflated
        };
        let options = SimpleFileOptions::default()
            .compression_method(method)
            .last_modified_time(DateTime::default())
            .unix_permissions(0o644);
        writer
            .start_file(*path, options)
            .map_err(|cause| failed(cause.to_string()))?;
        writer
            .write_all(bytes)
            .map_err(|cause| failed(cause.to_string()))?;
    }
    let done = writer.finish().map_err(|cause| failed(cause.to_string()))?;
    Ok(done.into_inner())
}
