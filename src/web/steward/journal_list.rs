//! The journal of a study: every entry's header, newest first, with the line to note elsewhere.

use crate::store::verify::Witness;
use crate::study::entry::Actor;
use crate::study::record::StudyRecord;
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::extract::Query;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use chrono::{DateTime, Utc};
use std::collections::BTreeSet;

/// Entries on one page.
const PAGE: u32 = 100;

#[derive(Template)]
#[template(path = "steward/journal_list.html")]
struct JournalPage {
    chrome: Chrome,
    slug: String,
    title: String,
    entries: u64,
    head_line: String,
    lines: Vec<Line>,
    /// The `before` of the next page, when there is one.
    older: Option<u64>,
}

/// One entry, ready to print.
struct Line {
    seq: u64,
    what: String,
    who: &'static str,
    received: String,
    /// By how much the two clocks' times differ, where that says something.
    apart: String,
    note: String,
    hash: String,
}

/// The journal page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Query(query): Query,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let before = query.text("before").parse().unwrap_or(u64::MAX >> 1);
    let entries = app.store.entries_before(study.id, before, PAGE).await?;
    let older = entries.last().map(|last| last.seq).filter(|seq| *seq > 1);
    let blind = blind_actors(&record);
    let lines = entries.into_iter().map(|entry| Line {
        seq: entry.seq,
        what: entry.kind.replace('_', " "),
        who: who(&entry.actor),
        received: received(&entry.received_at, &record.time_zone),
        apart: apart(&entry.taken_at, &entry.received_at, &record.time_zone),
        note: note(entry.note, blind.contains(&entry.actor)),
        hash: entry.hash,
    });
    Ok(Page::of(JournalPage {
        chrome: chrome.titled(format!("Journal of {}", record.title)),
        slug: record.slug.clone(),
        title: record.title.clone(),
        entries: record.entries,
        head_line: Witness::line(&record.id.to_string(), record.entries, &record.head),
        lines: lines.collect(),
        older,
    }))
}

/// The lab links whose consignments are still blind, as the journal names them.
fn blind_actors(record: &StudyRecord) -> BTreeSet<String> {
    let blind = record.consignments.iter().filter(|one| one.is_blind());
    let links = blind.flat_map(|one| &one.links);
    links.map(|link| Actor::Link(link.id).to_string()).collect()
}

/// A tester's reason tells a result. Whether there is one tells it too, so that all look alike.
fn note(note: Option<String>, is_blind: bool) -> String {
    if is_blind {
        "not shown before unblinding".to_owned()
    } else {
        note.unwrap_or_default()
    }
}

/// When the device says that it was taken, and how long before (or after) the server received it. The
/// difference may be waiting without a connection or a wrong clock; both times are kept.
fn apart(taken: &str, received: &str, zone: &str) -> String {
    let moments = taken.parse::<DateTime<Utc>>().ok();
    let moments = moments.zip(received.parse::<DateTime<Utc>>().ok());
    let Some((taken, received)) = moments else {
        return String::new();
    };
    let minutes = (received - taken).num_minutes();
    let span = match minutes.abs() {
        0 | 1 => return String::new(),
        short @ 2..=119 => format!("{short} min"),
        long @ 120..=2879 => format!("{} h {} min", long / 60, long % 60),
        days => format!("{} d {} h", days / 1440, days / 60 % 24),
    };
    let side = if minutes > 0 { "earlier" } else { "later" };
    format!(
        "taken {}, {span} {side} by its device’s clock",
        when::in_words(taken, zone)
    )
}

/// The kind of person behind an entry; names stay outside the journal.
fn who(actor: &str) -> &'static str {
    match actor.split(':').next() {
        Some("account") => "steward",
        Some("link") => "tester",
        _ => "keeper",
    }
}

fn received(stored: &str, zone: &str) -> String {
    let moment = stored.parse::<DateTime<Utc>>();
    moment.map_or_else(|_| stored.to_owned(), |moment| when::in_words(moment, zone))
}
