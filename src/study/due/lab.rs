//! What is due between the steward and the lab: parcels that wait or are on their way, links about to
//! end before the lab is done.

use std::collections::BTreeSet;

use chrono::{Days, NaiveDate};

use super::{Due, What, after};
use crate::study::consignment::ParcelState;
use crate::study::record::{ConsignmentRecord, StudyRecord};
use crate::study::when;

/// Days that a packed parcel may wait: pieces go on changing, so holding times are kept short (common
/// practice, no source for the number).
const PACKED_DAYS: u32 = 7;
/// Days after which somebody asks where a parcel is (common practice, no source).
const WAY_DAYS: u32 = 14;
/// The same for one that is held on the way (common practice, no source).
const HELD_DAYS: u32 = 7;
/// Days before its end from which a link is worth a look (common practice, no source).
const LINK_DAYS: u64 = 7;

/// Parcels and links of the consignments that the lab has not finished.
pub(super) fn of(record: &StudyRecord) -> Vec<Due> {
    let waits = |consignment: &&ConsignmentRecord| {
        consignment.finished_at.is_none() && consignment.unblinded_at.is_none()
    };
    let waiting = record.consignments.iter().filter(waits);
    waiting
        .flat_map(|consignment| [parcel(record, consignment), link(record, consignment)])
        .flatten()
        .collect()
}

fn parcel(record: &StudyRecord, consignment: &ConsignmentRecord) -> Option<Due> {
    let since = consignment
        .way
        .last()
        .map_or(consignment.packed_at, |(_, at)| *at);
    let since = when::local_day(since, &record.time_zone);
    let lab = &consignment.lab;
    let (title, wait) = match consignment.parcel {
        ParcelState::Packed => (format!("Hand over the parcel for {lab}"), PACKED_DAYS),
        ParcelState::HandedOver => (format!("Ask {lab} whether the parcel came"), WAY_DAYS),
        ParcelState::Held => (
            format!("Ask after the parcel for {lab}, held on its way"),
            HELD_DAYS,
        ),
        ParcelState::Received
        | ParcelState::Returned
        | ParcelState::Discarded
        | ParcelState::Lost => return None,
    };
    let day = after(since, wait);
    // What is packed can go at once; what is on its way is asked after on that day.
    let opens = match consignment.parcel {
        ParcelState::Packed => since,
        _ => day,
    };
    let state = consignment.parcel.label();
    Some(Due {
        key: format!(
            "parcel-{}-{}-{since}",
            consignment.id,
            consignment.parcel.key()
        ),
        what: What::Parcel,
        title,
        detail: format!("{state} since {}", when::date_in_words(since)),
        opens,
        day,
        closes: day,
        page: format!("consignments/{}", consignment.id),
        places: BTreeSet::new(),
    })
}

/// The link that stays open longest, since it is the one that the lab is left with.
fn link(record: &StudyRecord, consignment: &ConsignmentRecord) -> Option<Due> {
    if matches!(
        consignment.parcel,
        ParcelState::Returned | ParcelState::Discarded | ParcelState::Lost
    ) {
        return None;
    }
    let held = consignment.links.iter().filter(|link| !link.is_revoked);
    let ends_at = held.map(|link| link.ends_at).max()?;
    let day = when::local_day(ends_at, &record.time_zone);
    let (done, all) = (consignment.tests_done(), consignment.pieces.len());
    Some(Due {
        key: format!("link-{}-{day}", consignment.id),
        what: What::Link,
        title: format!("The lab link for {} ends", consignment.lab),
        detail: format!("{done} of {all} tests done; it can be extended without new codes"),
        opens: before(day, LINK_DAYS),
        day,
        closes: day,
        page: format!("consignments/{}", consignment.id),
        places: BTreeSet::new(),
    })
}

fn before(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_sub_days(Days::new(days)).unwrap_or(day)
}
