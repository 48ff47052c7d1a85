//! A study's data and its plan → findings: pure, the same bytes every time, safe to publish.
//!
//! In reading order: what may be looked at ([`gather`], [`trace`], [`piece`], [`change`], [`property`]), how many came to what
//! ([`accounting`]), each group by itself ([`groups`]), the comparisons that the plan names
//! ([`family`], [`arm`], [`compare`], [`comparison`], [`adjustment`]), what may be said ([`verdict`],
//! [`primary`], [`secondary`]), what stands beside it ([`mod@beside`]), the stages together
//! ([`mod@over_time`]), Weibull strength on request ([`mod@brittle`]), the sessions ([`sessions`], [`guess`]),
//! what the design can see ([`design`], [`rule`], [`sizing`]), the sentences ([`words`], [`names`], [`digits`],
//! [`sentence`]) and all of it together ([`findings`]).

pub mod accounting;
pub mod adjustment;
pub mod arm;
pub mod beside;
pub mod brittle;
pub mod change;
pub mod climate;
pub mod compare;
pub mod comparison;
pub mod context;
pub mod design;
pub mod digits;
pub mod family;
pub mod findings;
pub mod gather;
pub mod groups;
pub mod guess;
pub mod instruments;
pub mod names;
pub mod outlier;
pub mod over_time;
pub mod piece;
pub mod primary;
pub mod property;
pub mod rule;
pub mod secondary;
pub mod sentence;
pub mod sessions;
pub mod sizing;
pub mod trace;
pub mod verdict;
pub mod words;

#[cfg(test)]
pub(crate) mod tests;

use std::fmt;

use crate::analysis::context::Context;
use crate::analysis::family::Family;
use crate::analysis::findings::{FORMAT, Findings, Standing};
use crate::analysis::gather::Dataset;
use crate::analysis::primary::Primary;
use crate::analysis::sentence::Sentence;
use crate::analysis::words::circumstance::{self, Note, Topic};
use crate::analysis::words::verdict::Setting;
use crate::study::plan::Plan;
use crate::study::record::StudyRecord;

/// The study has no plan yet, so nothing is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NoPlan;

impl fmt::Display for NoPlan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("The study has no plan yet, so there is nothing to analyse.")
    }
}

impl std::error::Error for NoPlan {}

/// Analyses a study as it stands under the plan that holds.
///
/// # Errors
/// [`NoPlan`].
pub fn analyse(record: &StudyRecord) -> Result<Findings, NoPlan> {
    let version = record.plan().ok_or(NoPlan)?;
    let set = gather::gather(record, &version.plan);
    Ok(analyse_dataset(&set, &Context::of(record, version)))
}

/// As [`analyse`], with what the design can see by the plan's own rule once there are results; this
/// takes about a second.
///
/// # Errors
/// [`NoPlan`].
pub fn analyse_in_full(record: &StudyRecord) -> Result<Findings, NoPlan> {
    let version = record.plan().ok_or(NoPlan)?;
    let set = gather::gather(record, &version.plan);
    Ok(analyse_dataset_in_full(&set, &Context::of(record, version)))
}

/// As [`analyse_dataset`], with what the design can see by the plan's own rule.
#[must_use]
pub fn analyse_dataset_in_full(set: &Dataset<'_>, context: &Context) -> Findings {
    let mut findings = analyse_dataset(set, context);
    if findings.standing.has_results() {
        findings.rule = rule::by_the_rule(set.plan).ok();
    }
    if findings.standing.is_final {
        findings.rule_found = rule::with_spread_found(set.plan, &findings.groups).ok();
    }
    findings
}

/// Analyses pieces that may all be looked at, wherever they come from: a record, or a file.
#[must_use]
pub fn analyse_dataset(set: &Dataset<'_>, context: &Context) -> Findings {
    let plan = set.plan;
    let standing = standing(set);
    let primary = standing
        .is_final
        .then(|| primary::primary(plan, &set.pieces))
        .flatten();
    let secondary = secondary::secondary(set, primary.is_some());
    let setting = Setting {
        margin: context.margin,
        has_tests: context.has_tests,
    };
    let answer = primary
        .as_ref()
        .map(|p| words::verdict::primary(plan, p, setting))
        .unwrap_or_default();
    let notes = notes(set, context, primary.as_ref(), &secondary);
    let beside = primary
        .as_ref()
        .map(|p| beside::beside(plan, &set.pieces, p));
    let over_time = over_time::over_time(set);
    let brittle = brittle::brittle(set);
    Findings {
        format: FORMAT,
        study: context.provenance.clone(),
        standing,
        answer,
        notes,
        accounting: accounting::account(set),
        groups: groups::groups(set),
        primary,
        beside,
        secondary_words: words::secondary::secondary(plan, &secondary, setting.has_tests),
        secondary,
        over_time_words: words::over_time::over_time(plan, &over_time),
        over_time,
        brittle_words: words::brittle::brittle(&brittle),
        brittle,
        sessions: context.sessions.clone(),
        design: design::design(plan),
        rule: None,
        rule_found: None,
        specimens: set.pieces.clone(),
    }
}

fn standing(set: &Dataset<'_>) -> Standing {
    Standing {
        primary: set.plan.primary.clone(),
        primary_stage_days: set.plan.primary_stage_days,
        stages_in: set.open_stages.iter().copied().collect(),
        stages: set.plan.stages.iter().map(|stage| stage.days).collect(),
        is_baseline_in: set.is_baseline_open,
        is_final: set.open_stages.contains(&set.plan.primary_stage_days),
    }
}

fn notes(
    set: &Dataset<'_>,
    context: &Context,
    primary: Option<&Primary>,
    secondary: &[Family],
) -> Vec<Note> {
    let plan = set.plan;
    let mut notes = Vec::new();
    match primary {
        Some(primary) => notes.extend(circumstance::reach(plan, &primary.family)),
        None if set.open_stages.contains(&plan.primary_stage_days) => {
            notes.push(no_reference(plan));
        }
        None => {}
    }
    notes.extend(context.notes.iter().cloned());
    let is_late = context.provenance.is_after_the_fact;
    notes.extend(circumstance::no_mass(plan, &set.pieces, is_late));
    let moved = primary.and_then(|p| words::secondary::storage_moved(plan, secondary, &p.family));
    notes.extend(moved.map(|sentence| Note {
        topic: Topic::Storage,
        sentence,
    }));
    let last = set.open_stages.last().copied();
    let shown = last.unwrap_or(plan.primary_stage_days);
    notes.extend(circumstance::sessions(&context.sessions, shown));
    notes.extend(circumstance::blinding(&context.sessions));
    notes
}

/// The primary stage is in and there is nothing to compare it with.
fn no_reference(plan: &Plan) -> Note {
    let text = if plan.primary.needs_breaking() {
        "There is no storage control, no baseline set and no later reference: the values stand in the \
         table, but there is nothing to compare them with and no verdict."
    } else {
        "There is no storage control, so a change cannot be told from one that pieces kept indoors \
         would show as well: the values stand in the table, without a verdict."
    };
    Note {
        topic: Topic::Reach,
        sentence: Sentence::plain(text),
    }
}
