//! Sentences cut into runs that a page sets differently: the verdict in bold, a number kept on one
//! line with its per cent sign.

use crate::analysis::sentence::Sentence;

/// A run of words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Run {
    /// The words.
    pub text: String,
    /// Part of the verdict.
    pub is_verdict: bool,
    /// Must stay on one line.
    pub is_tied: bool,
}

/// A sentence as runs.
#[must_use]
pub fn runs(sentence: &Sentence) -> Vec<Run> {
    let mut found = Vec::new();
    for span in &sentence.0 {
        let mut put = |text: &str, is_tied: bool| {
            if !text.is_empty() {
                found.push(Run {
                    text: text.to_owned(),
                    is_verdict: span.is_verdict,
                    is_tied,
                });
            }
        };
        let mut rest = span.text.as_str();
        while let Some(at) = rest.find(" %") {
            let (before, after) = rest.split_at(at);
            let start = before.rfind(' ').map_or(0, |blank| blank + 1);
            let (words, number) = before.split_at(start);
            put(words, false);
            put(&format!("{number} %"), true);
            rest = after.strip_prefix(" %").unwrap_or_default();
        }
        put(rest, false);
    }
    found
}

/// Words without a verdict as runs.
#[must_use]
pub fn tied(text: impl Into<String>) -> Vec<Run> {
    runs(&Sentence::plain(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_lost_or_added() {
        let sentence = Sentence::plain("4 % less (6 % less to 1 % more). ")
            .verdict("Unchanged within ±10 %")
            .and(": 95 % of it.");
        let found = runs(&sentence);
        let back: String = found.iter().map(|run| run.text.as_str()).collect();
        assert_eq!(back, sentence.to_string());
        let tied: Vec<&str> = found
            .iter()
            .filter(|r| r.is_tied)
            .map(|r| r.text.as_str())
            .collect();
        assert_eq!(tied, ["4 %", "(6 %", "1 %", "±10 %", "95 %"]);
    }
}
