//! The feeds: all public studies of this server with their editions, and each study by itself.

use crate::report::feed;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::fault::WebFault;
use crate::web::shelf::Keep;
use axum::extract::State;
use axum::http::HeaderValue;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

/// All public studies.
pub(in crate::web) async fn all(State(app): State<App>) -> Result<Response, WebFault> {
    let mut records = Vec::new();
    for study in app.store.public_studies().await? {
        records.extend(app.store.study_record(&study.slug).await?);
    }
    // One that was made private in between is not told of.
    let shown = records.iter().filter(|record| record.is_public);
    let shown = shown.map(AsRef::as_ref);
    let text = feed::of_all(shown, &app.config.link_base(), app.clock.now());
    let answer = answer(text.map_err(WebFault::ours)?);
    Ok(Keep::for_all().briefly().mark(answer))
}

/// One study.
pub(in crate::web) async fn of_study(
    State(app): State<App>,
    study: StudyAccess,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let text = feed::of_study(&record, &app.config.link_base());
    let answer = answer(text.map_err(WebFault::ours)?);
    Ok(match study.is_public {
        true => Keep::while_still(study.id).mark(answer),
        false => answer,
    })
}

fn answer(text: String) -> Response {
    let mut answer = text.into_response();
    let kind = HeaderValue::from_static("application/atom+xml; charset=utf-8");
    answer.headers_mut().insert(CONTENT_TYPE, kind);
    let ask = HeaderValue::from_static("no-cache");
    answer.headers_mut().insert(CACHE_CONTROL, ask);
    answer
}
