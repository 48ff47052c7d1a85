//! Heads of the journal noted outside the server: the line that pages offer, and how it is found
//! again in a mail, a receipt or a saved page.

/// A head that somebody noted elsewhere: from a seal line, a tester's receipt or an edition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Witness {
    /// The chain (a study's id).
    pub chain: String,
    /// Place in the chain.
    pub seq: i64,
    /// The hash that stood there, in hexadecimal digits.
    pub hash: String,
}

impl Witness {
    /// The line that pages offer to note elsewhere.
    #[must_use]
    pub fn line(chain: &str, seq: u64, hash: &str) -> String {
        format!("overwinter journal {chain} entry {seq} sha256 {hash}")
    }

    /// Every such line in a text (a mail, a receipt, a saved page).
    #[must_use]
    pub fn find_all(text: &str) -> Vec<Self> {
        let words = text.split(|c: char| !(c.is_ascii_alphanumeric() || c == '-'));
        let mut last: [&str; 7] = [""; 7];
        let mut found = Vec::new();
        for word in words.filter(|word| !word.is_empty()) {
            last.rotate_left(1);
            if let Some(end) = last.last_mut() {
                *end = word;
            }
            if let ["overwinter", "journal", chain, "entry", seq, "sha256", hash] = last
                && let Ok(seq) = seq.parse()
            {
                found.push(Self {
                    chain: chain.to_owned(),
                    seq,
                    hash: hash.to_ascii_lowercase(),
                });
            }
        }
        found
    }
}
