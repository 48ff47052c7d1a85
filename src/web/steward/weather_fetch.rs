//! Fetching the weather of a site from the archive that the keeper has set.

use super::environment_places;
use crate::clock::hex;
use crate::store::Blob;
use crate::study::entry::Entry;
use crate::study::environment::archive::{self, Part};
use crate::study::environment::{SeriesAdded, SeriesPlace, SeriesSource};
use crate::study::fault::{Fault, Faults};
use crate::study::record::StudyRecord;
use crate::study::typed::Typed;
use crate::study::units::number;
use crate::study::when;
use crate::weather::{Ask, WeatherFault};
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use chrono::{NaiveDate, TimeDelta};
use std::sync::Arc;

/// The longest time asked for at once, in days.
const MOST_DAYS: i64 = 400;

#[derive(Template)]
#[template(path = "steward/weather_fetch.html")]
struct FetchPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    is_on: bool,
    host: String,
    attribution: String,
    places: Vec<(String, String)>,
    form: Form,
}

fn page(chrome: Chrome, app: &App, record: Arc<StudyRecord>, form: Form) -> FetchPage {
    FetchPage {
        chrome: chrome.titled(format!("Fetch the weather of a site · {}", record.title)),
        is_on: app.weather.is_on(),
        host: app.weather.host(),
        attribution: app.weather.attribution().to_owned(),
        places: environment_places::places(&record),
        record,
        form,
    }
}

/// The form: the last site, from the first outing to yesterday.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let fresh = act::fresh(&app);
    let mut typed = Typed::from([("entry", fresh.as_str())]);
    let zone = when::zone(&record.time_zone);
    let today = app.clock.now().with_timezone(&zone).date_naive();
    let first = record
        .specimens
        .iter()
        .filter_map(|piece| piece.out_at)
        .min();
    let first = first.map(|at| at.with_timezone(&zone).date_naive());
    let until = today - TimeDelta::days(1);
    let earliest = until - TimeDelta::days(MOST_DAYS - 1);
    let from = first.unwrap_or(until).max(earliest).min(until);
    typed.set("from", from.to_string());
    typed.set("until", until.to_string());
    let last = record
        .series
        .iter()
        .rev()
        .find_map(|series| match &series.series.source {
            SeriesSource::Archive {
                latitude,
                longitude,
                ..
            } => Some((latitude, longitude)),
            SeriesSource::Logger { .. } => None,
        });
    if let Some((latitude, longitude)) = last {
        typed.set("latitude", latitude.to_string());
        typed.set("longitude", longitude.to_string());
    }
    Ok(Page::of(page(chrome, &app, record, Form::filled(typed))))
}

/// What the form asks for.
struct Asked {
    place: SeriesPlace,
    ask: Ask,
}

fn degrees(typed: &Typed, field: &str, called: &str, most: f64) -> Result<f64, Fault> {
    let value = number(field, called, typed.text(field))?;
    if value.abs() <= most {
        Ok(value)
    } else {
        let sentence = format!("{called} must lie between -{most} and {most} degrees.");
        Err(Fault::new(field, sentence))
    }
}

fn parse(typed: &Typed, record: &StudyRecord, today: NaiveDate) -> Result<Asked, Faults> {
    let mut faults = Faults::none();
    let place = faults.keep(environment_places::place(typed, record));
    let latitude = faults.keep(degrees(typed, "latitude", "The latitude", 90.0));
    let longitude = faults.keep(degrees(typed, "longitude", "The longitude", 180.0));
    let from = faults.keep(when::day("from", "The first day", typed.text("from")));
    let until = faults.keep(when::day("until", "The last day", typed.text("until")));
    if until.is_some_and(|until| until > today) {
        faults.push(
            "until",
            "The last day lies in the future; an archive holds the past.",
        );
    }
    if let Some((from, until)) = from.zip(until) {
        let days = (until - from).num_days();
        if days < 0 {
            faults.push("until", "The last day lies before the first one.");
        } else if days >= MOST_DAYS {
            let sentence = format!("At most {MOST_DAYS} days at once; fetch the rest afterwards.");
            faults.push("from", sentence);
        }
    }
    let asked = || {
        Some(Asked {
            place: place?,
            ask: Ask {
                latitude: latitude?,
                longitude: longitude?,
                from: from?,
                until: until?,
            },
        })
    };
    let asked = asked();
    faults.and_some(asked)
}

