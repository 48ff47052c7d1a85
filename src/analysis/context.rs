//! What the analysis must know beside the pieces: where they come from, when the margin was set, the
//! test sessions, and what only the record tells.

use crate::analysis::findings::Provenance;
use crate::analysis::sessions::{self, SessionFinding};
use crate::analysis::words::circumstance::{self, Note};
use crate::analysis::words::verdict::MarginSet;
use crate::study::record::{PlanVersion, StudyRecord};

/// Everything but the pieces and the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Context {
    /// Which study, which state of it.
    pub provenance: Provenance,
    /// When the margin was set.
    pub margin: MarginSet,
    /// Whether any piece was broken.
    pub has_tests: bool,
    /// The unblinded test sessions, in their order.
    pub sessions: Vec<SessionFinding>,
    /// What can no longer be known, or was not done as it should be.
    pub notes: Vec<Note>,
}

impl Context {
    /// What a record tells.
    #[must_use]
    pub fn of(record: &StudyRecord, version: &PlanVersion) -> Self {
        let sessions = sessions::sessions(record, &version.plan);
        Self {
            provenance: provenance(record, version),
            margin: margin_set(record),
            has_tests: !sessions.is_empty(),
            sessions,
            notes: circumstance::unknown(record),
        }
    }
}

fn provenance(record: &StudyRecord, version: &PlanVersion) -> Provenance {
    Provenance {
        slug: record.slug.clone(),
        title: record.title.clone(),
        question: version.plan.question.clone(),
        piece_name: version.plan.form.piece_name.clone(),
        plan_version: version.version,
        plan_sha256: version.sha256.clone(),
        entries: record.entries,
        head: record.head.clone(),
        file_sha256: None,
        is_after_the_fact: record.is_after_the_fact,
    }
}

/// When the margin that holds was set.
fn margin_set(record: &StudyRecord) -> MarginSet {
    let Some(seal) = &record.seal else {
        return MarginSet::NotSealed;
    };
    let holds = record.plan().map(|version| version.plan.margin_percent);
    let known = record
        .amendments()
        .filter(|version| version.is_knowing_results);
    let sealed = record.plans.iter().find(|v| v.version == seal.plan_version);
    let is_changed = sealed.map(|v| v.plan.margin_percent) != holds;
    if is_changed && known.count() > 0 {
        MarginSet::KnowingResults
    } else if seal.is_after_outing || record.is_after_the_fact {
        MarginSet::AfterOuting
    } else if seal.is_knowing_baseline {
        MarginSet::KnowingBaseline
    } else {
        MarginSet::Beforehand
    }
}
