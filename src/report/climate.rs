//! What it was like out there, as figures and tables: for the steward by holder and stage, for the world
//! by condition until there are results, and by set once there are.

mod figure;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};

use crate::analysis::climate::{
    Climate, Dose, HOT_CELSIUS, SeriesValues, Spread, Stay, Timeline, stays,
};
use crate::analysis::digits::{fixed, plain};
use crate::analysis::names;
use crate::report::chart::course::CourseChart;
use crate::report::tables::{Table, TableRow};
use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::environment::{Measurand, SeriesPlace, SeriesSource};
use crate::study::plan::Plan;
use crate::study::record::{SpecimenRecord, Standing, StudyRecord};

/// Most strokes of a figure, so that a year's figure stays small.
const STROKES: i64 = 100;
/// A part of the time without a value that the page calls a gap, in %: more of a stage is noted in a
/// report (common practice, no source).
const NOTED_PERCENT: f64 = 5.0;

/// The section of a page.
#[derive(Debug, Clone, PartialEq)]
pub struct ClimatePart {
    /// What the figures rest on, one sentence each.
    pub said: Vec<String>,
    /// One figure for each place that has a series.
    pub figures: Vec<PlaceFigure>,
    /// The doses.
    pub table: Option<Table>,
    /// Whom to name with the weather.
    pub attributions: Vec<String>,
}

/// A place's temperature along the time axis.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaceFigure {
    /// The place.
    pub title: String,
    /// What the strokes mean, and what is missing.
    pub caption: String,
    /// The geometry.
    pub chart: CourseChart,
}

/// The section before there are results: the record of each condition since its first outing. It says
/// nothing of pieces, nor whether any has come back.
#[must_use]
pub fn before_results(
    record: &StudyRecord,
    values: &SeriesValues,
    now: DateTime<Utc>,
) -> Option<ClimatePart> {
    let plan = &record.plan()?.plan;
    let climate = Climate::of(record, values);
    let rows = climate.places().filter_map(|(place, _)| {
        let from = first_outing(record, plan, place)?;
        let dose = climate.dose_of_place(place, (from, now), HOT_CELSIUS)?;
        Some(TableRow {
            name: names::capital(&place.name(plan)),
            cells: cells(&dose),
        })
    });
    let rows: Vec<TableRow> = rows.collect();
    let caption = "Each place since its first piece went out, as far as it is on record.";
    part(record, plan, &climate, (rows, caption), now)
}

/// The section of an edition: every set whose results are told, for the exact time that its pieces were
/// out. `specimens` are the pieces that are told of.
#[must_use]
pub fn of_sets(
    record: &StudyRecord,
    values: &SeriesValues,
    specimens: &BTreeSet<&str>,
    now: DateTime<Utc>,
) -> Option<ClimatePart> {
    let plan = &record.plan()?.plan;
    let climate = Climate::of(record, values);
    let told = record.specimens.iter();
    let told = told.filter(|piece| specimens.contains(piece.code.as_str()));
    let rows = groups(record, plan, &climate, told, now)
        .into_iter()
        .map(|group| TableRow {
            name: format!(
                "{} ({})",
                group.name,
                names::counted(group.codes.len(), "piece")
            ),
            cells: cells(&group.dose),
        });
    let rows: Vec<TableRow> = rows.collect();
    let caption =
        "Each set for the exact time that its pieces were out, as far as it is on record.";
    part(record, plan, &climate, (rows, caption), now)
}

fn part(
    record: &StudyRecord,
    plan: &Plan,
    climate: &Climate<'_>,
    (rows, caption): (Vec<TableRow>, &str),
    now: DateTime<Utc>,
) -> Option<ClimatePart> {
    let figures = figures(record, plan, climate, now);
    if figures.is_empty() && rows.is_empty() {
        return None;
    }
    Some(ClimatePart {
        said: said(HOT_CELSIUS),
        figures,
        table: (!rows.is_empty()).then(|| Table {
            caption: caption.to_owned(),
            head: head(HOT_CELSIUS),
            rows,
            is_numbers: true,
        }),
        attributions: attributions(record),
    })
}

