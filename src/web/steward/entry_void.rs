//! Declaring an entry void: what it said stays visible and no longer counts.

use super::reading_correct::EntryPath;
use super::specimen_history;
use crate::study::code::Code;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::EntryId;
use crate::study::record::StudyRecord;
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/entry_void.html")]
struct VoidPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    entry: EntryId,
    subject: Subject,
    form: Form,
}

/// How the words about a published figure begin.
const CITED: &str = "published figure: ";

/// What an entry that can be declared void is about.
struct Subject {
    what: String,
    when: String,
    specimens: Vec<Code>,
}

impl Subject {
    /// Where to go back to: the piece, when it is one.
    fn back(&self, slug: &str) -> String {
        match &self.specimens[..] {
            [only] => format!("/desk/{slug}/specimens/{only}"),
            _ if self.what.starts_with(CITED) => format!("/desk/{slug}/literature"),
            _ => format!("/desk/{slug}/exposure"),
        }
    }
}

/// The entry among readings, events, waivers, incidents and photographs.
fn find(record: &StudyRecord, entry: EntryId) -> Option<Subject> {
    reading(record, entry)
        .or_else(|| incident(record, entry))
        .or_else(|| events(record, entry))
        .or_else(|| waiver(record, entry))
        .or_else(|| photograph(record, entry))
        .or_else(|| drying(record, entry))
        .or_else(|| series(record, entry))
        .or_else(|| cited(record, entry))
}

fn reading(record: &StudyRecord, entry: EntryId) -> Option<Subject> {
    let found = record
        .readings
        .iter()
        .find(|reading| reading.entry == entry)?;
    let reading = &found.reading;
    let what = format!(
        "{} {}: {} {}",
        reading.quantity.label(),
        reading.occasion.label(),
        reading.typed.text,
        reading.typed.unit.symbol()
    );
    Some(Subject {
        what,
        when: when::in_words(found.taken_at, &record.time_zone),
        specimens: vec![reading.specimen.clone()],
    })
}

fn photograph(record: &StudyRecord, entry: EntryId) -> Option<Subject> {
    let photo = record.photograph(entry)?;
    Some(Subject {
        what: match &photo.photograph.described.holder {
            None => format!("photograph, {}", photo.view().label()),
            Some(key) => format!(
                "photograph of {}, {}",
                super::piece_words::holder_name(super::piece_words::plan_of(record), key),
                photo.view().label()
            ),
        },
        when: when::in_words(photo.taken_at, &record.time_zone),
        specimens: photo.photograph.described.specimens.clone(),
    })
}

fn incident(record: &StudyRecord, entry: EntryId) -> Option<Subject> {
    let found = record
        .incidents
        .iter()
        .find(|incident| incident.entry == entry)?;
    Some(Subject {
        what: specimen_history::incident_words(record, found),
        when: when::in_words(found.received_at, &record.time_zone),
        specimens: Vec::new(),
    })
}

fn events(record: &StudyRecord, entry: EntryId) -> Option<Subject> {
    let found = record.events.iter().filter(|event| event.entry == entry);
    let specimens: Vec<Code> = found.clone().map(|event| event.specimen.clone()).collect();
    let first = record.events.iter().find(|event| event.entry == entry)?;
    Some(Subject {
        what: specimen_history::event_words(record, &first.what),
        when: when::in_words(first.at, &record.time_zone),
        specimens,
    })
}

fn waiver(record: &StudyRecord, entry: EntryId) -> Option<Subject> {
    let found = record.waivers.iter().filter(|waiver| waiver.entry == entry);
    let first = record.waivers.iter().find(|waiver| waiver.entry == entry)?;
    Some(Subject {
        what: "baseline readings waived".to_owned(),
        when: when::in_words(first.at, &record.time_zone),
        specimens: found.map(|waiver| waiver.specimen.clone()).collect(),
    })
}

fn drying(record: &StudyRecord, entry: EntryId) -> Option<Subject> {
    let mut weighings = record.drying.weighings.iter();
    if let Some(found) = weighings.find(|found| found.entry == entry) {
        return Some(Subject {
            what: specimen_history::weighing_words(found),
            when: when::in_words(found.weighing.at, &record.time_zone),
            specimens: vec![found.weighing.specimen.clone()],
        });
    }
    let found = record
        .drying
        .overrides
        .iter()
        .filter(|found| found.entry == entry);
    let first = found.clone().next()?;
    Some(Subject {
        what: specimen_history::OVERRIDDEN.to_owned(),
        when: when::in_words(first.at, &record.time_zone),
        specimens: found.map(|found| found.specimen.clone()).collect(),
    })
}

fn series(record: &StudyRecord, entry: EntryId) -> Option<Subject> {
    let found = record.series.iter().find(|found| found.entry == entry)?;
    Some(Subject {
        what: format!("series {}", found.series.name),
        when: when::in_words(found.received_at, &record.time_zone),
        specimens: Vec::new(),
    })
}

fn cited(record: &StudyRecord, entry: EntryId) -> Option<Subject> {
    let found = record.cited.iter().find(|found| found.entry == entry)?;
    Some(Subject {
        what: format!("{CITED}{}", super::literature_list::words(&found.figure)),
        when: when::in_words(found.received_at, &record.time_zone),
        specimens: Vec::new(),
    })
}

fn page(
    chrome: Chrome,
    record: Arc<StudyRecord>,
    entry: EntryId,
    form: Form,
) -> Result<VoidPage, WebFault> {
    let subject = find(&record, entry).ok_or(WebFault::NotFound)?;
    Ok(VoidPage {
        chrome: chrome.titled("Declare an entry void"),
        record,
        entry,
        subject,
        form,
    })
}

/// What it says, and the form for the reason.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Path(path): Path<EntryPath>,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let fresh = act::fresh(&app);
    let form = Form::filled([("entry", fresh.as_str())]);
    Ok(Page::of(page(chrome, record, path.entry, form)?))
}

/// Declares it void, with the reason.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    Path(path): Path<EntryPath>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let back = find(&record, path.entry)
        .ok_or(WebFault::NotFound)?
        .back(&study.slug);
    let reason = fields.read(|typed| {
        let mut faults = Faults::none();
        let reason = faults.keep(typed.paragraph("reason", "The reason"));
        if reason.as_deref() == Some("") {
            faults.push("reason", "Say why it does not count.");
        }
        faults.and_some(reason)
    });
    let done = match reason {
        Ok(reason) => {
            let entry = Entry::Voided { entry: path.entry };
            let acting = Acting::steward(&steward, &study);
            act::submit(&app, &acting, &fields, entry, Some(reason)).await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(_) => Ok(Moved::to(back)
            .saying("The entry is void; it stays visible.")
            .into_response()),
        Err(Declined::Form(form)) => {
            Ok(Page::refused(page(chrome, record, path.entry, form)?).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}