/// Fetches, and saves what came as series.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    fields: Fields,
) -> Result<Response, WebFault> {
    let on = format!("/desk/{}/environment", study.slug);
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(on).into_response());
    }
    let record = study.record(&app).await?;
    let zone = when::zone(&record.time_zone);
    let today = app.clock.now().with_timezone(&zone).date_naive();
    let done = match fields.read(|typed| parse(typed, &record, today)) {
        Ok(asked) => {
            let acting = Acting::steward(&steward, &study);
            fetch(&app, &acting, &fields, asked).await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(said) => Ok(Moved::to(on).saying(said).into_response()),
        Err(Declined::Form(form)) => {
            Ok(Page::refused(page(chrome, &app, record, form)).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

async fn fetch(
    app: &App,
    acting: &Acting,
    fields: &Fields,
    asked: Asked,
) -> Result<String, Declined> {
    let answer = app.weather.ask(&app.store, &app.clock, &asked.ask).await;
    let bytes = match answer {
        Ok(bytes) => bytes,
        Err(WeatherFault::Ours(error)) => return Err(Declined::Fault(error.into())),
        Err(fault) => return Err(fields.again_with("", fault.to_string()).into()),
    };
    let reading = bytes.clone();
    let parts = tokio::task::spawn_blocking(move || archive::read(&reading)).await;
    let parts = match parts.map_err(WebFault::ours)? {
        Ok(parts) => parts,
        Err(fault) => return Err(fields.again_with("", fault.to_string()).into()),
    };
    let kept = app
        .weather
        .keep(&app.store, &app.clock, &asked.ask, bytes)
        .await;
    let file_sha256 = match kept {
        Ok(sha256) => hex(&sha256),
        Err(WeatherFault::Ours(error)) => return Err(Declined::Fault(error.into())),
        Err(fault) => return Err(fields.again_with("", fault.to_string()).into()),
    };
    let mut entries = Vec::new();
    let mut said = Vec::new();
    for part in parts {
        let series = series(app, &asked, part, &file_sha256).await?;
        said.push(format!("{}: {} rows", series.name, series.rows));
        entries.push((Entry::SeriesAdded(Box::new(series)), None));
    }
    act::submit_all(app, acting, fields, entries).await?;
    Ok(format!("{}.", said.join("; ")))
}

async fn series(
    app: &App,
    asked: &Asked,
    part: Part,
    file_sha256: &str,
) -> Result<SeriesAdded, WebFault> {
    let values = part.values;
    let blob = Blob {
        media_type: "text/csv".to_owned(),
        bytes: values.to_bytes().map_err(WebFault::ours)?,
    };
    let values_sha256 = hex(&app.store.put_blob(&blob).await?);
    let missing = || WebFault::ours("a part of an answer that was read has no rows");
    let (first, last) = values
        .rows
        .first()
        .zip(values.rows.last())
        .ok_or_else(missing)?;
    Ok(SeriesAdded {
        name: format!("{} weather", part.name),
        place: asked.place.clone(),
        source: SeriesSource::Archive {
            attribution: app.weather.attribution().to_owned(),
            latitude: asked.ask.latitude,
            longitude: asked.ask.longitude,
        },
        channels: part.channels,
        file_sha256: file_sha256.to_owned(),
        values_sha256,
        rows: u32::try_from(values.rows.len()).unwrap_or(u32::MAX),
        step_s: if part.name == "daily" {
            86_400
        } else {
            values.step_s()
        },
        first: first.at,
        last: last.at,
    })
}
