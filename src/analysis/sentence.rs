//! Sentences as data: plain words with the verdict words marked, so that a page can set them in
//! bold without ever writing markup into a text.

use std::fmt;

use serde::{Deserialize, Serialize};

/// A run of words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Span {
    /// The words.
    pub text: String,
    /// Whether they are the verdict.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub is_verdict: bool,
}

/// One or more sentences that stand together.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Sentence(pub Vec<Span>);

impl Sentence {
    /// Words without a verdict.
    #[must_use]
    pub fn plain(text: impl Into<String>) -> Self {
        Self::default().and(text)
    }

    /// The same with more words.
    #[must_use]
    pub fn and(mut self, text: impl Into<String>) -> Self {
        self.0.push(Span {
            text: text.into(),
            is_verdict: false,
        });
        self
    }

    /// The same with a verdict.
    #[must_use]
    pub fn verdict(mut self, text: impl Into<String>) -> Self {
        self.0.push(Span {
            text: text.into(),
            is_verdict: true,
        });
        self
    }

    /// With the verdict between double asterisks, as the practice handbook writes it.
    #[must_use]
    pub fn marked(&self) -> String {
        let mark = |span: &Span| {
            if span.is_verdict {
                format!("**{}**", span.text)
            } else {
                span.text.clone()
            }
        };
        self.0.iter().map(mark).collect()
    }
}

impl fmt::Display for Sentence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|span| f.write_str(&span.text))
    }
}
