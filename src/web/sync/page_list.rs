//! `GET /sync/pages`: the pages that a device should keep for the time without a network, each with a
//! mark that changes when the page does, so that only those are fetched again.

use crate::study::custody::Handling;
use crate::study::ids::AccountId;
use crate::study::measured::Measured;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::Whereabouts;
use crate::web::App;
use crate::web::assets;
use crate::web::extract::Steward;
use crate::web::fault::JsonFault;
use crate::web::steward::{drying_to_keep, pick_lists_to_keep, rounds_to_keep};
use axum::Json;
use axum::extract::State;
use chrono::{DateTime, Utc};
use serde::Serialize;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Pages of single pieces that a device keeps for one study. Beyond it the phone's storage and the
/// time to fetch them would be felt; those most likely to be handled come first.
const MOST_PIECES: usize = 400;

/// The answer.
#[derive(Debug, Serialize)]
pub(in crate::web) struct Pages {
    /// Whose pages these are.
    account: Uuid,
    pages: Vec<Kept>,
}

/// One page.
#[derive(Debug, Serialize)]
struct Kept {
    address: String,
    mark: String,
}

/// The list for whoever is signed in.
pub(in crate::web) async fn show(
    State(app): State<App>,
    steward: Steward,
) -> Result<Json<Pages>, JsonFault> {
    let mut pages = Vec::new();
    let mut heads = String::new();
    for line in app.store.studies_of(AccountId(steward.id)).await? {
        let Some(record) = app.store.study_record(&line.slug).await? else {
            continue;
        };
        heads.push_str(&record.head);
        pages.extend(of_study(&record, app.clock.now()));
    }
    let day = app.clock.now().format("%F");
    let mark = marked(&format!("{heads} {day}"));
    for address in ["/desk/waiting", "/desk"] {
        let (address, mark) = (address.to_owned(), mark.clone());
        pages.insert(0, Kept { address, mark });
    }
    Ok(Json(Pages {
        account: steward.id,
        pages,
    }))
}

/// A short mark for what a page depends on.
fn marked(what: &str) -> String {
    let whole = format!("{} {what}", assets::release());
    let hash = crate::study::plan::sha256_hex(whole.as_bytes());
    hash.chars().take(16).collect()
}

/// The pages of a study that are kept as they are.
const OF_A_STUDY: [&str; 11] = [
    "",
    "/round",
    "/specimens",
    "/exposure",
    "/exposure/out",
    "/exposure/handle",
    "/exposure/incident",
    "/exposure/nameless",
    "/exposure/waive",
    "/drying",
    "/drying/override",
];

fn of_study(record: &StudyRecord, now: DateTime<Utc>) -> Vec<Kept> {
    let desk = format!("/desk/{}", record.slug);
    let mut addresses: Vec<String> = OF_A_STUDY
        .iter()
        .map(|page| format!("{desk}{page}"))
        .collect();
    let handlings = Handling::ALL.iter();
    addresses.extend(handlings.map(|what| format!("{desk}/exposure/handle?what={}", what.key())));
    addresses.extend(rounds_to_keep(record));
    addresses.extend(pick_lists_to_keep(record, now));
    let plan = record.plan().map(|version| &version.plan);
    let conditions = plan.map(|plan| plan.conditions.as_slice());
    let holders = conditions
        .unwrap_or_default()
        .iter()
        .flat_map(|c| &c.holders);
    addresses.extend(holders.map(|holder| format!("{desk}/holders/{}", holder.key)));
    let mark = marked(&record.head);
    let mut kept: Vec<Kept> = addresses
        .into_iter()
        .map(|address| Kept {
            address,
            mark: mark.clone(),
        })
        .collect();
    let drying = drying_to_keep(record).into_iter();
    kept.extend(drying.map(|(address, on)| {
        let mark = marked(&on);
        Kept { address, mark }
    }));
    kept.extend(of_pieces(record, &desk));
    kept
}

/// The pages of pieces that something can still be done with.
fn of_pieces(record: &StudyRecord, desk: &str) -> Vec<Kept> {
    use Whereabouts::{Bench, Consigned, In, Out};
    let is_live =
        |piece: &&SpecimenRecord| matches!(piece.whereabouts, Bench | Out | In | Consigned);
    let mut touched: BTreeMap<&str, usize> = BTreeMap::new();
    for reading in &record.readings {
        *touched
            .entry(reading.reading.specimen.as_str())
            .or_default() += 1;
    }
    for event in &record.events {
        *touched.entry(event.specimen.as_str()).or_default() += 1;
    }
    let current = Measured::of(record);
    let pages = |piece: &SpecimenRecord| {
        let count = touched.get(piece.code.as_str()).copied().unwrap_or(0);
        let mark = format!(
            "{} {} {count} {} {} {} {} {}",
            record.plans.len(),
            piece.whereabouts.key(),
            current.count(&piece.code),
            record.draws.len(),
            record.waivers.len(),
            record.incidents.len(),
            record.photographs.len(),
        );
        let mark = marked(&mark);
        ["", "/photographs"].map(|page| Kept {
            address: format!("{desk}/specimens/{}{page}", piece.code),
            mark: mark.clone(),
        })
    };
    let live = record.specimens.iter().filter(is_live);
    live.take(MOST_PIECES).flat_map(pages).collect()
}
