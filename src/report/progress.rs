//! The page before there are results: the question, the sealed plan, what is out and when it comes
//! back.
//!
//! It says nothing of single pieces, and nothing of what has come back or gone to a lab: whoever
//! tests could otherwise read there which stage is on the table.

use std::collections::BTreeMap;

use askama::Template;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use crate::analysis::digits::plain;
use crate::analysis::names;
use crate::analysis::piece::Group;
use crate::report::chart::marks::LineKind;
use crate::report::climate::ClimatePart;
use crate::report::deviations::{self, Deviation};
use crate::report::format::{day, minute};
use crate::report::method;
use crate::report::tables::{Table, TableRow, set_name};
use crate::study::allocation::Place;
use crate::study::outing;
use crate::study::plan::Plan;
use crate::study::record::{PhotographRecord, StudyRecord};
use crate::study::when;

/// Addresses that the page links to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Links {
    /// The style sheet ([`crate::report::edition::STYLE`]).
    pub stylesheet: String,
    /// The list of public studies.
    pub home: String,
    /// The study's feed.
    pub feed: String,
    /// The folder of its photographs.
    pub photographs: String,
    /// The sealed plan's bytes, when they can be downloaded.
    pub plan: Option<String>,
}

/// The page.
#[derive(Debug, Template)]
#[template(path = "public/progress.html")]
pub struct ProgressPage {
    climate: Option<ClimatePart>,
    title: String,
    question: String,
    asked: Vec<String>,
    decided: Vec<String>,
    planned: Option<Table>,
    seal: Option<SealLine>,
    witnesses: Vec<String>,
    made: String,
    next: Option<String>,
    out: Option<Table>,
    deviations: Vec<Deviation>,
    photographs: Vec<Picture>,
    links: Links,
}

/// A photograph of the study as a whole.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Picture {
    /// Where its two sizes lie, without the file's name.
    at: String,
    width: u32,
    height: u32,
    words: String,
    day: String,
}

/// The seal in words.
#[derive(Debug, Clone, PartialEq, Eq)]
struct SealLine {
    sha256: String,
    at: String,
    remark: &'static str,
}

/// The page of a study without results, as of `now`.
#[must_use]
pub fn page(
    record: &StudyRecord,
    climate: Option<ClimatePart>,
    links: Links,
    now: DateTime<Utc>,
) -> ProgressPage {
    let plan = record.plan().map(|version| &version.plan);
    ProgressPage {
        climate,
        title: record.title.clone(),
        question: plan.map(|plan| plan.question.clone()).unwrap_or_default(),
        asked: plan.map(asked).unwrap_or_default(),
        decided: plan.map(decided).unwrap_or_default(),
        planned: plan.map(planned),
        seal: record.seal.as_ref().map(|seal| SealLine {
            sha256: seal.sha256.clone(),
            at: minute(seal.at, &record.time_zone),
            remark: if seal.is_knowing_baseline {
                "It was sealed knowing the baseline values."
            } else if seal.is_after_outing || record.is_after_the_fact {
                "It was sealed after pieces had gone out."
            } else {
                ""
            },
        }),
        witnesses: record.witnesses.clone(),
        made: made(record),
        next: plan.and_then(|plan| next(record, plan, now)),
        out: plan.and_then(|plan| out(record, plan, now)),
        deviations: deviations::before_results(record),
        photographs: photographs(record, &links.photographs),
        links,
    }
}

/// Those that the steward released saying that no piece can be told in them.
fn photographs(record: &StudyRecord, below: &str) -> Vec<Picture> {
    let picture = |photo: &PhotographRecord| Picture {
        at: format!("{below}/{}", photo.entry),
        width: photo.photograph.files.width,
        height: photo.photograph.files.height,
        words: record.words_of_whole(photo).to_owned(),
        day: day(photo.taken_at, &record.time_zone),
    };
    record.public_photographs_of_whole().map(picture).collect()
}

fn asked(plan: &Plan) -> Vec<String> {
    let exposed: Vec<String> = plan
        .conditions
        .iter()
        .filter(|c| !c.is_storage_control)
        .map(names::place)
        .collect();
    let control = plan.storage_control().map_or_else(
        || "There is no storage control.".to_owned(),
        |control| {
            format!(
                "The storage control stays for the same time here: {}.",
                control.name
            )
        },
    );
    let first = format!(
        "{} of {}, kept {}. {control}",
        names::capital(&names::plural(&plan.form.piece_name)),
        plan.material.name,
        names::listed(&exposed),
    );
    let decides = format!(
        "What decides: {} after {} days, at {} % confidence, with a margin of ±{} %. Until then there is no \
         verdict.",
        plan.primary.label(),
        plan.primary_stage_days,
        plain(plan.confidence_percent),
        plain(plan.margin_percent)
    );
    vec![first, decides]
}

/// What will be decided, and how, in the words of the results.
fn decided(plan: &Plan) -> Vec<String> {
    let m = plain(plan.margin_percent);
    let mut told = vec![
        format!(
            "For each condition one interval decides. Changed: it excludes no change; by more than the {m} %: it \
             lies wholly beyond them. Unchanged within ±{m} %: it lies inside them and includes no change. Not \
             settled: none of these."
        ),
        "Pieces that are lost, or carry nothing any more, are counted in three ways; a verdict stands only when \
         all three give the same word."
            .to_owned(),
        "Values stay hidden, from the steward too, until the tester has finished. Opening them earlier needs a \
         reason, which the page then tells. An edition with results never changes once it is published."
            .to_owned(),
    ];
    let rules = method::rules(plan).into_iter();
    told.extend(rules.filter(|text| !text.is_empty()));
    told
}