/// What every figure rests on.
#[must_use]
pub fn said(above: f64) -> Vec<String> {
    vec![format!(
        "Gaps are never filled: each figure is of the part of the time that is on record, which stands \
         before it. Degree-days are sums of daily means above and below 0 °C. A freeze–thaw cycle goes \
         down to −2.2 °C and back to 0 °C, and is never counted across a gap. Hours are those above {} °C. \
         The mean kinetic temperature is the constant one that would have driven a reaction as far, for \
         ΔH/R = 10 000 K: an assumption, not a property of this material.",
        plain(above)
    )]
}

/// Whom to name, each once.
#[must_use]
pub fn attributions(record: &StudyRecord) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    let current = record.series.iter();
    for series in current.filter(|series| series.standing == Standing::Current) {
        if let SeriesSource::Archive { attribution, .. } = &series.series.source
            && !found.contains(attribution)
        {
            found.push(attribution.clone());
        }
    }
    found
}

/// When the first piece went out to a place.
fn first_outing(record: &StudyRecord, plan: &Plan, place: &SeriesPlace) -> Option<DateTime<Utc>> {
    let is_there = |piece: &&SpecimenRecord| match (&piece.place, place) {
        (Some(Place::Exposed { condition, .. }), SeriesPlace::Condition(key)) => condition == key,
        (Some(Place::Exposed { condition, .. }), SeriesPlace::Holder(key)) => plan
            .holder(key)
            .is_some_and(|(owner, _)| owner.key == *condition),
        _ => false,
    };
    let pieces = record.specimens.iter().filter(is_there);
    pieces.filter_map(|piece| piece.out_at).min()
}

/// Pieces that lived through the same.
pub struct Group {
    /// The condition, its stage, and the holder where it has a series of its own.
    pub name: String,
    /// The pieces.
    pub codes: Vec<Code>,
    /// What they lived through.
    pub dose: Dose,
}

/// Pieces put together by condition, stage and the time out; by holder too where one has a series of
/// its own.
#[must_use]
pub fn groups<'r>(
    record: &StudyRecord,
    plan: &Plan,
    climate: &Climate<'_>,
    pieces: impl Iterator<Item = &'r SpecimenRecord>,
    now: DateTime<Utc>,
) -> Vec<Group> {
    let above = HOT_CELSIUS;
    groups_above(record, plan, climate, (pieces, now), above)
}

/// The same with hours counted above another temperature.
#[must_use]
pub fn groups_above<'r>(
    record: &StudyRecord,
    plan: &Plan,
    climate: &Climate<'_>,
    (pieces, now): (impl Iterator<Item = &'r SpecimenRecord>, DateTime<Utc>),
    above: f64,
) -> Vec<Group> {
    let own: Vec<&str> = climate
        .places()
        .filter_map(|(place, _)| match place {
            SeriesPlace::Holder(key) => Some(key.as_str()),
            SeriesPlace::Condition(_) => None,
        })
        .collect();
    let mut alike: BTreeMap<(u32, Vec<Stay>), Vec<Code>> = BTreeMap::new();
    for piece in pieces {
        let Some(Place::Exposed { stage_days, .. }) = &piece.place else {
            continue;
        };
        let mut stays = stays(record, &piece.code, now);
        for stay in &mut stays {
            if !own.contains(&stay.holder.as_str()) {
                stay.holder.clear();
            }
        }
        let stays = joined(stays);
        if !stays.is_empty() {
            let alike = alike.entry((*stage_days, stays)).or_default();
            alike.push(piece.code.clone());
        }
    }
    let group = |((days, stays), codes): ((u32, Vec<Stay>), Vec<Code>)| {
        Some(Group {
            name: format!("{}, {days} days", names::capital(&place_name(plan, &stays))),
            codes,
            dose: climate.dose(&stays, above)?,
        })
    };
    alike.into_iter().filter_map(group).collect()
}

/// Stays that follow each other in what counts as one place.
fn joined(stays: Vec<Stay>) -> Vec<Stay> {
    let mut found: Vec<Stay> = Vec::new();
    for stay in stays {
        match found.last_mut() {
            Some(last) if last.holder == stay.holder && last.until == stay.from => {
                last.until = stay.until;
            }
            _ => found.push(stay),
        }
    }
    found
}

