//! Lab links: made, extended, revoked. A link's address holds its secret; it is shown once, on the
//! page that answers the form, and kept only as a hash.

use super::consignment_show::{Forms, page};
use crate::study::consignment::ParcelState;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::{ConsignmentId, LinkId};
use crate::study::record::ConsignmentRecord;
use crate::study::typed::Typed;
use crate::study::{units, when};
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::Fields;
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::http::HeaderValue;
use axum::http::header::CACHE_CONTROL;
use axum::response::{IntoResponse, Response};
use chrono::{DateTime, TimeDelta, Utc};

/// The longest that a link stays open, in days.
const LONGEST: u32 = 365;

#[derive(Template)]
#[template(path = "steward/link_save.html")]
struct LinkPage {
    chrome: Chrome,
    back: String,
    lab: String,
    /// `None` when the form was sent twice: the address was shown the first time.
    link: Option<String>,
    ends: String,
}

/// Makes one.
pub(in crate::web) async fn issue(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    Path((_, id)): Path<(String, ConsignmentId)>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let consignment = record.consignment(id).ok_or(WebFault::NotFound)?;
    let mut answer = LinkPage {
        chrome: chrome.clone().titled("Lab link"),
        back: format!("/desk/{}/consignments/{id}", study.slug),
        lab: consignment.lab.clone(),
        link: None,
        ends: String::new(),
    };
    if act::is_done(&app, &fields).await? {
        return Ok(unkept(answer));
    }
    let days = |typed: &Typed| {
        let days = units::whole("days", "The number of days", typed.text("days"), 1, LONGEST);
        days.map_err(|fault| Faults::one(fault.field, fault.sentence))
    };
    let made = match fields.read(days) {
        Ok(days) => {
            make(
                &app,
                &Acting::steward(&steward, &study),
                &fields,
                consignment,
                days,
            )
            .await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match made {
        Ok((address, ends)) => {
            answer.link = Some(address);
            answer.ends = when::day_in_words(ends, &record.time_zone);
            Ok(unkept(answer))
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            let form = act::afresh(&app, &form);
            let forms = Forms {
                link: form,
                ..Forms::fresh(&app, &record.time_zone)
            };
            Ok(Page::refused(page(&app, chrome, record, id, forms)?).into_response())
        }
    }
}

/// No browser and no proxy keeps the page with the secret.
fn unkept(page: LinkPage) -> Response {
    let mut answer = Page::of(page).into_response();
    let never = HeaderValue::from_static("no-store");
    answer.headers_mut().insert(CACHE_CONTROL, never);
    answer
}

/// The address with the secret, and when the link ends at the latest.
async fn make(
    app: &App,
    acting: &Acting,
    fields: &Fields,
    consignment: &ConsignmentRecord,
    days: u32,
) -> Result<(String, DateTime<Utc>), Declined> {
    let link = LinkId(app.clock.new_id());
    let token = app.clock.new_token();
    let latest = latest(consignment, days, app.clock.now());
    // The secret first: without its entry it opens nothing, while an entry without its secret would
    // be a link that nobody can open.
    let kept = app.store.put_lab_secret(link.0, &token.sha256()).await;
    kept.map_err(WebFault::from)?;
    let entry = Entry::LinkIssued {
        link,
        consignment: consignment.id,
        days,
        latest,
    };
    act::submit(app, acting, fields, entry, None).await?;
    let base = app.config.link_base();
    Ok((
        format!("{base}/lab/{link}/enter/{}", token.reveal()),
        latest,
    ))
}

/// A year from now while the parcel is on its way, since the days count from its receipt; when it was
/// received already, the days themselves.
fn latest(consignment: &ConsignmentRecord, days: u32, now: DateTime<Utc>) -> DateTime<Utc> {
    let is_received = consignment.parcel == ParcelState::Received;
    now + TimeDelta::days(i64::from(if is_received { days } else { LONGEST }))
}

/// Sets another end.
pub(in crate::web) async fn extend(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    Path((_, id, link)): Path<(String, ConsignmentId, LinkId)>,
    mut fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    must_be_of(record.consignment(id), link)?;
    fields.0.set("link", link.to_string());
    let now = app.clock.now();
    let extended = match fields.read(|typed| until(typed, now)) {
        Ok(latest) => {
            let entry = Entry::LinkExtended { link, latest };
            act::submit(
                &app,
                &Acting::steward(&steward, &study),
                &fields,
                entry,
                None,
            )
            .await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match extended {
        Ok(_) => {
            let to = format!("/desk/{}/consignments/{id}", study.slug);
            Ok(Moved::to(to)
                .saying("The link has another end; its address stays the same.")
                .into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            let form = act::afresh(&app, &form);
            let forms = Forms {
                extend: form,
                ..Forms::fresh(&app, &record.time_zone)
            };
            Ok(Page::refused(page(&app, chrome, record, id, forms)?).into_response())
        }
    }
}

fn until(typed: &Typed, now: DateTime<Utc>) -> Result<DateTime<Utc>, Faults> {
    let day = when::day("until", "The last day", typed.text("until"));
    let day = day.map_err(|fault| Faults::one(fault.field, fault.sentence))?;
    let end = day.and_hms_opt(23, 59, 59).map(|end| end.and_utc());
    let last = now + TimeDelta::days(i64::from(LONGEST));
    match end {
        Some(end) if end > now && end <= last => Ok(end),
        _ => Err(Faults::one(
            "until",
            "The last day must lie within a year from now.",
        )),
    }
}

/// Revokes one: at once, and for good.
pub(in crate::web) async fn revoke(
    State(app): State<App>,
    steward: Steward,
    study: StudyAccess,
    Path((_, id, link)): Path<(String, ConsignmentId, LinkId)>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    must_be_of(record.consignment(id), link)?;
    let acting = Acting::steward(&steward, &study);
    let entry = Entry::LinkRevoked { link };
    match act::submit(&app, &acting, &fields, entry, None).await {
        Ok(_) => {
            let to = format!("/desk/{}/consignments/{id}", study.slug);
            Ok(Moved::to(to)
                .saying("The link is revoked: it opens nothing any more.")
                .into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => Err(WebFault::Refused(form.faults().to_string())),
    }
}

/// The link is one of this consignment.
fn must_be_of(consignment: Option<&ConsignmentRecord>, link: LinkId) -> Result<(), WebFault> {
    let consignment = consignment.ok_or(WebFault::NotFound)?;
    let is_there = consignment.links.iter().any(|one| one.id == link);
    if is_there {
        Ok(())
    } else {
        Err(WebFault::NotFound)
    }
}
