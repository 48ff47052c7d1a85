//! Bringing a study over: the rows of a file → the entries of a study that is entered after the fact. Pure: what
//! is drawn (codes, ids) comes from the caller, and the same rows with the same draws give the same entries.
//!
//! Nothing is invented. A date that neither the file nor the person gives is a problem, a mass that nobody wrote
//! down is a waiver, a grouping is reported and not drawn, and results that were known when they were entered are
//! unblinded at once, with that reason.

use chrono::{DateTime, NaiveDate, TimeZone, Utc};
use uuid::Uuid;

use super::Tidy;
use super::problem::Problems;
use super::row::Row;
use crate::study::allocation::Placed;
use crate::study::entry::Entry;
use crate::study::ids::InstrumentId;
use crate::study::plan::{Plan, Stage};
use crate::study::reading::{Instrument, Occasion, Quantity, Reading};
use crate::study::specimen::Made;
use crate::study::units::{AsTyped, Dimension};
use crate::study::when;

mod defaults;
mod results;
mod rows;
mod way;

pub use defaults::defaults;
pub use rows::was_tested;
use rows::{Known, known};
use way::{come_in, gone_out, waived};

/// More pieces than this come from another kind of file.
pub const MOST_PIECES: usize = 1000;
/// What stands where a spreadsheet named no lot or build.
const NOT_RECORDED: &str = "not recorded";
/// Why pieces may go out without readings that the plan calls for.
const NOT_WRITTEN: &str = "Entered after the fact: it was not written down.";

/// What the person who brings a file says beside it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    /// The study's time zone (IANA name).
    pub time_zone: String,
    /// The two characters that begin its codes.
    pub mark: String,
    /// When pieces were put out whose rows do not say it.
    pub put_out_on: Option<NaiveDate>,
    /// When pieces were tested whose rows do not say it.
    pub tested_on: Option<NaiveDate>,
    /// The lab, as it will be called.
    pub lab: String,
    /// The machine or rig.
    pub machine: String,
    /// The fixture or grips.
    pub fixture: String,
    /// The present day: nothing lies ahead of it.
    pub today: NaiveDate,
}

/// An entry to be written, with what its envelope must say.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// The entry.
    pub entry: Entry,
    /// Its reason or remark.
    pub note: Option<String>,
    /// When it happened.
    pub at: DateTime<Utc>,
    /// The line of the file that it comes from; 0 for what comes from all of them.
    pub line: u64,
}

/// The entries of a study, in the order in which they are to be written.
///
/// # Errors
/// Everything that the rows leave out or that does not fit together, by row.
pub fn steps(
    tidy: &Tidy,
    said: &Said,
    mut draw: impl FnMut() -> Uuid,
    random: impl FnMut() -> [u8; 6],
) -> Result<Vec<Step>, Problems> {
    let mut problems = Problems::default();
    let known = known(tidy, said, &mut problems);
    if !problems.is_empty() {
        return Err(problems.sorted());
    }
    let plan = whole(&tidy.plan, &known);
    let noon = |day: NaiveDate| noon(day, &said.time_zone);
    let first = known
        .iter()
        .filter_map(|one| one.out_on.or(one.tested_on))
        .min();
    let begun = noon(first.unwrap_or(said.today));
    let mut steps = vec![step(
        Entry::PlanWritten {
            plan: Box::new(plan.clone()),
        },
        begun,
    )];
    let instruments = instruments(tidy, &mut draw);
    for instrument in &instruments {
        let entry = Entry::InstrumentAdded {
            instrument: instrument.clone(),
        };
        steps.push(step(entry, begun));
    }
    steps.extend(known.iter().map(|one| made(one, begun)));
    let rows = known.iter().map(|one| Placed {
        specimen: one.code.clone(),
        place: one.place.clone(),
    });
    steps.push(step(
        Entry::GroupingReported {
            rows: rows.collect(),
        },
        begun,
    ));
    steps.extend(read(&known, &instruments, &plan, Occasion::Before, &noon));
    steps.extend(waived(&known, &plan, begun));
    steps.extend(gone_out(&known, &noon));
    steps.extend(come_in(&known, &noon));
    steps.extend(read(&known, &instruments, &plan, Occasion::After, &noon));
    steps.extend(results::steps(&known, said, &mut draw, random, &noon));
    Ok(steps)
}

fn step(entry: Entry, at: DateTime<Utc>) -> Step {
    Step {
        entry,
        note: None,
        at,
        line: 0,
    }
}

/// Noon of a day in the study's zone: nobody wrote the hour down.
fn noon(day: NaiveDate, zone: &str) -> DateTime<Utc> {
    let local = day.and_hms_opt(12, 0, 0).unwrap_or_default();
    let found = when::zone(zone).from_local_datetime(&local).earliest();
    found.map_or_else(|| local.and_utc(), |moment| moment.to_utc())
}

