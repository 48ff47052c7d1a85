//! When the pieces were out, what was done to them meanwhile, and what of an exposure report is not on record
//! here (trade.md §4.2). Only of pieces whose results are told.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use crate::analysis::digits::plain;
use crate::analysis::findings::Findings;
use crate::analysis::names;
use crate::study::allocation::Place;
use crate::study::custody::Handling;
use crate::study::environment::Measurand;
use crate::study::plan::{Environment, Plan};
use crate::study::record::{EventKind, Standing, StudyRecord};
use crate::study::when;

/// The sentences, one a paragraph.
pub(super) fn told(record: &StudyRecord, plan: &Plan, findings: &Findings) -> Vec<String> {
    let open = findings.specimens.iter().map(|piece| piece.code.as_str());
    let open: BTreeSet<&str> = open.collect();
    let mut told = vec![stages(plan)];
    told.extend(stays(record, &open));
    told.push(handled(record, &open));
    told.push(kept(record));
    told.push(unknown(record, plan));
    told
}

fn stages(plan: &Plan) -> String {
    let stages: Vec<String> = plan
        .stages
        .iter()
        .map(|stage| format!("{} ± {}", stage.days, stage.window_days))
        .collect();
    format!(
        "Stages were set by the calendar, not by a dose: {} days after putting out.",
        names::listed(&stages)
    )
}

/// One sentence a stage: first and last day out and in.
fn stays(record: &StudyRecord, open: &BTreeSet<&str>) -> Vec<String> {
    let mut stages: BTreeMap<u32, Vec<[NaiveDate; 2]>> = BTreeMap::new();
    for piece in record
        .specimens
        .iter()
        .filter(|piece| open.contains(piece.code.as_str()))
    {
        if let (Some(Place::Exposed { stage_days, .. }), Some(out), Some(back)) =
            (&piece.place, piece.out_at, piece.in_at)
        {
            let days = [out, back].map(|at| when::local_day(at, &record.time_zone));
            stages.entry(*stage_days).or_default().push(days);
        }
    }
    let sentence = |(days, stays): (u32, Vec<[NaiveDate; 2]>)| {
        let span = |at: usize| {
            let own = stays.iter().filter_map(|stay| stay.get(at)).copied();
            let (first, last) = (own.clone().min()?, own.max()?);
            Some(if first == last {
                format!("on {}", when::date_in_words(first))
            } else {
                format!(
                    "from {} to {}",
                    when::date_in_words(first),
                    when::date_in_words(last)
                )
            })
        };
        Some(format!(
            "Pieces of {days} days ({}): put out {}, taken in {}.",
            stays.len(),
            span(0)?,
            span(1)?
        ))
    };
    stages.into_iter().filter_map(sentence).collect()
}

/// `Inspected on 25 May 2026 (72 pieces); topped up or renewed on …`
fn handled(record: &StudyRecord, open: &BTreeSet<&str>) -> String {
    let mut done: BTreeMap<(NaiveDate, Handling), usize> = BTreeMap::new();
    for event in &record.events {
        let EventKind::Handled { what, .. } = &event.what else {
            continue;
        };
        let is_care = matches!(
            what,
            Handling::Inspected | Handling::ToppedUp | Handling::Cleaned | Handling::Dried
        );
        let is_told = event.standing == Standing::Current && open.contains(event.specimen.as_str());
        if is_care && is_told {
            let day = when::local_day(event.at, &record.time_zone);
            *done.entry((day, *what)).or_default() += 1;
        }
    }
    let lines: Vec<String> = done
        .into_iter()
        .map(|((day, what), n)| {
            let pieces = names::counted(n, "piece");
            format!(
                "{} on {} ({pieces})",
                what.label(),
                when::date_in_words(day)
            )
        })
        .collect();
    match lines.as_slice() {
        [] => "No inspection, cleaning or topping up is on record.".to_owned(),
        lines => format!("{}.", names::capital(&lines.join("; "))),
    }
}

/// Spares are what can later be laid beside the exposed pieces.
fn kept(record: &StudyRecord) -> String {
    let is_spare = |place: Option<&Place>| place == Some(&Place::Spare);
    let all = record.specimens.iter();
    match all.filter(|piece| is_spare(piece.place.as_ref())).count() {
        0 => "No piece was kept back to be laid beside the exposed ones later.".to_owned(),
        n => format!(
            "{} kept back unexposed.",
            match n {
                1 => "One piece is".to_owned(),
                n => format!("{} pieces are", names::capital(&names::count(n))),
            }
        ),
    }
}

/// What a full exposure report has, and this record has not.
fn unknown(record: &StudyRecord, plan: &Plan) -> String {
    let current = record
        .series
        .iter()
        .filter(|s| s.standing == Standing::Current);
    let measured: BTreeSet<Measurand> = current
        .flat_map(|s| {
            s.series
                .channels
                .iter()
                .filter_map(|c| c.read_as.measurand())
        })
        .collect();
    let has = |any: &[Measurand]| any.iter().any(|one| measured.contains(one));
    let is_in = |any: &[Environment]| plan.conditions.iter().any(|c| any.contains(&c.environment));
    let is_outdoors = is_in(&[Environment::Outdoor]);
    let air = [
        Measurand::Temperature,
        Measurand::LowTemperature,
        Measurand::HighTemperature,
    ];
    let light = [Measurand::Irradiance, Measurand::RadiantExposure];
    let parts = [
        (!has(&air), "temperature"),
        (!has(&[Measurand::Humidity]), "humidity"),
        (is_outdoors && !has(&light), "radiant exposure"),
        (is_outdoors && !has(&[Measurand::Rain]), "rain"),
        (is_outdoors, "time of wetness"),
        (
            is_in(&[Environment::FreshWater, Environment::SaltWater]),
            "chemistry of the water",
        ),
        (
            is_in(&[Environment::Soil, Environment::Compost]),
            "moisture and acidity of soil or compost",
        ),
        (true, "a reference material exposed alongside"),
    ];
    let missing: Vec<String> = parts
        .into_iter()
        .filter(|(is_missing, _)| *is_missing)
        .map(|(_, what)| what.to_owned())
        .collect();
    let mass = match plan.material.density_g_cm3 {
        Some(density) => format!(
            " Density of the material: {} g/cm³, as stated.",
            plain(density)
        ),
        None => String::new(),
    };
    format!(
        "Mounting, angle and direction are told as far as they stand under ‘Where they were’. Not on record: \
         {}.{mass}",
        names::listed(&missing)
    )
}
