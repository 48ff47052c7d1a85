//! `POST /entries`: a batch of entries in, a receipt or a reason for each out.
//!
//! Each entry stands for itself: one that is refused does not keep the others back. Its status is
//! what a request of its own would have got: 201 written, 200 known already, 401 nobody signed in,
//! 403 not theirs, 422 refused or malformed, 503 try again. Only 200 and 201 may remove it from a
//! sender's queue.

use super::entry_asked;
use super::entry_typed;
use super::nameless;
use crate::store::NotTaken;
use crate::study::code::Code;
use crate::study::entry::{Actor, Chain, Entry, Envelope, Receipt, VERSION};
use crate::study::guard::{self, Refusal};
use crate::study::ids::{AccountId, EntryId, LinkId, StudyId};
use crate::study::typed::{TEXT_LIMIT, clean};
use crate::web::App;
use crate::web::access::link_from_cookie;
use crate::web::act::is_uuid_v7;
use crate::web::extract::{JsonBody, Visitor};
use crate::web::fault::JsonFault;
use crate::web::lab::program_asks::Objection;
use axum::Json;
use axum::extract::State;
use axum::http::HeaderMap;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Most entries in one batch.
const MOST: usize = 500;

/// What is sent.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::web) struct Batch {
    entries: Vec<serde_json::Value>,
}

/// One entry as a device sends it.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::web) struct Sent {
    pub(super) id: Uuid,
    pub(super) study: Uuid,
    /// Who recorded it, when the device knows: nobody else's sign-in may send it.
    #[serde(default)]
    account: Option<Uuid>,
    device: String,
    device_seq: u64,
    taken_at: DateTime<Utc>,
    time_zone: String,
    #[serde(default)]
    note: Option<String>,
    pub(super) kind: String,
    #[serde(default = "first_version")]
    version: u32,
    pub(super) body: serde_json::Value,
}

fn first_version() -> u32 {
    VERSION
}

/// The answer to a batch, in its order.
#[derive(Debug, Serialize)]
pub(in crate::web) struct Answers {
    pub(super) receipts: Vec<Answer>,
}

/// The answer to one entry.
#[derive(Debug, Serialize)]
pub(in crate::web) struct Answer {
    /// As sent; null when it could not be read.
    pub(in crate::web) id: Option<Uuid>,
    pub(in crate::web) status: u16,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(in crate::web) receipt: Option<Receipt>,
    /// Why not, as one sentence.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(in crate::web) problem: Option<String>,
    /// What would mend it, where that is one plain thing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(in crate::web) mend: Option<&'static str>,
    /// The piece that stands in the way, where it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) piece: Option<Code>,
    /// The code that the server gave a piece found without its mark.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) code: Option<Code>,
}

impl Answer {
    pub(in crate::web) fn refused(
        id: Option<Uuid>,
        status: u16,
        problem: impl Into<String>,
    ) -> Self {
        Self {
            id,
            status,
            receipt: None,
            problem: Some(problem.into()),
            mend: None,
            piece: None,
            code: None,
        }
    }

    /// What a page would have said.
    pub(in crate::web) fn objected(id: Option<Uuid>, objection: Objection) -> Self {
        match objection {
            Objection::Refused(why) => Self::refused(id, 422, why),
            Objection::Doubt(asked) => Self {
                mend: Some("confirm"),
                ..Self::refused(id, 422, asked)
            },
        }
    }
}

/// Takes a batch.
pub(in crate::web) async fn save(
    State(app): State<App>,
    visitor: Visitor,
    headers: HeaderMap,
    JsonBody(batch): JsonBody<Batch>,
) -> Result<Json<Answers>, JsonFault> {
    if batch.entries.len() > MOST {
        let sentence = format!("A batch holds at most {MOST} entries.");
        return Err(crate::web::fault::WebFault::Refused(sentence).into());
    }
    let mut receipts = Vec::with_capacity(batch.entries.len());
    for value in batch.entries {
        receipts.push(one(&app, &visitor, &headers, value).await);
    }
    Ok(Json(Answers { receipts }))
}

