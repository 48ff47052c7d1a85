//! What a reader must know beside the verdicts: holders, family, reference, sessions, blinding, and
//! what cannot be known (practice.md §1, §4, §5.7–8, §5.13).

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::analysis::comparison::{ArmFinding, Member, Unit};
use crate::analysis::digits::{fixed, plain, significant};
use crate::analysis::family::{Against, Family};
use crate::analysis::names;
use crate::analysis::piece::{Group, Piece};
use crate::analysis::sentence::Sentence;
use crate::analysis::sessions::SessionFinding;
use crate::analysis::words::verdict::condition;
use crate::analysis::words::{self, adjustment};
use crate::study::consignment::Contents;
use crate::study::plan::{Plan, Response};
use crate::study::reading::Quantity;
use crate::study::record::StudyRecord;

/// What a note is about; decides where a page puts it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Topic {
    /// How far the answer reaches: holders, family, reference.
    Reach,
    /// The storage control against new.
    Storage,
    /// Test sessions and the machine.
    Session,
    /// A machine that drifted beyond its limit: belongs beside every comparison.
    Drift,
    /// How blind the tester was.
    Blinding,
    /// What cannot be known.
    Unknown,
}

/// A sentence that belongs beside the answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// What it is about.
    pub topic: Topic,
    /// The words.
    pub sentence: Sentence,
}

impl Note {
    /// A plain note.
    #[must_use]
    pub fn new(topic: Topic, text: impl Into<String>) -> Self {
        Self {
            topic,
            sentence: Sentence::plain(text),
        }
    }
}

/// How far the primary family reaches.
#[must_use]
pub fn reach(plan: &Plan, family: &Family) -> Vec<Note> {
    let mut notes = Vec::new();
    let told: Vec<&Member> = family
        .members
        .iter()
        .filter(|m| m.effect.is_some())
        .collect();
    let (single, others): (Vec<&Member>, Vec<&Member>) =
        told.iter().copied().partition(|m| m.exposed.holders == 1);
    let is_alone = told.len() == 1;
    notes.extend(one_holder_each(plan, &single, is_alone));
    for member in others {
        notes.extend(several_holders(plan, member, is_alone));
    }
    if let Some(first) = told.first() {
        notes.extend(reference_holders(plan, &first.reference));
    }
    if told.len() > 1 {
        notes.push(Note::new(
            Topic::Reach,
            format!(
                "The {} intervals hold together with {} % confidence.",
                names::count(told.len()),
                plain(family.confidence_percent)
            ),
        ));
    }
    notes.extend(reference(family));
    notes.extend(adjustment::adjusted(plan, family));
    notes
}

/// `All six shared one barrel: this speaks of these specimens in this holder; another barrel may
/// differ, and the interval does not include that.` (practice.md §5.8); several conditions with one
/// holder each in one sentence.
fn one_holder_each(plan: &Plan, members: &[&Member], is_alone: bool) -> Option<Note> {
    let kinds: Vec<(usize, String)> = members
        .iter()
        .filter_map(|member| Some((member.exposed.pieces, kind_of(plan, &member.exposed)?)))
        .collect();
    let text = match kinds.as_slice() {
        [] => return None,
        [(n, kind)] => {
            let who = match (n, is_alone) {
                (2, true) => "Both".to_owned(),
                (n, true) => format!("All {}", names::count(*n)),
                (n, false) => {
                    let pieces = names::counted(*n, &plan.form.piece_name);
                    let place = members
                        .first()
                        .and_then(|m| condition(plan, &m.exposed.group));
                    format!(
                        "The {pieces} {}",
                        place.map(names::place).unwrap_or_default()
                    )
                }
            };
            format!(
                "{who} shared one {kind}: this speaks of these specimens in this holder; another \
                 {kind} may differ, and the interval does not include that."
            )
        }
        several => {
            let each: Vec<String> = several
                .iter()
                .map(|(n, kind)| format!("{} in one {kind}", names::count(*n)))
                .collect();
            format!(
                "The pieces of each condition shared one holder ({}): this speaks of these specimens \
                 in these holders; others may differ, and the intervals do not include that.",
                names::listed(&each)
            )
        }
    };
    Some(Note::new(Topic::Reach, text))
}

