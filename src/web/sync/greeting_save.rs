//! `POST /sync`: a device says what waits on it and which receipts it holds; it learns who is signed
//! in, what time it is here, and which chains no longer hold what was acknowledged to it (a restored
//! backup, a lost disk), so that it sends those entries again.

use crate::store::Said;
use crate::study::ids::StudyId;
use crate::web::App;
use crate::web::extract::{JsonBody, Steward};
use crate::web::fault::{JsonFault, WebFault};
use crate::web::session::device_name;
use axum::Json;
use axum::extract::State;
use axum::http::HeaderMap;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Most chains that one device may ask about.
const MOST: usize = 200;

/// What a device says.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::web) struct Greeting {
    device: Uuid,
    /// Now, by its own clock.
    clock: DateTime<Utc>,
    waiting: u32,
    refused: u32,
    oldest: Option<DateTime<Utc>>,
    receipts: Vec<Held>,
}

/// The newest receipt that a device holds of a chain.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Held {
    chain: StudyId,
    seq: u64,
    /// In hexadecimal digits.
    hash: String,
}

/// What the server says.
#[derive(Debug, Serialize)]
pub(in crate::web) struct Reply {
    account: Uuid,
    name: String,
    now: DateTime<Utc>,
    /// Chains in which the receipt shown is not found.
    lost: Vec<StudyId>,
}

/// Notes what the device says, and answers.
pub(in crate::web) async fn save(
    State(app): State<App>,
    steward: Steward,
    headers: HeaderMap,
    JsonBody(said): JsonBody<Greeting>,
) -> Result<Json<Reply>, JsonFault> {
    if said.receipts.len() > MOST {
        let sentence = format!("A device may ask about {MOST} chains at most.");
        return Err(WebFault::Refused(sentence).into());
    }
    let now = app.clock.now();
    let device = Said {
        id: said.device,
        name: device_name(&headers),
        waiting: said.waiting,
        refused: said.refused,
        oldest_at: said.oldest,
        ahead_ms: (said.clock - now).num_milliseconds(),
    };
    app.store.put_device(steward.id, &device, now).await?;
    let mut lost = Vec::new();
    for held in said.receipts {
        if !app.store.holds(held.chain, held.seq, &held.hash).await? {
            lost.push(held.chain);
        }
    }
    Ok(Json(Reply {
        account: steward.id,
        name: steward.display_name,
        now,
        lost,
    }))
}