fn place_name(plan: &Plan, stays: &[Stay]) -> String {
    let Some(stay) = stays.last() else {
        return String::new();
    };
    let condition = plan.condition(&stay.condition);
    let condition = condition.map_or(stay.condition.as_str(), |c| c.name.as_str());
    match plan.holder(&stay.holder) {
        Some((_, holder)) => format!("{condition}, {}", holder.name),
        None => condition.to_owned(),
    }
}

/// The heads of a table of doses.
#[must_use]
pub fn head(above: f64) -> Vec<String> {
    let heads = [
        "Where",
        "Days",
        "On record, %",
        "Least, °C",
        "Mean, °C",
        "Most, °C",
        "Above 0, °C·d",
        "Below 0, °C·d",
        "Freeze–thaw cycles",
    ];
    let mut heads: Vec<String> = heads.map(str::to_owned).to_vec();
    heads.push(format!("Hours above {} °C", plain(above)));
    heads.extend(
        [
            "Mean kinetic, °C",
            "Humidity, % (mean)",
            "Rain, mm",
            "Radiant exposure, MJ/m²",
        ]
        .map(str::to_owned),
    );
    heads
}

/// The cells of a dose. A figure of less than the whole time says how much of it.
#[must_use]
pub fn cells(dose: &Dose) -> Vec<String> {
    let dash = || "–".to_owned();
    let of = |figure: Option<f64>, digits: usize| figure.map_or_else(dash, |f| fixed(f, digits));
    let temperature = dose.temperature.as_ref();
    let spread = temperature.map(|t| &t.spread);
    let of_spread = |part: fn(&Spread) -> f64| of(spread.map(part), 1);
    let cycles = temperature.map_or_else(dash, |t| match t.cycles {
        Some(cycles) => cycles.to_string(),
        None => format!("{} days", t.freeze_thaw_days),
    });
    let partly = |total: Option<(f64, f64)>, digits: usize| match total {
        None => dash(),
        Some((sum, part)) if part < 100.0 - NOTED_PERCENT => {
            format!("{} ({} % of the time)", fixed(sum, digits), fixed(part, 0))
        }
        Some((sum, _)) => fixed(sum, digits),
    };
    let total = |total: &Option<crate::analysis::climate::Total>| {
        total.as_ref().map(|t| (t.sum, t.completeness_percent))
    };
    let humidity = dose.humidity.as_ref();
    vec![
        fixed(dose.days, 1),
        spread.map_or_else(dash, |s| completeness(s.completeness_percent)),
        of_spread(|s| s.min),
        of_spread(|s| s.mean),
        of_spread(|s| s.max),
        of(temperature.map(|t| t.thawing), 0),
        of(temperature.map(|t| t.freezing), 0),
        cycles,
        of(temperature.and_then(|t| t.hours_above), 0),
        of(temperature.and_then(|t| t.kinetic), 1),
        partly(humidity.map(|s| (s.mean, s.completeness_percent)), 0),
        partly(total(&dose.rain), 0),
        partly(total(&dose.radiant), 0),
    ]
}

/// A completeness that is not whole is never written as 100.
fn completeness(percent: f64) -> String {
    if percent >= 100.0 - 1e-9 {
        "100".to_owned()
    } else {
        fixed(percent.min(99.9), 1)
    }
}

/// A figure for each place with a temperature, else with the first thing measured there.
#[must_use]
pub fn figures(
    record: &StudyRecord,
    plan: &Plan,
    climate: &Climate<'_>,
    now: DateTime<Utc>,
) -> Vec<PlaceFigure> {
    let figure =
        |(number, (place, lines)): (usize, (&SeriesPlace, &BTreeMap<Measurand, Timeline>))| {
            let from = first_outing(record, plan, place);
            let shown = figure::Shown::of(lines)?;
            let name = place.name(plan);
            shown.figure(record, (&name, number), (from, now))
        };
    climate.places().enumerate().filter_map(figure).collect()
}
