//! The calendar itself, for whoever has its secret address: what is due over all studies of the person
//! whose address it is. The log knows it by the route's name alone.

use super::study_list::{DueIn, everything_due};
use crate::clock::Token;
use crate::report::calendar::{Event, calendar};
use crate::web::App;
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use axum::extract::State;
use axum::http::HeaderValue;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

/// The file. A wrong, replaced or ended address is one that does not exist.
pub(in crate::web) async fn show(
    State(app): State<App>,
    Path(token): Path<String>,
) -> Result<Response, WebFault> {
    let token = Token::parse(&token).ok_or(WebFault::NotFound)?;
    let now = app.clock.now();
    let found = app.store.open_calendar_feed(&token.sha256(), now).await?;
    let account = found.ok_or(WebFault::NotFound)?;
    let all = everything_due(&app, account).await?;
    let base = app.config.link_base();
    let events: Vec<Event> = all.iter().map(|one| event(one, &base)).collect();
    let mut answer = calendar("Overwinter: what is due", &events, now).into_response();
    let headers = answer.headers_mut();
    let kind = HeaderValue::from_static("text/calendar; charset=utf-8");
    headers.insert(CONTENT_TYPE, kind);
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    Ok(answer)
}

fn event(one: &DueIn, base: &str) -> Event {
    let (study, due) = (&one.study, &one.due);
    let mut said = vec![study.title.as_str()];
    said.extend(Some(due.detail.as_str()).filter(|detail| !detail.is_empty()));
    Event {
        uid: format!("{}.{}@overwinter", due.key, study.id),
        // The journal only grows, so a changed event never has a smaller number.
        sequence: study.entries,
        summary: due.title.clone(),
        description: said.join("\n"),
        url: format!("{base}/desk/{}/{}", study.slug, due.page),
        from: due.opens,
        to: due.closes,
    }
}
