//! Moments as the database keeps them: UTC text with milliseconds, of one width, so that they sort.

use super::StoreError;
use chrono::{DateTime, SecondsFormat, Utc};

/// `2026-01-02T03:04:05.678Z`.
pub fn moment_to_text(moment: DateTime<Utc>) -> String {
    moment.to_rfc3339_opts(SecondsFormat::Millis, true)
}

/// Reads a moment back.
///
/// # Errors
/// When the text is not one that this program wrote.
pub fn moment_from_text(text: &str) -> Result<DateTime<Utc>, StoreError> {
    DateTime::parse_from_rfc3339(text)
        .map(|moment| moment.to_utc())
        .map_err(StoreError::while_doing("reading a moment"))
}