/// What the holders of a group are called.
fn kind_of(plan: &Plan, arm: &ArmFinding) -> Option<String> {
    let condition = condition(plan, &arm.group)?;
    let keys: Vec<&str> = condition.holders.iter().map(|h| h.key.as_str()).collect();
    Some(names::holder_noun(condition, &keys))
}

fn several_holders(plan: &Plan, member: &Member, is_alone: bool) -> Option<Note> {
    let kinds = names::plural(&kind_of(plan, &member.exposed)?);
    let n = member.exposed.pieces;
    let pieces = names::plural(&plan.form.piece_name);
    let place = condition(plan, &member.exposed.group).map(names::place)?;
    let where_ = if is_alone {
        String::new()
    } else {
        format!(" {place}")
    };
    let text = match member.exposed.holders {
        0 => format!(
            "Which holder each of the {n} {pieces}{where_} was in is not on record, so differences \
             between holders are not included."
        ),
        h if member.exposed.is_mean_of_holders => format!(
            "The {n} {pieces}{where_} were in {h} {kinds}; the interval rests on the {kinds}, not on \
             the {pieces}."
        ),
        h => format!(
            "The {n} {pieces}{where_} were in {h} {kinds}, some in none on record; the interval rests \
             on the {pieces} and does not include differences between {kinds}."
        ),
    };
    Some(Note::new(Topic::Reach, text))
}

fn reference_holders(plan: &Plan, reference: &ArmFinding) -> Option<Note> {
    let kind = kind_of(plan, reference)?;
    (reference.holders == 1).then(|| {
        let kinds = names::plural(&kind);
        Note::new(
            Topic::Reach,
            format!(
                "The storage controls shared one {kind}; differences between {kinds} are not included."
            ),
        )
    })
}

fn reference(family: &Family) -> Option<Note> {
    let text = match family.against {
        Against::StorageControl => return None,
        Against::Baseline => {
            "Compared with pieces broken at the start: ageing indoors and exposure cannot be told \
             apart."
        }
        Against::LateReference => {
            "Compared with pieces made later: what these pieces were like when new is not known, and \
             ageing indoors and exposure cannot be told apart."
        }
    };
    Some(Note::new(Topic::Reach, text))
}

/// How the intervals were computed, in one sentence.
#[must_use]
pub fn method(plan: &Plan, family: &Family) -> String {
    use crate::study::plan::Spreads;
    let pieces = names::plural(&plan.form.piece_name);
    let unit = match family.method.unit {
        Unit::Pieces => format!("single {pieces}"),
        Unit::Holders => "means of holders, their spread pooled over the conditions".to_owned(),
        Unit::Mixed => format!(
            "means of holders where a condition has several, and single {pieces} where it has one"
        ),
    };
    let spreads = match (family.method.unit, family.method.spreads) {
        (Unit::Pieces, Spreads::Pooled) => ", one spread for all groups (pooled Dunnett)",
        (Unit::Pieces, Spreads::Separate) => {
            ", each group its own spread (Hasler and Hothorn 2008)"
        }
        _ => "",
    };
    format!("The intervals rest on {unit}{spreads}.")
}

/// Baseline broken in another session, and check loads that drifted (practice.md §1.3).
#[must_use]
pub fn sessions(sessions: &[SessionFinding], stage_days: u32) -> Vec<Note> {
    let of = |contents: Contents| sessions.iter().find(|s| s.contents == contents);
    let mut notes = Vec::new();
    let baseline = of(Contents::Baseline).and_then(|s| s.set_up.as_ref());
    let stage = of(Contents::Stage { days: stage_days }).and_then(|s| s.set_up.as_ref());
    if let Some((start, end)) = baseline.zip(stage) {
        let machine = if start.machine == end.machine {
            format!("both on the same machine ({})", end.machine)
        } else {
            format!(
                "on another machine ({}; the stage on {})",
                start.machine, end.machine
            )
        };
        notes.push(Note::new(
            Topic::Session,
            format!(
                "The baseline set was broken in another session ({}; the stage on {}), {machine}.",
                words::date(start.tested_on),
                words::date(end.tested_on),
            ),
        ));
    }
    for session in sessions.iter().filter(|s| s.is_drift_beyond()) {
        let both = session.drift_percent.zip(session.drift_limit_percent);
        if let Some((drift, limit)) = both {
            notes.push(Note::new(Topic::Drift, drifted(session, drift, limit)));
        }
    }
    notes
}