async fn one(
    app: &App,
    visitor: &Visitor,
    headers: &HeaderMap,
    value: serde_json::Value,
) -> Answer {
    let id = value
        .get("id")
        .and_then(|id| id.as_str())
        .and_then(|id| Uuid::parse_str(id).ok());
    let sent: Sent = match serde_json::from_value(value) {
        Ok(sent) => sent,
        Err(error) => return Answer::refused(id, 422, format!("This is not readable: {error}.")),
    };
    if sent.kind == nameless::KIND {
        return nameless::save(app, visitor, headers, sent).await;
    }
    match envelope(app, visitor, headers, sent).await {
        Ok(envelope) => submitted(app, envelope).await,
        Err((status, problem)) => Answer::refused(id, status, problem),
    }
}

/// What the journal says to an entry that was made of a file, when its words are clean.
pub(in crate::web) async fn submitted_with_file(app: &App, envelope: Envelope) -> Answer {
    let wrong = entry_asked::unclean(&envelope.entry);
    match wrong.or_else(|| entry_asked::unlike_a_form(&envelope.entry, app.clock.now())) {
        Some(why) => Answer::refused(Some(envelope.id.0), 422, why),
        None => taken(app, envelope).await,
    }
}

/// What the journal says to an entry, unless a page would have asked or refused before.
pub(in crate::web) async fn submitted(app: &App, envelope: Envelope) -> Answer {
    let id = Some(envelope.id.0);
    match entry_asked::objection(app, &envelope).await {
        Ok(None) => {}
        Ok(Some(objection)) => return Answer::objected(id, objection),
        Err(_) => return Answer::refused(id, 503, NotTaken::Unknown.to_string()),
    }
    taken(app, envelope).await
}

async fn taken(app: &App, envelope: Envelope) -> Answer {
    let id = Some(envelope.id.0);
    match app.journal.submit(envelope).await {
        Ok(receipt) => Answer {
            id,
            status: if receipt.is_repeat { 200 } else { 201 },
            receipt: Some(receipt),
            problem: None,
            mend: None,
            piece: None,
            code: None,
        },
        Err(why) => Answer {
            mend: mend(&why),
            piece: piece(&why),
            ..Answer::refused(id, status(&why), why.to_string())
        },
    }
}

/// What would mend a refused entry, for a page that offers it beside the reason.
fn mend(why: &NotTaken) -> Option<&'static str> {
    let NotTaken::Refused(refusal) = why else {
        return None;
    };
    match refusal {
        Refusal::ReasonMissing => Some("reason"),
        Refusal::Unmeasured(..) => Some("waive"),
        Refusal::NotConstant(_) => Some("override"),
        Refusal::NoSuchSpecimen(_) | Refusal::Elsewhere(..) | Refusal::AlreadyRead(_) => {
            Some("code")
        }
        doubt if doubt.is_doubt() => Some("confirm"),
        _ => None,
    }
}

/// The piece that a refusal names: the others of the same entry may go without it.
fn piece(why: &NotTaken) -> Option<Code> {
    let NotTaken::Refused(refusal) = why else {
        return None;
    };
    refusal.piece().cloned()
}

fn status(why: &NotTaken) -> u16 {
    match why {
        NotTaken::Refused(Refusal::NotYours | Refusal::LinkEnded | Refusal::NoSuchStudy) => 403,
        NotTaken::Refused(_) | NotTaken::OtherContent | NotTaken::Conflict => 422,
        NotTaken::Busy | NotTaken::Unknown => 503,
    }
}

async fn envelope(
    app: &App,
    visitor: &Visitor,
    headers: &HeaderMap,
    mut sent: Sent,
) -> Result<Envelope, (u16, String)> {
    let entry = readable(&mut sent)?;
    headed(app, visitor, headers, sent, entry).await
}

