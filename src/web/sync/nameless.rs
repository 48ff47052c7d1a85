//! A piece without its mark, as a device's queue sends it to `POST /entries`: kind and body are those of the
//! entry, only the code may be missing, since only the server knows which codes are free. It gives one when
//! the entry is accepted and names it in the answer. An entry that is on record already gets its own code
//! again, however often it is sent. A device that was told a code before (and sends the entry again,
//! because the server was put back to an earlier day) names it: it stands on a bag, so it is given again while
//! no other piece has it.

use super::entry_save::{Answer, Sent, headed, submitted};
use crate::study::code::Code;
use crate::study::custody::NamelessFound;
use crate::study::entry::Entry;
use crate::study::guard::Refusal;
use crate::study::ids::AccountId;
use crate::study::record::StudyRecord;
use crate::study::specimen::Recovery;
use crate::web::App;
use crate::web::extract::Visitor;
use crate::web::steward::free_codes;
use axum::http::HeaderMap;
use chrono::{DateTime, Utc};
use serde::Deserialize;
use std::sync::Arc;
use uuid::Uuid;

/// The kind of the entry.
pub(super) const KIND: &str = "nameless_found";

/// The body as a device sends it.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct Found {
    #[serde(default)]
    code: Option<Code>,
    condition: String,
    holder: String,
    stage_days: u32,
    recovery: Recovery,
    at: DateTime<Utc>,
}

impl Found {
    fn under(&self, code: Code) -> Entry {
        Entry::NamelessFound(NamelessFound {
            code,
            condition: self.condition.clone(),
            holder: self.holder.clone(),
            stage_days: self.stage_days,
            recovery: self.recovery,
            at: self.at,
        })
    }
}

/// The code that this entry has on record.
fn own(record: &StudyRecord, entry: Uuid) -> Option<Code> {
    let event = record.events.iter().find(|event| event.entry.0 == entry);
    event.map(|event| event.specimen.clone())
}

/// The code for a piece that has none yet: the one that the device was told before, else the next free one.
fn drawn(record: &StudyRecord, told: Option<&Code>) -> Option<Code> {
    let is_free =
        |code: &&Code| code.as_str().starts_with(&record.mark) && record.specimen(code).is_none();
    let told = told.filter(is_free).cloned();
    told.or_else(|| free_codes(record, 1).pop())
}

/// Takes one.
pub(super) async fn save(
    app: &App,
    visitor: &Visitor,
    headers: &HeaderMap,
    mut sent: Sent,
) -> Answer {
    let id = Some(sent.id);
    match taken(app, visitor, headers, &mut sent).await {
        Ok(answer) if answer.status == 422 => Answer {
            mend: Some("form"),
            piece: None,
            ..answer
        },
        Ok(answer) => answer,
        Err((status, problem)) => Answer::refused(id, status, problem),
    }
}

/// Gives it a code and writes it down; draws another when somebody took that one in the meantime.
async fn taken(
    app: &App,
    visitor: &Visitor,
    headers: &HeaderMap,
    sent: &mut Sent,
) -> Result<Answer, (u16, String)> {
    let (id, study) = (sent.id, sent.study);
    let steward = visitor.0.as_ref().map(|steward| AccountId(steward.id));
    let steward = steward.ok_or_else(|| (401, "Sign in first.".to_owned()))?;
    let found: Found = serde_json::from_value(sent.body.take())
        .map_err(|error| (422, format!("This is not readable: {error}.")))?;
    let mut record = record(app, steward, study).await?;
    let slug = record.slug.clone();
    let none = || (503, "The study has no free code.".to_owned());
    let first = own(&record, id).or_else(|| drawn(&record, found.code.as_ref()));
    let mut code = first.ok_or_else(none)?;
    let mut envelope = headed(
        app,
        visitor,
        headers,
        sent.clone(),
        found.under(code.clone()),
    )
    .await?;
    loop {
        let answer = submitted(app, envelope.clone()).await;
        if matches!(answer.status, 200 | 201) {
            let code = Some(code);
            return Ok(Answer { code, ..answer });
        }
        // Refused for itself, unless the code went to somebody else, or to this very entry sent twice at once.
        let tried = code;
        record = again(app, &slug).await?;
        let is_elsewhere = record.specimen(&tried).is_some();
        code = match own(&record, id) {
            Some(own) if own != tried => own,
            None if is_elsewhere => drawn(&record, None).ok_or_else(none)?,
            _ => return Ok(answer),
        };
        envelope.entry = found.under(code.clone());
    }
}

const UNREADABLE: &str = "The server could not read this study; it is sent again.";

/// The study with this id, when it is one of this steward's.
async fn record(
    app: &App,
    steward: AccountId,
    study: Uuid,
) -> Result<Arc<StudyRecord>, (u16, String)> {
    let failed = |_| (503, UNREADABLE.to_owned());
    for line in app.store.studies_of(steward).await.map_err(failed)? {
        let found = app.store.study_record(&line.slug).await.map_err(failed)?;
        if let Some(record) = found.filter(|record| record.id.0 == study) {
            return Ok(record);
        }
    }
    Err((403, Refusal::NotYours.to_string()))
}

async fn again(app: &App, slug: &str) -> Result<Arc<StudyRecord>, (u16, String)> {
    let found = app.store.study_record(slug).await;
    let found = found.map_err(|_| (503, UNREADABLE.to_owned()))?;
    found.ok_or_else(|| (403, Refusal::NoSuchStudy.to_string()))
}
