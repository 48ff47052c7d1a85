//! The sealed plan's bytes, so that anybody can hash them.

use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::fault::WebFault;
use axum::extract::State;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};

/// The plan that was sealed; nothing before the seal.
pub(in crate::web) async fn show(
    State(app): State<App>,
    study: StudyAccess,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let seal = record.seal.as_ref().ok_or(WebFault::NotFound)?;
    let sealed = record
        .plans
        .iter()
        .find(|plan| plan.version == seal.plan_version);
    let bytes = sealed
        .ok_or(WebFault::NotFound)?
        .plan
        .to_bytes()
        .map_err(WebFault::ours)?;
    Ok(([(CONTENT_TYPE, "application/json")], bytes).into_response())
}
