//! The result as data: every number that a page may show, with where it comes from.

use serde::{Deserialize, Serialize};

use crate::analysis::accounting::Accounting;
use crate::analysis::beside::Beside;
use crate::analysis::brittle::Brittle;
use crate::analysis::comparison::Unit;
use crate::analysis::design::Design;
use crate::analysis::family::Family;
use crate::analysis::groups::GroupFinding;
use crate::analysis::over_time::OverTime;
use crate::analysis::piece::Piece;
use crate::analysis::primary::Primary;
use crate::analysis::rule::{RuleDesign, RuleLine};
use crate::analysis::sentence::Sentence;
use crate::analysis::sessions::SessionFinding;
use crate::analysis::words::circumstance::Note;
use crate::study::plan::Response;

/// Version of the layout below; a change that a reader's program would notice raises it.
pub const FORMAT: u32 = 2;

/// Everything found, safe to publish: nothing of a piece that is still blind is in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Findings {
    /// [`FORMAT`].
    pub format: u32,
    /// Which study, which state of it.
    pub study: Provenance,
    /// How far it has come.
    pub standing: Standing,
    /// The answer in words: one paragraph for each condition.
    pub answer: Vec<Sentence>,
    /// What belongs beside the answer.
    pub notes: Vec<Note>,
    /// What happened to all the pieces.
    pub accounting: Accounting,
    /// Each group by itself.
    pub groups: Vec<GroupFinding>,
    /// The comparison that decides; `None` before the primary stage is in, and without a reference.
    pub primary: Option<Primary>,
    /// Assumptions, other methods and the mixed model beside it; `None` without it.
    pub beside: Option<Beside>,
    /// Every other comparison, in one order with `secondary_words`.
    pub secondary: Vec<Family>,
    /// A sentence for each of them.
    pub secondary_words: Vec<Sentence>,
    /// Each condition over the stages, in one order with `over_time_words`; empty below three stages.
    pub over_time: Vec<OverTime>,
    /// A sentence for each of them.
    pub over_time_words: Vec<Sentence>,
    /// Weibull strength of each set, when the plan asks for it.
    pub brittle: Vec<Brittle>,
    /// A sentence for each set, and one about all.
    pub brittle_words: Vec<Sentence>,
    /// The unblinded test sessions.
    pub sessions: Vec<SessionFinding>,
    /// What the design could see; `None` when the plan has no exposed pieces to compare.
    pub design: Option<Design>,
    /// What the design can see by the plan's own rule; only [`super::analyse_in_full`] fills it.
    pub rule: Option<RuleDesign>,
    /// Scatter found in the storage control, in %, and what the design could see with the spread
    /// found; only [`super::analyse_in_full`] fills it.
    pub rule_found: Option<(f64, RuleLine)>,
    /// Every piece that may be looked at.
    pub specimens: Vec<Piece>,
}

impl Findings {
    /// What the deciding comparison rests on; single pieces before there is one.
    #[must_use]
    pub fn unit(&self) -> Unit {
        self.primary
            .as_ref()
            .map_or(Unit::Pieces, |primary| primary.family.method.unit)
    }
}

/// Where the findings come from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Provenance {
    /// Address of the study.
    pub slug: String,
    /// Its title.
    pub title: String,
    /// The question.
    pub question: String,
    /// What one piece is called.
    pub piece_name: String,
    /// The plan's version.
    pub plan_version: u32,
    /// SHA-256 of the plan's bytes.
    pub plan_sha256: String,
    /// Entries in the study's journal.
    pub entries: u64,
    /// Hash of the last of them.
    pub head: String,
    /// SHA-256 of the file, when the pieces come from one and not from a journal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file_sha256: Option<String>,
    /// Whether the study had begun before anybody opened it here.
    pub is_after_the_fact: bool,
}

/// How far the study has come.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Standing {
    /// The response that decides.
    pub primary: Response,
    /// The stage that decides, in days.
    pub primary_stage_days: u32,
    /// The stages that are in, in days.
    pub stages_in: Vec<u32>,
    /// Every stage of the plan, in days.
    pub stages: Vec<u32>,
    /// Whether the baseline set is in.
    pub is_baseline_in: bool,
    /// Whether the primary stage is in.
    pub is_final: bool,
}

impl Standing {
    /// `interim, stage 1 of 3`; `None` when the primary stage is in.
    #[must_use]
    pub fn interim(&self) -> Option<String> {
        if self.is_final {
            return None;
        }
        let last = self.stages_in.last();
        let at = last.and_then(|days| self.stages.iter().position(|s| s == days));
        Some(match at {
            Some(at) => format!("interim, stage {} of {}", at + 1, self.stages.len()),
            None => "interim, before the first stage".to_owned(),
        })
    }

    /// Whether there are any results.
    #[must_use]
    pub fn has_results(&self) -> bool {
        self.is_baseline_in || !self.stages_in.is_empty()
    }
}
