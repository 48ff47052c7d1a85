//! The sealed plan's file: the bytes whose hash is the seal.

use crate::study::plan::sha256_hex;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::fault::WebFault;
use crate::web::shelf::Keep;
use axum::extract::State;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

/// The file; there is none before the seal.
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
    let sealed = sealed.ok_or_else(|| WebFault::ours("a seal without its plan"))?;
    let bytes = sealed.plan.to_bytes().map_err(WebFault::ours)?;
    if sha256_hex(&bytes) != seal.sha256 {
        return Err(WebFault::ours(
            "the plan's bytes do not have the seal's hash",
        ));
    }
    let name = format!("inline; filename=\"{}-plan.json\"", record.slug);
    let headers = [
        (CONTENT_TYPE, "application/json".to_owned()),
        (CONTENT_DISPOSITION, name),
    ];
    let answer = (headers, bytes).into_response();
    Ok(match study.is_public {
        true => Keep::while_still(study.id).mark(answer),
        false => answer,
    })
}
