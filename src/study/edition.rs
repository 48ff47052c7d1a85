//! A published edition: frozen files, named by the hash of their bytes.

use serde::{Deserialize, Serialize};

use super::licence::Licence;

/// One file of an edition.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EditionFile {
    /// Its address within the edition (`index.html`, `data.csv` …).
    pub path: String,
    /// Its media type.
    pub media_type: String,
    /// SHA-256 of its bytes, in hexadecimal digits.
    pub sha256: String,
}

/// An edition as it is published.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Published {
    /// Its number, from 1.
    pub number: u32,
    /// Whether it appeared before the primary stage had results.
    pub is_interim: bool,
    /// The hash of the journal's last entry on which it rests.
    pub head: String,
    /// SHA-256 of the findings file.
    pub findings_sha256: String,
    /// The licence of its data; editions from before there was a choice have none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub licence: Option<Licence>,
    /// Its files.
    pub files: Vec<EditionFile>,
}