/// The plan that the rows show, whole enough for a journal: every lot and build in it, and stages as wide as
/// the days on which pieces really came in.
fn whole(plan: &Plan, known: &[Known<'_>]) -> Plan {
    let mut plan = plan.clone();
    let is_bare = |of: fn(&Row) -> &String| known.iter().any(|one| of(one.row).is_empty());
    if is_bare(|row| &row.lot) {
        plan.lots.push(NOT_RECORDED.to_owned());
    }
    if is_bare(|row| &row.build) {
        plan.builds.push(NOT_RECORDED.to_owned());
    }
    plan.stages = plan.stages.iter().map(|stage| wide(stage, known)).collect();
    plan
}

fn wide(stage: &Stage, known: &[Known<'_>]) -> Stage {
    let here = known
        .iter()
        .filter(|one| one.row.stage_days == Some(stage.days));
    let off = here.filter_map(|one| {
        let days = (one.in_on? - one.out_on?).num_days();
        u32::try_from((days - i64::from(stage.days)).abs()).ok()
    });
    Stage {
        days: stage.days,
        window_days: off.max().unwrap_or_default(),
    }
}

/// One instrument for each kind of reading; what it resolved is as fine as the file has it, unless it was said.
fn instruments(tidy: &Tidy, draw: &mut impl FnMut() -> Uuid) -> Vec<Instrument> {
    let mut found = Vec::new();
    for (dimension, name) in [
        (Dimension::Mass, "balance (as entered after the fact)"),
        (Dimension::Length, "calliper (as entered after the fact)"),
    ] {
        let read = tidy.rows.iter().flat_map(|row| row.readings.iter());
        let own: Vec<(&Quantity, f64)> = read
            .filter(|((quantity, _), _)| quantity.dimension() == dimension)
            .map(|((quantity, _), value)| (quantity, *value))
            .collect();
        let Some((quantity, _)) = own.first() else {
            continue;
        };
        let step = tidy
            .readability(quantity)
            .unwrap_or_else(|| finest(own.iter().map(|(_, v)| *v)));
        found.push(Instrument {
            id: InstrumentId(draw()),
            name: name.to_owned(),
            dimension,
            readability: step,
            uncertainty: None,
        });
    }
    found
}

/// The smallest step that the values show: 0.001 where one of them has three decimals.
fn finest(values: impl Iterator<Item = f64>) -> f64 {
    let decimals = values.map(|value| {
        // What a change of unit leaves in the last digits is no step: 8417.1 mg are 8.417100000000001 g.
        let text = format!("{value:.9}");
        let decimals = text.trim_end_matches('0').split_once('.');
        decimals.map_or(0, |(_, decimals)| decimals.len().min(6))
    });
    let most = decimals.max().unwrap_or_default();
    10_f64.powi(-i32::try_from(most).unwrap_or(6))
}

fn made(one: &Known<'_>, at: DateTime<Utc>) -> Step {
    let or = |text: &String| match text.as_str() {
        "" => NOT_RECORDED.to_owned(),
        text => text.to_owned(),
    };
    let piece = Made {
        code: one.code.clone(),
        lot: or(&one.row.lot),
        build: or(&one.row.build),
        order: one.row.more.order,
    };
    Step {
        note: Some(format!("Called “{}” in the file.", one.row.specimen)),
        line: one.row.line,
        ..step(
            Entry::SpecimensMade {
                pieces: vec![piece],
            },
            at,
        )
    }
}

fn read(
    known: &[Known<'_>],
    instruments: &[Instrument],
    plan: &Plan,
    on: Occasion,
    noon: &impl Fn(NaiveDate) -> DateTime<Utc>,
) -> Vec<Step> {
    let mut steps = Vec::new();
    for one in known {
        let day = match on {
            Occasion::Before => one.out_on.or(one.tested_on),
            Occasion::After => one.in_on,
        };
        let own = one
            .row
            .readings
            .iter()
            .filter(|((_, occasion), _)| *occasion == on);
        for ((quantity, occasion), value) in own {
            let instrument = instruments
                .iter()
                .find(|i| i.dimension == quantity.dimension());
            let (Some(day), Some(instrument)) = (day, instrument) else {
                continue;
            };
            let state = one.row.states.get(&(quantity.clone(), *occasion)).copied();
            let reading = Reading {
                specimen: one.code.clone(),
                quantity: quantity.clone(),
                occasion: on,
                repeat: 1,
                state: state.unwrap_or(plan.reference_state),
                value: *value,
                typed: AsTyped {
                    text: value.to_string(),
                    unit: quantity.si_unit(),
                },
                instrument: instrument.id,
                is_confirmed_doubt: false,
            };
            let taken = step(Entry::ReadingTaken { reading }, noon(day));
            steps.push(Step {
                line: one.row.line,
                ..taken
            });
        }
    }
    steps
}
