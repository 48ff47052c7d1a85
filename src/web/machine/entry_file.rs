//! One entry with its file from a tester's program: `multipart/form-data` with the field `entry`, as an entry of a batch
//! is written, and the part `file`. The answer is that of a batch of one.

use super::entry_fill;
use super::entry_send::told;
use crate::study::ids::EntryId;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::fault::{JsonFault, WebFault};
use crate::web::lab::program_files::{self, KINDS, NoEntry};
use crate::web::sync::entry_save::{Answer, made_by, submitted_with_file};
use crate::web::token::TokenAccess;
use crate::web::upload::Upload;
use axum::Json;
use axum::extract::State;
use serde_json::{Value, json};

/// Takes it.
pub(in crate::web) async fn save(
    State(app): State<App>,
    token: TokenAccess,
    lab: LabAccess,
    upload: Result<Upload, WebFault>,
) -> Result<Json<Value>, JsonFault> {
    token.must_send()?;
    let answer = one(&app, (&token, &lab), &upload?).await?;
    Ok(Json(json!({ "receipts": [told(answer)] })))
}

async fn one(
    app: &App,
    (token, lab): (&TokenAccess, &LabAccess),
    upload: &Upload,
) -> Result<Answer, WebFault> {
    let value: Value = match serde_json::from_str(upload.typed.raw("entry")) {
        Ok(value) => value,
        Err(error) => {
            let sentence = format!("The field “entry” is not readable: {error}.");
            return Ok(Answer::refused(None, 422, sentence));
        }
    };
    let id = value.get("id").and_then(Value::as_str);
    let id = id.and_then(|id| id.parse::<EntryId>().ok());
    let refused = |status, why: String| Ok(Answer::refused(id.map(|id| id.0), status, why));
    let Some(known) = id else {
        return refused(422, "The id must be a UUID of version 7.".to_owned());
    };
    let mut filled = match entry_fill::fill(token, value) {
        Ok(filled) => filled,
        Err(why) => return refused(422, why),
    };
    let kind = filled
        .get("kind")
        .and_then(Value::as_str)
        .unwrap_or_default()
        .to_owned();
    if !KINDS.contains(&kind.as_str()) {
        let sentence = format!("Entries of these kinds come here: {}.", KINDS.join(", "));
        return refused(422, sentence);
    }
    let body = filled.get_mut("body").map(Value::take).unwrap_or_default();
    let entry = match program_files::entry(app, lab, (known, &kind), body, upload).await {
        Ok(entry) => entry,
        Err(NoEntry::Refused(why)) => return refused(422, why),
        Err(NoEntry::Fault(fault)) => return Err(fault),
    };
    Ok(match made_by(token.actor(), filled, entry) {
        Ok(envelope) => submitted_with_file(app, envelope).await,
        Err((status, why)) => Answer::refused(id.map(|id| id.0), status, why),
    })
}
