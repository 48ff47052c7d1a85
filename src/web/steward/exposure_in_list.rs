//! The pick-list of a stage: which pieces are expected, when, and what is said of each.

use super::piece_words::{self, plan_of};
use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::outing;
use crate::study::plan::Stage;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::{Identity, Recovery, Whereabouts};
use crate::study::typed::Typed;
use crate::study::when;
use crate::web::form::Form;
use chrono::{DateTime, Utc};

/// A stage, or one condition of it, that can be taken in.
pub(super) struct StageLine {
    pub(super) heading: String,
    pub(super) href: String,
    pub(super) count: usize,
    pub(super) window: String,
    pub(super) is_due: bool,
}

/// An expected piece, ready for the form.
pub(super) struct PickLine {
    pub(super) code: String,
    pub(super) place: String,
    /// The day on which it went out, in the study's zone: `2026-04-30`.
    pub(super) out_on: String,
    pub(super) state_field: String,
    pub(super) known_by_field: String,
    pub(super) state: String,
    pub(super) known_by: String,
    pub(super) fault: Option<String>,
}

/// The names of a piece's two fields.
pub(super) fn fields(code: &Code) -> (String, String) {
    (format!("state-{code}"), format!("known-{code}"))
}

/// The stage that is asked for, and the pieces out for it; one condition's when that is asked for.
pub(super) fn expected<'r>(
    record: &'r StudyRecord,
    typed: &Typed,
) -> Option<(&'r Stage, Vec<&'r SpecimenRecord>)> {
    let stage = plan_of(record)?.stage(typed.text("stage").parse().ok()?)?;
    let condition = typed.text("condition");
    Some((stage, out_for(record, stage, condition)))
}

/// The pieces out for a stage; `condition` empty for all.
fn out_for<'r>(record: &'r StudyRecord, stage: &Stage, condition: &str) -> Vec<&'r SpecimenRecord> {
    let is_meant = |piece: &&SpecimenRecord| match &piece.place {
        Some(Place::Exposed {
            condition: own,
            stage_days,
            ..
        }) => *stage_days == stage.days && (condition.is_empty() || condition == own),
        _ => false,
    };
    let out = record
        .specimens
        .iter()
        .filter(|p| p.whereabouts == Whereabouts::Out);
    out.filter(is_meant).collect()
}

/// What the pick-list is called.
pub(super) fn heading(record: &StudyRecord, stage: &Stage, typed: &Typed) -> String {
    match typed.text("condition") {
        "" => format!("{} days, all conditions", stage.days),
        key => format!(
            "{} days, {}",
            stage.days,
            piece_words::condition_name(plan_of(record), key)
        ),
    }
}

/// When pieces are due, in words.
pub(super) fn window_words(
    record: &StudyRecord,
    stage: &Stage,
    pieces: &[&SpecimenRecord],
) -> String {
    let mut outings: Vec<DateTime<Utc>> = pieces.iter().filter_map(|piece| piece.out_at).collect();
    outings.sort_unstable();
    let (Some(first), Some(last)) = (outings.first(), outings.last()) else {
        return String::new();
    };
    let day = |moment| when::local_day(moment, &record.time_zone);
    let (from, _) = outing::window_days(day(*first), stage);
    let (_, until) = outing::window_days(day(*last), stage);
    format!(
        "due {}, in the window from {} to {}",
        when::date_in_words(outing::due_day(day(*first), stage.days)),
        when::date_in_words(from),
        when::date_in_words(until)
    )
}

/// The pages for taking in that a device keeps for the time without a network: the choice, and each
/// pick-list behind it.
pub(in crate::web) fn to_keep(record: &StudyRecord, now: DateTime<Utc>) -> Vec<String> {
    let choice = format!("/desk/{}/exposure/in", record.slug);
    let lists = stages(record, now).into_iter().map(|line| line.href);
    std::iter::once(choice).chain(lists).collect()
}

/// Everything that can be taken in: each stage, and each condition of it.
pub(super) fn stages(record: &StudyRecord, now: DateTime<Utc>) -> Vec<StageLine> {
    let Some(plan) = plan_of(record) else {
        return Vec::new();
    };
    let mut lines = Vec::new();
    for stage in &plan.stages {
        let all = std::iter::once("");
        for condition in all.chain(
            plan.conditions
                .iter()
                .map(|condition| condition.key.as_str()),
        ) {
            let pieces = out_for(record, stage, condition);
            if !pieces.is_empty() {
                lines.push(line(record, (stage, condition), &pieces, now));
            }
        }
    }
    lines
}

fn line(
    record: &StudyRecord,
    (stage, condition): (&Stage, &str),
    pieces: &[&SpecimenRecord],
    now: DateTime<Utc>,
) -> StageLine {
    let days = stage.days.to_string();
    let query = form_urlencoded::Serializer::new(String::new())
        .append_pair("stage", &days)
        .append_pair("condition", condition)
        .finish();
    let outings = pieces.iter().filter_map(|piece| piece.out_at);
    StageLine {
        heading: heading(record, stage, &Typed::from([("condition", condition)])),
        href: format!("/desk/{}/exposure/in?{query}", record.slug),
        count: pieces.len(),
        window: window_words(record, stage, pieces),
        is_due: outings.min().is_some_and(|out_at| {
            let day = |moment| when::local_day(moment, &record.time_zone);
            day(now) >= outing::window_days(day(out_at), stage).0
        }),
    }
}

/// The lines of the form: as typed, or whole and known by the mark.
pub(super) fn lines(
    record: &StudyRecord,
    pieces: &[&SpecimenRecord],
    form: &Form,
) -> Vec<PickLine> {
    let is_typed = form
        .typed()
        .iter()
        .any(|(name, _)| name.starts_with("state-"));
    let line = |piece: &&SpecimenRecord| {
        let (state_field, known_by_field) = fields(&piece.code);
        let of = |name: &str, default: &str| match is_typed {
            true => form.value(name).to_owned(),
            false => default.to_owned(),
        };
        let fault = form.fault(&state_field).or(form.fault(&known_by_field));
        PickLine {
            code: piece.code.to_string(),
            place: match &piece.place {
                Some(Place::Exposed {
                    condition, holder, ..
                }) => format!(
                    "{}, {}",
                    piece_words::condition_name(plan_of(record), condition),
                    piece_words::holder_name(plan_of(record), holder)
                ),
                _ => String::new(),
            },
            out_on: piece.out_at.map_or_else(String::new, |at| {
                when::local_day(at, &record.time_zone).to_string()
            }),
            state: of(&state_field, Recovery::Whole.key()),
            known_by: of(&known_by_field, Identity::Mark.key()),
            fault: fault.map(str::to_owned),
            state_field,
            known_by_field,
        }
    };
    pieces.iter().map(line).collect()
}
