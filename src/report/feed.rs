//! Studies and their editions as a feed (Atom, RFC 4287): what a reader's program asks for now and then.

use askama::Template;
use chrono::{DateTime, SecondsFormat, Utc};

use crate::report::format::day;
use crate::study::record::{EditionRecord, StudyRecord};

/// Most entries; older ones stand on the studies' own pages.
const MOST: usize = 100;

#[derive(Debug, Template)]
#[template(path = "public/feed.xml")]
struct Feed {
    id: String,
    title: String,
    updated: String,
    own_href: String,
    page_href: String,
    entries: Vec<Entry>,
}

/// One entry, ready to print.
#[derive(Debug)]
struct Entry {
    at: DateTime<Utc>,
    id: String,
    title: String,
    updated: String,
    published: String,
    href: String,
    summary: String,
}

fn moment(at: DateTime<Utc>) -> String {
    at.to_rfc3339_opts(SecondsFormat::Secs, true)
}

/// The feed of one study: that it was opened, and each edition that stands.
///
/// # Errors
/// When the template cannot be rendered.
pub fn of_study(record: &StudyRecord, base: &str) -> Result<String, askama::Error> {
    let address = format!("{base}/studies/{}", record.slug);
    let entries = entries(record, base);
    Feed {
        id: format!("urn:uuid:{}", record.id),
        title: record.title.clone(),
        updated: moment(latest(&entries).unwrap_or(record.started_at)),
        own_href: format!("{address}/feed.atom"),
        page_href: address,
        entries,
    }
    .render()
}

/// The feed of all public studies of a server.
///
/// # Errors
/// When the template cannot be rendered.
pub fn of_all<'r>(
    records: impl Iterator<Item = &'r StudyRecord>,
    base: &str,
    now: DateTime<Utc>,
) -> Result<String, askama::Error> {
    let mut all: Vec<Entry> = records.flat_map(|record| entries(record, base)).collect();
    all.sort_by(|a, b| b.at.cmp(&a.at).then_with(|| a.id.cmp(&b.id)));
    all.truncate(MOST);
    Feed {
        id: format!("{base}/feed.atom"),
        title: "Specimen studies and their editions".to_owned(),
        updated: moment(latest(&all).unwrap_or(now)),
        own_href: format!("{base}/feed.atom"),
        page_href: format!("{base}/"),
        entries: all,
    }
    .render()
}

fn latest(entries: &[Entry]) -> Option<DateTime<Utc>> {
    entries.iter().map(|entry| entry.at).max()
}

/// The latest first. Nothing here comes from a reading: titles, the question, days.
fn entries(record: &StudyRecord, base: &str) -> Vec<Entry> {
    let standing = record.editions.iter().filter(|e| e.withdrawn.is_none());
    let mut all: Vec<Entry> = standing.map(|e| edition(record, e, base)).collect();
    all.reverse();
    all.push(opened(record, base));
    all
}

fn edition(record: &StudyRecord, edition: &EditionRecord, base: &str) -> Entry {
    let kind = if edition.is_interim { ", interim" } else { "" };
    Entry {
        at: edition.at,
        id: format!("urn:uuid:{}", edition.entry),
        title: format!("{}: edition {}{kind}", record.title, edition.number),
        updated: moment(edition.at),
        published: moment(edition.at),
        href: format!(
            "{base}/studies/{}/editions/{}/",
            record.slug, edition.number
        ),
        summary: format!("Published {}.", day(edition.at, &record.time_zone)),
    }
}

fn opened(record: &StudyRecord, base: &str) -> Entry {
    let sealed = record.seal.as_ref().map(|seal| seal.at);
    let at = sealed.unwrap_or(record.started_at);
    let question = record.plan().filter(|_| sealed.is_some());
    Entry {
        at,
        id: format!("urn:uuid:{}", record.id),
        title: record.title.clone(),
        updated: moment(at),
        published: moment(record.started_at),
        href: format!("{base}/studies/{}", record.slug),
        summary: match question {
            Some(version) => format!("Its plan is sealed. {}", version.plan.question),
            None => "Its plan is being written.".to_owned(),
        },
    }
}
