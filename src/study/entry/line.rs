//! A line of a study's journal as it may be handed out: enough to follow the chain of hashes, and the
//! body only where it may be read.

/// One entry of a chain, every member exactly as it was hashed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChainLine {
    /// Its chain.
    pub chain: String,
    /// Its place, from 1.
    pub seq: u64,
    /// Its id.
    pub id: String,
    /// What kind of entry.
    pub kind: String,
    /// Version of its kind.
    pub version: String,
    /// Who recorded it: a kind and a number, never a name.
    pub actor: String,
    /// On what device.
    pub device: String,
    /// The device's own running number.
    pub device_seq: String,
    /// When, by the device's clock.
    pub taken_at: String,
    /// When the server received it.
    pub received_at: String,
    /// Time zone of the device.
    pub time_zone: String,
    /// The salt of its body, in hexadecimal digits.
    pub salt: String,
    /// Its body as stored.
    pub body: String,
    /// SHA-256 of salt and body, in hexadecimal digits.
    pub content_sha256: String,
    /// Its hash.
    pub hash: String,
}
