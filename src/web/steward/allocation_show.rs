//! The allocation of a study: drawing it, the balance reached, every draw with its seed. For a study
//! entered after the fact, reporting who was where.

use crate::study::allocation::balance::{Balance, balance};
use crate::study::allocation::{self, Candidate, Place, Placed, grouping};
use crate::study::plan::Plan;
use crate::study::plan::check::count;
use crate::study::record::{DrawRecord, EventKind, Standing, StudyRecord};
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act;
use crate::web::fault::WebFault;
use crate::web::form::Form;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use std::collections::BTreeMap;

#[derive(Template)]
#[template(path = "steward/allocation_show.html")]
pub(super) struct AllocationPage {
    chrome: Chrome,
    slug: String,
    title: String,
    form: Form,
    is_after_the_fact: bool,
    /// Why nothing can be drawn now; empty when it can.
    hindrance: String,
    pool: Pool,
    conditions: String,
    draws: Vec<Draw>,
}

/// The pieces that a draw would place.
struct Pool {
    free: usize,
    needed: u32,
    planned_spares: u32,
    unweighed: usize,
}

/// A draw, ready to print.
struct Draw {
    title: String,
    at: String,
    reason: String,
    seed: String,
    method: String,
    candidates_sha256: String,
    is_same_list: bool,
    plan_version: u32,
    groups: Vec<Group>,
    rows: Vec<Row>,
}

struct Group {
    name: String,
    pieces: usize,
    mean: String,
    sd: String,
    builds: String,
    holders: String,
}

struct Row {
    code: String,
    build: String,
    mass: String,
    group: String,
    holder: String,
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let lines = grouping::open_lines(&record);
    let fields = [(act::ENTRY, act::fresh(&app)), (grouping::FIELD, lines)];
    let fields = fields
        .each_ref()
        .map(|(name, value)| (*name, value.as_str()));
    Ok(Page::of(page(chrome, &record, Form::filled(fields))))
}

/// The page with its form as it should look.
pub(super) fn page(chrome: Chrome, record: &StudyRecord, form: Form) -> AllocationPage {
    let plan = record.plan().map(|held| &held.plan);
    let pieces = allocation::listed(record, |_| true);
    let draws = record.draws.iter().rev();
    AllocationPage {
        chrome: chrome.titled(format!("Allocation of {}", record.title)),
        slug: record.slug.clone(),
        title: record.title.clone(),
        form,
        is_after_the_fact: record.is_after_the_fact,
        hindrance: hindrance(record).to_owned(),
        pool: pool(record),
        conditions: plan.map(conditions).unwrap_or_default(),
        draws: plan.map_or_else(Vec::new, |plan| {
            draws
                .map(|draw| Draw::of(draw, record, plan, &pieces))
                .collect()
        }),
    }
}

/// Why nothing can be drawn or reported now.
pub(super) fn hindrance(record: &StudyRecord) -> &'static str {
    let is_out = |event: &crate::study::record::EventRecord| {
        event.what == EventKind::PutOut && event.standing == Standing::Current
    };
    if record.plan().is_none() {
        return "Write the plan first: it says which groups there are.";
    }
    if record.specimens.is_empty() {
        return "Register the pieces first.";
    }
    match record {
        _ if record.is_after_the_fact => "",
        _ if record.seal.is_some() => "The plan is sealed, and the allocation with it.",
        _ if record.events.iter().any(is_out) => "Pieces are out: the allocation stays as it is.",
        _ if !record.consignments.is_empty() => "Pieces are packed: the allocation stays as it is.",
        _ => "",
    }
}

fn pool(record: &StudyRecord) -> Pool {
    let free = allocation::candidates(record);
    let planned = record.plan().map(|held| count(&held.plan));
    Pool {
        needed: planned.map_or(0, |count| count.exposed + count.baseline),
        planned_spares: planned.map_or(0, |count| count.spares),
        unweighed: free.iter().filter(|piece| piece.mass_g.is_none()).count(),
        free: free.len(),
    }
}

/// The names that a report may use, in words.
fn conditions(plan: &Plan) -> String {
    let line = |condition: &crate::study::plan::Condition| {
        let holders: Vec<&str> = condition.holders.iter().map(|h| h.name.as_str()).collect();
        format!("{} (holders: {})", condition.name, holders.join("; "))
    };
    plan.conditions
        .iter()
        .map(line)
        .collect::<Vec<_>>()
        .join(", ")
}

