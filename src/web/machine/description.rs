//! The interface described by OpenAPI 3.1, made from the one table of routes: an address without a row is not in
//! it, and a row without its words fails a test. It names nothing of any study.

use super::{operations, put, schemas};
use crate::web::routes::{self, Route, Who};
use axum::Json;
use serde_json::{Map, Value, json};
use std::sync::LazyLock;

/// Made once.
static DOCUMENT: LazyLock<Value> = LazyLock::new(document);

/// Shows it.
pub(in crate::web) async fn show() -> Json<Value> {
    Json(DOCUMENT.clone())
}

fn document() -> Value {
    let mut paths: Map<String, Value> = Map::new();
    for route in routes::table()
        .iter()
        .filter(|route| route.who.is_for_programs())
    {
        if let Some(operation) = described(route) {
            let path = paths.entry(route.path).or_insert_with(|| json!({}));
            put(path, &route.method.as_str().to_ascii_lowercase(), operation);
        }
    }
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Overwinter",
            "version": env!("CARGO_PKG_VERSION"),
            "summary": "What programs may read and send.",
            "description": "A token is made by a steward on the study's desk or by a tester behind a lab \
                link. Entries carry an id that the sender chooses; sending the same entry again gives the \
                first receipt. Examples are on the page /api.",
        },
        "paths": paths,
        "components": {
            "securitySchemes": { "token": { "type": "http", "scheme": "bearer" } },
            "schemas": schemas::all(),
        },
    })
}

fn described(route: &Route) -> Option<Value> {
    let mut operation = operations::of(route.name)?;
    put(&mut operation, "operationId", json!(route.name));
    let security = match route.who {
        Who::ProgramReader => json!([{}, { "token": [] }]),
        _ => json!([{ "token": [] }]),
    };
    put(&mut operation, "security", security);
    let responses = operation.get_mut("responses")?;
    for status in statuses(route) {
        put(responses, &status.to_string(), problem(status));
    }
    Some(operation)
}

/// What else a route may answer, by who may reach it and whether it takes anything.
fn statuses(route: &Route) -> Vec<u16> {
    let mut statuses = match route.who {
        Who::ProgramReader => vec![404, 410],
        Who::TesterToken => vec![401, 403, 404],
        _ => vec![401],
    };
    if route.method == axum::http::Method::POST {
        statuses.extend([403, 408, 409, 413, 415, 422]);
    }
    statuses.extend([429, 500, 503]);
    statuses
}

fn problem(status: u16) -> Value {
    let words = match status {
        401 => "No token, or one that opens nothing.",
        403 => "The token may not do this.",
        404 => "Nothing is here for whoever asks.",
        408 => "The request did not arrive in time.",
        409 => "It does not fit what has happened since.",
        410 => "The edition was withdrawn.",
        413 => "Larger than this address takes.",
        415 => "Of a kind that this address does not read.",
        422 => "A rule refuses it; the detail says which.",
        429 => "Too many wrong tokens came from this address; Retry-After says how long to wait.",
        503 => "Too much to do just now; try again after the seconds in Retry-After.",
        _ => "A fault of ours; the id stands in the server's log.",
    };
    let mut answer = json!({
        "description": words,
        "content": { "application/problem+json": { "schema": schemas::named("Problem") } },
    });
    if matches!(status, 429 | 503) {
        let wait = json!({ "description": "Seconds.", "schema": { "type": "string" } });
        put(&mut answer, "headers", json!({ "Retry-After": wait }));
    }
    answer
}
