//! `POST /photographs`: one photograph from a device's queue, as `multipart/form-data`. The field `entry`
//! holds it as JSON in the form of `POST /entries`, with the kind `photograph_taken` and what it shows as
//! the body; the part `file` holds the picture. The answer is that of `POST /entries` with one receipt.

use super::entry_save::{Answer, Answers, Sent, headed, submitted};
use crate::study::entry::Entry;
use crate::study::ids::EntryId;
use crate::study::photograph::{Described, Photograph};
use crate::web::App;
use crate::web::darkroom::{Undeveloped, develop};
use crate::web::extract::{Steward, Visitor};
use crate::web::fault::JsonFault;
use crate::web::upload::Upload;
use axum::Json;
use axum::extract::State;
use axum::http::HeaderMap;

/// The kind of the entry.
const KIND: &str = "photograph_taken";

/// Takes a photograph.
pub(in crate::web) async fn save(
    State(app): State<App>,
    steward: Steward,
    headers: HeaderMap,
    upload: Result<Upload, crate::web::fault::WebFault>,
) -> Result<Json<Answers>, JsonFault> {
    let receipts = vec![one(&app, steward, &headers, &upload?).await?];
    Ok(Json(Answers { receipts }))
}

async fn one(
    app: &App,
    steward: Steward,
    headers: &HeaderMap,
    upload: &Upload,
) -> Result<Answer, JsonFault> {
    let unreadable = |id, error: serde_json::Error| {
        Ok(Answer::refused(
            id,
            422,
            format!("This is not readable: {error}."),
        ))
    };
    let mut sent: Sent = match serde_json::from_str(upload.typed.raw("entry")) {
        Ok(sent) => sent,
        Err(error) => return unreadable(None, error),
    };
    let id = Some(sent.id);
    if sent.kind != KIND {
        let sentence = format!("Only entries of the kind {KIND} come here.");
        return Ok(Answer::refused(id, 422, sentence));
    }
    let described: Described = match serde_json::from_value(sent.body.take()) {
        Ok(described) => described,
        Err(error) => return unreadable(id, error),
    };
    let files = match develop(app, EntryId(sent.id), upload.file("file")).await {
        Ok(files) => files,
        Err(Undeveloped::Refused(why)) => return Ok(Answer::refused(id, 422, why.to_string())),
        Err(Undeveloped::Fault(fault)) => return Err(fault.into()),
    };
    let photograph = Box::new(Photograph { described, files });
    let entry = Entry::PhotographTaken { photograph };
    let visitor = Visitor(Some(steward));
    Ok(match headed(app, &visitor, headers, sent, entry).await {
        Ok(envelope) => submitted(app, envelope).await,
        Err((status, problem)) => Answer::refused(id, status, problem),
    })
}