/// The entry with the header that was sent, when its sender may send it.
pub(super) async fn headed(
    app: &App,
    visitor: &Visitor,
    headers: &HeaderMap,
    sent: Sent,
    entry: Entry,
) -> Result<Envelope, (u16, String)> {
    let actor = actor(app, visitor, headers, &entry).await?;
    let is_theirs = |account: Uuid| actor == Actor::Account(AccountId(account));
    if !sent.account.is_none_or(is_theirs) {
        let sentence = "Somebody else recorded this on the device: they must sign in to send it.";
        return Err((401, sentence.to_owned()));
    }
    dressed(sent, entry, actor)
}

/// What a program sends in the name of `actor`, as an entry.
pub(in crate::web) fn sent_by(
    actor: Actor,
    value: serde_json::Value,
) -> Result<Envelope, (u16, String)> {
    let mut sent: Sent = serde_json::from_value(value)
        .map_err(|error| (422, format!("This is not readable: {error}.")))?;
    let entry = readable(&mut sent)?;
    dressed(sent, entry, actor)
}

/// The same of an entry that was made of a file; its header is in `value`.
pub(in crate::web) fn made_by(
    actor: Actor,
    value: serde_json::Value,
    entry: Entry,
) -> Result<Envelope, (u16, String)> {
    let sent: Sent = serde_json::from_value(value)
        .map_err(|error| (422, format!("This is not readable: {error}.")))?;
    dressed(sent, entry, actor)
}

/// The entry in what was sent, when devices may send its kind.
fn readable(sent: &mut Sent) -> Result<Entry, (u16, String)> {
    let entry = Entry::read(&sent.kind, sent.version, sent.body.take())
        .map_err(|error| (422, format!("This is not readable: {error}.")))?;
    if entry.is_from_device() {
        return Ok(entry);
    }
    let sentence = "Entries of this kind are made on a page of the server.";
    Err((422, sentence.to_owned()))
}

/// The entry with the header that was sent.
fn dressed(sent: Sent, entry: Entry, actor: Actor) -> Result<Envelope, (u16, String)> {
    if !is_uuid_v7(&sent.id) {
        let sentence = "The id must be a UUID of version 7.";
        return Err((422, sentence.to_owned()));
    }
    for (name, text, limit) in [
        ("The device", &sent.device, 100),
        ("The time zone", &sent.time_zone, 60),
    ] {
        clean("", name, text, limit).map_err(|fault| (422, fault.sentence))?;
    }
    let note = sent
        .note
        .as_deref()
        .map(|note| clean("note", "The note", note, TEXT_LIMIT));
    let note = note.transpose().map_err(|fault| (422, fault.sentence))?;
    if let Some(sentence) = entry_typed::mistyped(&entry) {
        return Err((422, sentence));
    }
    let envelope = Envelope {
        id: EntryId(sent.id),
        chain: Chain::Study(StudyId(sent.study)),
        actor,
        device: sent.device,
        device_seq: sent.device_seq,
        taken_at: sent.taken_at,
        time_zone: sent.time_zone,
        note: note.filter(|note| !note.is_empty()),
        entry,
    };
    // What is asked before the journal's own rules counts with days already.
    guard::has_countable_days(&envelope).map_err(|why| (422, why.to_string()))?;
    Ok(envelope)
}

/// Whoever is signed in, or the lab link for the entry's consignment whose cookie came along.
async fn actor(
    app: &App,
    visitor: &Visitor,
    headers: &HeaderMap,
    entry: &Entry,
) -> Result<Actor, (u16, String)> {
    if let Some(consignment) = entry.tester_consignment() {
        let links = app.store.links_to(consignment).await;
        let links: Vec<LinkId> = links.map_err(|_| (503, NotTaken::Unknown.to_string()))?;
        for link in links {
            if link_from_cookie(app, headers, link).await {
                return Ok(Actor::Link(link));
            }
        }
    }
    match &visitor.0 {
        Some(steward) => Ok(Actor::Account(AccountId(steward.id))),
        None => Err((401, "Sign in first.".to_owned())),
    }
}