/// The sets that the plan calls for.
fn planned(plan: &Plan) -> Table {
    let row = |name: String, holders: String, pieces: String| TableRow {
        name,
        cells: vec![holders, pieces],
    };
    let dash = || "–".to_owned();
    let mut rows = vec![row(
        "baseline set".to_owned(),
        dash(),
        plan.baseline.to_string(),
    )];
    rows.extend(plan.conditions.iter().map(|condition| {
        let stages = plan.stages.iter().zip(&condition.replicates);
        let wanted = stages.filter(|(_, n)| **n > 0);
        let wanted: Vec<String> = wanted
            .map(|(stage, n)| format!("{n} after {} days", stage.days))
            .collect();
        let control = if condition.is_storage_control {
            " (storage control)"
        } else {
            ""
        };
        row(
            format!("{}{control}", condition.name),
            condition.holders.len().to_string(),
            wanted.join(", "),
        )
    }));
    rows.push(row("spares".to_owned(), dash(), plan.spares.to_string()));
    Table {
        caption: "The sets that the plan calls for.".to_owned(),
        head: ["Set", "Holders", "Pieces"].map(str::to_owned).to_vec(),
        rows,
        is_numbers: false,
    }
}

fn made(record: &StudyRecord) -> String {
    let made = record.specimens.iter().filter(|s| !s.is_nameless).count();
    let out = record
        .specimens
        .iter()
        .filter(|s| !s.is_nameless && s.out_at.is_some())
        .count();
    match (made, out) {
        (0, _) => "No piece is made yet.".to_owned(),
        (made, 0) => format!("{} made; none is out yet.", names::counted(made, "piece")),
        (made, out) => format!(
            "{} made, {out} put out so far.",
            names::counted(made, "piece")
        ),
    }
}

/// The pieces put out, set by set in the order of their stages, the storage control's first, with the
/// moments at which they went.
fn sets(record: &StudyRecord, plan: &Plan) -> Sets {
    let mut sets = Sets::new();
    for specimen in record.specimens.iter().filter(|s| !s.is_nameless) {
        if let (
            Some(Place::Exposed {
                condition,
                stage_days,
                ..
            }),
            Some(at),
        ) = (&specimen.place, specimen.out_at)
        {
            let group = Group::cell(condition, *stage_days);
            let is_exposed = !group.is_storage_control(plan);
            sets.entry((*stage_days, is_exposed, group))
                .or_default()
                .push(at);
        }
    }
    sets
}

/// When the next pieces are due, and in how many days. It goes by the plan alone and says nothing of
/// what came back before.
fn next(record: &StudyRecord, plan: &Plan, now: DateTime<Utc>) -> Option<String> {
    let zone = &record.time_zone;
    let today = when::local_day(now, zone);
    let due = |((days, ..), times): (&(u32, bool, Group), &Vec<DateTime<Utc>>)| {
        let first = when::local_day(*times.iter().min()?, zone);
        Some(outing::due_day(first, *days))
    };
    let sets = sets(record, plan);
    let next = sets.iter().filter_map(due);
    let next = next.filter(|due| *due > today).min()?;
    let wait = match (next - today).num_days() {
        1 => "tomorrow".to_owned(),
        days => format!("in {days} days"),
    };
    let day = when::date_in_words(next);
    Some(format!("The next pieces are due on {day}, {wait}."))
}

/// Days since the first piece of a set went out, against what the plan asks.
fn so_far(since: TimeDelta, days: u32) -> String {
    let gone = since.num_days().clamp(0, i64::from(days));
    format!("{gone} of {days}")
}

/// Stage in days, whether exposed, and the group: when each of its pieces went out.
type Sets = BTreeMap<(u32, bool, Group), Vec<DateTime<Utc>>>;

/// What went out, set by set, and when it is due; `None` while nothing is out.
fn out(record: &StudyRecord, plan: &Plan, now: DateTime<Utc>) -> Option<Table> {
    let sets = sets(record, plan);
    let zone = &record.time_zone;
    let row = |((days, is_exposed, group), times): (&(u32, bool, Group), &Vec<DateTime<Utc>>)| {
        let name = set_name(group, &group.name(plan), !is_exposed);
        let (first, last) = (times.iter().min()?, times.iter().max()?);
        let out = [first, last].map(|at| when::local_day(*at, zone));
        let [since, _] = out;
        let back = out.map(|day| outing::due_day(day, *days));
        Some(TableRow {
            name,
            cells: vec![
                times.len().to_string(),
                span(back),
                span(out),
                so_far(when::local_day(now, zone) - since, *days),
            ],
        })
    };
    let rows: Vec<TableRow> = sets.iter().filter_map(row).collect();
    (!rows.is_empty()).then(|| Table {
        caption: "Pieces put out, and when they are due.".to_owned(),
        head: ["Set", "Pieces", "Due back", "Put out", "Days so far"]
            .map(str::to_owned)
            .to_vec(),
        rows,
        is_numbers: false,
    })
}

fn span(days: [NaiveDate; 2]) -> String {
    let [first, last] = days.map(when::date_in_words);
    if first == last {
        first
    } else {
        format!("{first} to {last}")
    }
}
