//! A study's current address: on to its latest edition, or, before there are results, the page that
//! says what is asked, what was sealed and what is out.

use crate::report::climate;
use crate::report::progress::{self, Links};
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::assets;
use crate::web::fault::WebFault;
use crate::web::page::{Moved, Page};
use crate::web::shelf::Keep;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

/// The latest edition, or how far the study is.
pub(in crate::web) async fn show(
    State(app): State<App>,
    study: StudyAccess,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let latest = record
        .editions
        .iter()
        .rev()
        .find(|edition| edition.withdrawn.is_none());
    if let Some(edition) = latest {
        let address = format!("/studies/{}/editions/{}/", study.slug, edition.number);
        let moved = Moved::to(address).into_response();
        return Ok(match study.is_public {
            true => Keep::while_still(study.id).mark(moved),
            false => moved,
        });
    }
    let links = Links {
        stylesheet: assets::address("edition.css").to_owned(),
        home: "/".to_owned(),
        feed: format!("/studies/{}/feed.atom", study.slug),
        photographs: format!("/studies/{}/photographs", study.slug),
        plan: record
            .seal
            .as_ref()
            .map(|_| format!("/studies/{}/plan.json", study.slug)),
    };
    let now = app.clock.now();
    let values = app.store.series_values(&record).await?;
    let climate = climate::before_results(&record, &values, now);
    let answer = Page::of(progress::page(&record, climate, links, now)).into_response();
    Ok(match study.is_public {
        true => Keep::while_still(study.id).briefly().mark(answer),
        false => answer,
    })
}
