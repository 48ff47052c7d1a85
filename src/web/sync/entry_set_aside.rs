//! `POST /sync/set-aside`: an entry that the journal refused and that its owner gives up. The server
//! keeps it whole, with the reason, so that even this leaves a device only when it is kept elsewhere.

use crate::store::SetAside;
use crate::study::typed::{TEXT_LIMIT, clean};
use crate::web::App;
use crate::web::extract::{JsonBody, Steward};
use crate::web::fault::{JsonFault, WebFault};
use axum::Json;
use axum::extract::State;
use serde::Deserialize;
use uuid::Uuid;

/// The longest entry that is kept, in bytes.
const LONGEST: usize = 100_000;

/// What is given up.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::web) struct GivenUp {
    id: Uuid,
    entry: serde_json::Value,
    why: String,
    reason: String,
}

/// Keeps it.
pub(in crate::web) async fn save(
    State(app): State<App>,
    steward: Steward,
    JsonBody(sent): JsonBody<GivenUp>,
) -> Result<Json<serde_json::Value>, JsonFault> {
    let text = |name: &str, text: &str| {
        clean("", name, text, TEXT_LIMIT).map_err(|fault| WebFault::Refused(fault.sentence))
    };
    let reason = text("The reason", &sent.reason)?;
    if reason.is_empty() {
        return Err(WebFault::Refused("Say why it is set aside.".to_owned()).into());
    }
    let entry = sent.entry.to_string();
    if entry.len() > LONGEST {
        return Err(WebFault::TooLarge.into());
    }
    let given_up = SetAside {
        id: sent.id,
        entry,
        why: text("What the server said", &sent.why)?,
        reason,
        at: app.clock.now(),
    };
    app.store.set_aside(steward.id, &given_up).await?;
    Ok(Json(serde_json::json!({ "id": sent.id })))
}
