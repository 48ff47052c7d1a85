//! The answer as a page sets it: each sentence with the mark of its verdict.

use crate::analysis::findings::Findings;
use crate::analysis::primary::Judged;
use crate::analysis::verdict::Verdict;
use crate::report::runs::{Run, runs};

/// What stands before a sentence; its words say the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// Changed, by more than the margin: full.
    Beyond,
    /// Changed; whether beyond the margin is open: half full.
    Changed,
    /// Changed within the margin: a dot.
    Within,
    /// Unchanged within the margin: two equal bars.
    Unchanged,
    /// Not settled: broken.
    NotSettled,
    /// No verdict: a dash.
    None,
}

impl From<Option<Verdict>> for Mark {
    fn from(verdict: Option<Verdict>) -> Self {
        match verdict {
            Some(Verdict::ChangedBeyond) => Self::Beyond,
            Some(Verdict::Changed) => Self::Changed,
            Some(Verdict::ChangedWithin) => Self::Within,
            Some(Verdict::Unchanged) => Self::Unchanged,
            Some(Verdict::NotSettled) => Self::NotSettled,
            None => Self::None,
        }
    }
}

/// One sentence of the answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// Its mark.
    pub mark: Mark,
    /// Its words.
    pub runs: Vec<Run>,
}

/// One for each condition.
#[must_use]
pub fn answers(findings: &Findings) -> Vec<Answer> {
    let judged = findings.primary.iter().flat_map(|primary| &primary.judged);
    let marks = judged.map(mark).chain(std::iter::repeat(Mark::None));
    let both = findings.answer.iter().zip(marks);
    both.map(|(sentence, mark)| Answer {
        mark,
        runs: runs(sentence),
    })
    .collect()
}

/// Where the counting decides about the word, the sentence says 'not settled' whatever the shown counting
/// says.
fn mark(judged: &Judged) -> Mark {
    let is_open = judged.decides.is_some_and(|decides| decides.is_word);
    if is_open {
        Mark::NotSettled
    } else {
        judged.verdict.into()
    }
}
