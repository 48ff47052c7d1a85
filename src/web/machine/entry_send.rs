//! Entries from a program: the same door as the phone's queue ([`crate::web::sync::entry_save`]), by a token
//! instead of a cookie. Each entry stands for itself and gets what a request of its own would have got.

use super::{entry_fill, put};
use crate::store::NotTaken;
use crate::study::entry::Envelope;
use crate::study::ids::EntryId;
use crate::web::App;
use crate::web::extract::JsonBody;
use crate::web::fault::{JsonFault, Problem, WebFault};
use crate::web::lab::program_files::FILE_ALONE;
use crate::web::steward::program_asks;
use crate::web::sync::entry_save::{Answer, sent_by, submitted};
use crate::web::token::{Holder, TokenAccess};
use axum::Json;
use axum::extract::State;
use serde::Deserialize;
use serde_json::{Value, json};

/// Most entries in one batch.
pub(super) const MOST: usize = 500;

/// Where an entry goes that comes with a file.
pub(in crate::web) const WITH_FILE: &str = "/api/v1/entries/file";

/// What is sent.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::web) struct Batch {
    entries: Vec<Value>,
}

/// Takes a batch.
pub(in crate::web) async fn save(
    State(app): State<App>,
    token: TokenAccess,
    JsonBody(batch): JsonBody<Batch>,
) -> Result<Json<Value>, JsonFault> {
    token.must_send()?;
    if batch.entries.len() > MOST {
        let sentence = format!("A batch holds at most {MOST} entries.");
        return Err(WebFault::Refused(sentence).into());
    }
    let mut receipts = Vec::with_capacity(batch.entries.len());
    for value in batch.entries {
        receipts.push(told(one(&app, &token, value).await));
    }
    Ok(Json(json!({ "receipts": receipts })))
}

async fn one(app: &App, token: &TokenAccess, value: Value) -> Answer {
    let id = value.get("id").and_then(Value::as_str);
    let id = id.and_then(|id| id.parse::<EntryId>().ok()).map(|id| id.0);
    let kind = value.get("kind").and_then(Value::as_str);
    if kind.is_some_and(|kind| FILE_ALONE.contains(&kind)) {
        let sentence = format!("Entries of this kind come with their file: POST {WITH_FILE}.");
        return Answer::refused(id, 422, sentence);
    }
    let filled = match entry_fill::fill(token, value) {
        Ok(filled) => filled,
        Err(why) => return Answer::refused(id, 422, why),
    };
    match sent_by(token.actor(), filled) {
        Ok(envelope) => asked(app, token, envelope).await,
        Err((status, why)) => Answer::refused(id, status, why),
    }
}

/// What the journal says, unless a steward's page would have asked before. (What a tester's page asks, the door asks
/// of every sender; a steward's phone asked by itself.)
async fn asked(app: &App, token: &TokenAccess, envelope: Envelope) -> Answer {
    let id = Some(envelope.id.0);
    let objection = match (&token.holder, app.store.has_entry(envelope.id).await) {
        (Holder::Steward(_), Ok(false)) => {
            program_asks::objection(app, &token.study, &envelope.entry).await
        }
        (_, known) => known.map(|_| None).map_err(WebFault::from),
    };
    match objection {
        Ok(None) => submitted(app, envelope).await,
        Ok(Some(objection)) => Answer::objected(id, objection),
        Err(_) => Answer::refused(id, 503, NotTaken::Unknown.to_string()),
    }
}

/// An entry's answer, its refusal as a problem.
pub(super) fn told(answer: Answer) -> Value {
    let mut told = json!({ "id": answer.id, "status": answer.status });
    if let Some(receipt) = answer.receipt {
        put(&mut told, "receipt", json!(receipt));
    }
    if let Some(why) = answer.problem {
        let mut problem = Problem::of_entry(answer.status, why).to_json();
        if let Some(mend) = answer.mend {
            put(&mut problem, "mend", json!(mend));
        }
        put(&mut told, "problem", problem);
    }
    told
}