impl Draw {
    fn of(record: &DrawRecord, study: &StudyRecord, plan: &Plan, pieces: &[Candidate]) -> Self {
        let drawn = &record.drawn;
        let known: BTreeMap<_, _> = pieces.iter().map(|piece| (&piece.code, piece)).collect();
        let listed: Vec<Candidate> = drawn
            .rows
            .iter()
            .filter_map(|row| known.get(&row.specimen).map(|piece| (*piece).clone()))
            .collect();
        let hash = allocation::candidates_sha256(&listed);
        let row = |placed: &Placed| {
            let piece = known.get(&placed.specimen);
            row(placed, piece.copied(), plan)
        };
        Self {
            title: match drawn.draw {
                0 => "Reported".to_owned(),
                n => format!("Draw {n}"),
            },
            at: when::in_words(record.at, &study.time_zone),
            reason: record.reason.clone().unwrap_or_default(),
            seed: drawn.seed.clone(),
            method: drawn.method.clone(),
            is_same_list: hash == drawn.candidates_sha256,
            candidates_sha256: drawn.candidates_sha256.clone(),
            plan_version: drawn.plan_version,
            groups: groups(&drawn.rows, &listed, plan),
            rows: drawn.rows.iter().map(row).collect(),
        }
    }
}

fn groups(rows: &[Placed], pieces: &[Candidate], plan: &Plan) -> Vec<Group> {
    let mut balances = balance(rows, pieces);
    balances.sort_by_key(|group| position(&group.place, plan));
    balances
        .iter()
        .map(|group| Group::of(group, plan))
        .collect()
}

/// Where a group stands in the plan's own order.
fn position(place: &Place, plan: &Plan) -> (usize, usize, u32) {
    match place {
        Place::Baseline => (0, 0, 0),
        Place::Exposed {
            condition,
            stage_days,
            ..
        } => {
            let at = plan.conditions.iter().position(|c| c.key == *condition);
            (1, at.unwrap_or(usize::MAX), *stage_days)
        }
        Place::Spare => (2, 0, 0),
        Place::LateReference => (3, 0, 0),
    }
}

impl Group {
    fn of(balance: &Balance, plan: &Plan) -> Self {
        let builds = balance
            .builds
            .iter()
            .map(|(build, n)| format!("{build}: {n}"));
        let holders = balance
            .holders
            .iter()
            .map(|(key, n)| format!("{}: {n}", holder(key, plan)));
        Self {
            name: group_name(&balance.place, plan),
            pieces: balance.pieces,
            mean: grams(balance.mean_g),
            sd: grams(balance.sd_g),
            builds: builds.collect::<Vec<_>>().join(", "),
            holders: holders.collect::<Vec<_>>().join(", "),
        }
    }
}

fn row(placed: &Placed, piece: Option<&Candidate>, plan: &Plan) -> Row {
    Row {
        code: placed.specimen.to_string(),
        build: piece.map(|piece| piece.build.clone()).unwrap_or_default(),
        // In full, as the list that was hashed has it.
        mass: piece
            .and_then(|piece| piece.mass_g)
            .map_or_else(String::new, |mass| mass.to_string()),
        group: group_name(&placed.place, plan),
        holder: match &placed.place {
            Place::Exposed { holder: key, .. } => holder(key, plan).to_owned(),
            _ => String::new(),
        },
    }
}

fn group_name(place: &Place, plan: &Plan) -> String {
    match place {
        Place::Baseline => "baseline set".to_owned(),
        Place::Spare => "spares".to_owned(),
        Place::LateReference => "late reference".to_owned(),
        Place::Exposed {
            condition,
            stage_days,
            ..
        } => {
            let name = plan.condition(condition).map(|c| c.name.as_str());
            format!("{}, {stage_days} days", name.unwrap_or(condition))
        }
    }
}

fn holder<'p>(key: &'p str, plan: &'p Plan) -> &'p str {
    plan.holder(key).map_or(key, |(_, holder)| &holder.name)
}

/// Grams with about four digits.
fn grams(value: Option<f64>) -> String {
    match value {
        None => String::new(),
        Some(g) if g >= 100.0 => format!("{g:.1}"),
        Some(g) if g >= 10.0 => format!("{g:.2}"),
        Some(g) if g >= 1.0 => format!("{g:.3}"),
        Some(g) => format!("{g:.4}"),
    }
}