fn drifted(session: &SessionFinding, drift: f64, limit: f64) -> String {
    let day = session
        .set_up
        .as_ref()
        .map(|s| format!(" of {}", words::date(s.tested_on)));
    format!(
        "In the session{} the known check load drifted by {} %, beyond its limit of {} %: every \
         comparison across sessions may be off by as much.",
        day.unwrap_or_default(),
        significant(drift, 2),
        plain(limit)
    )
}

/// Hits against chance, and labels that the tester could see.
#[must_use]
pub fn blinding(sessions: &[SessionFinding]) -> Vec<Note> {
    let mut notes = Vec::new();
    for session in sessions {
        if session.labels_visible > 0 {
            let n = session.labels_visible;
            let (who, was) = if n == 1 {
                ("piece", "its")
            } else {
                ("pieces", "their")
            };
            notes.push(Note::new(
                Topic::Blinding,
                format!("The tester could see the label of {n} {who} with {was} own code."),
            ));
        }
        if let Some(guesses) = &session.guesses {
            let cannot = match guesses.cannot_tell {
                0 => String::new(),
                n => format!(" Of {n} more the tester could not tell."),
            };
            let of = match session.contents {
                Contents::Baseline => "the baseline set".to_owned(),
                Contents::Stage { days } => format!("the stage of {days} days"),
            };
            let p = guesses.p_at_least;
            let chance = if p < 0.001 {
                "below 0.001".to_owned()
            } else {
                fixed(p, 3)
            };
            notes.push(Note::new(
                Topic::Blinding,
                format!(
                    "Of {of} the tester called {} pieces ‘kept indoors’ or ‘exposed’ and was right {} times; \
                     chance alone gives {} (probability of at least so many: {chance}).{cannot}",
                    guesses.guessed,
                    guesses.hits,
                    fixed(guesses.expected, 1),
                ),
            ));
        }
    }
    notes
}

/// What can no longer be known, or was not done as it should be.
#[must_use]
pub fn unknown(record: &StudyRecord) -> Vec<Note> {
    let mut notes = Vec::new();
    let mut note = |text: &str| notes.push(Note::new(Topic::Unknown, text));
    if record.is_after_the_fact {
        note(
            "Entered after the fact: the plan was not sealed before exposure, so nobody outside can \
             know what was asked first.",
        );
    }
    match &record.seal {
        None => note("The plan is not sealed."),
        Some(seal) if seal.is_knowing_baseline => note("Sealed knowing the baseline values."),
        Some(seal) if seal.is_after_outing && !record.is_after_the_fact => {
            note("Sealed after the first pieces had gone out.");
        }
        Some(_) => {}
    }
    if record.draws.last().is_some_and(|draw| draw.drawn.draw == 0) {
        note(
            "The grouping is reported, not drawn: chance did not decide which piece went where, so \
             the groups may have differed from the start.",
        );
    }
    if record
        .amendments()
        .any(|version| version.is_knowing_results)
    {
        note("The plan was changed when results were known; see the deviations.");
    }
    notes
}

/// No mass was read before exposure, where one was to be expected.
#[must_use]
pub fn no_mass(plan: &Plan, pieces: &[Piece], is_after_the_fact: bool) -> Option<Note> {
    let weighed = |group: &Group| !matches!(group, Group::Baseline | Group::LateReference);
    let mut exposed = pieces.iter().filter(|p| weighed(&p.group)).peekable();
    let is_there = exposed.peek().is_some();
    let none_before = exposed.all(|p| {
        let mass = p.pair(&Quantity::Mass);
        mass.is_none_or(|pair| pair.before.is_none())
    });
    // A plan that weighs nothing is no surprise; a missing weighing is.
    let is_missed = plan.mass.readings > 0 || is_after_the_fact;
    let is_told = is_there && none_before && is_missed && plan.primary != Response::MassChange;
    is_told.then(|| {
        Note::new(
            Topic::Unknown,
            "No mass was written down before exposure, so a mass change cannot be known.",
        )
    })
}

/// The day of the last test of a stage, for headings.
#[must_use]
pub fn last_test(sessions: &[SessionFinding]) -> Option<NaiveDate> {
    let days = sessions.iter().filter_map(|s| s.set_up.as_ref());
    days.map(|s| s.tested_on).max()
}
