//! A weather archive that stands in on this machine: it answers as open archives document, or errs,
//! delays, talks nonsense, sends on, has no end.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use axum::Router;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, Uri};
use axum::response::{IntoResponse, Response};
use chrono::NaiveDate;

use crate::house::desk::{Desk, SLUG};
use crate::house::{ChildServer, PASSWORD, standin};
use overwinter::clock::Clock;
use overwinter::store::{Hold, Store};
use overwinter::weather::{Ask, Pace, Weather, WeatherFault};
use tokio::net::TcpListener;

/// What the stand-in does next.
enum Does {
    Says(u16, String),
    SendsOn(String),
    Sleeps,
    NeverEnds,
}

#[derive(Clone, Default)]
struct Archive {
    script: Arc<Mutex<VecDeque<Does>>>,
    asked: Arc<Mutex<Vec<(String, String)>>>,
}

impl Archive {
    async fn answer(State(archive): State<Self>, uri: Uri, headers: HeaderMap) -> Response {
        let agent = headers.get("user-agent").and_then(|a| a.to_str().ok());
        let agent = agent.unwrap_or_default().to_owned();
        archive.asked.lock().unwrap().push((uri.to_string(), agent));
        let does = archive.script.lock().unwrap().pop_front();
        match does.unwrap_or(Does::Says(500, String::new())) {
            Does::Says(status, words) => {
                (StatusCode::from_u16(status).unwrap(), words).into_response()
            }
            Does::SendsOn(to) => (StatusCode::FOUND, [("location", to)]).into_response(),
            Does::Sleeps => {
                tokio::time::sleep(Duration::from_secs(60)).await;
                StatusCode::OK.into_response()
            }
            // More than anybody asked for.
            Does::NeverEnds => vec![b' '; 40 << 20].into_response(),
        }
    }

    /// A stand-in that does these things in turn, and its address.
    async fn that(script: Vec<Does>) -> (Self, String) {
        let archive = Self::default();
        *archive.script.lock().unwrap() = script.into();
        let router = Router::new()
            .fallback(Self::answer)
            .with_state(archive.clone());
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let base = format!("http://{}", listener.local_addr().unwrap());
        tokio::spawn(async move { axum::serve(listener, router).await });
        (archive, base)
    }

    fn count(&self) -> usize {
        self.asked.lock().unwrap().len()
    }
}

const QUERY: &str = "/v1?latitude={latitude}&longitude={longitude}&start={from}&end={until}";

fn weather(base: &str, patience: Duration) -> Weather {
    let url = format!("{base}{QUERY}").parse().unwrap();
    let pace = Pace {
        patience,
        pause: Duration::from_millis(5),
    };
    Weather::new(Some(url), None, "https://studies.example", pace)
}

fn ask() -> Ask {
    Ask {
        latitude: 59.91,
        longitude: 10.75,
        from: NaiveDate::from_ymd_opt(2026, 1, 1).unwrap(),
        until: NaiveDate::from_ymd_opt(2026, 1, 2).unwrap(),
    }
}

/// Hourly and daily weather of two days, invented: 5 °C throughout, 0.5 mm of rain an hour, 100 W/m².
fn two_days(from: &str) -> String {
    let start: chrono::NaiveDate = from.parse().unwrap();
    let hours: Vec<String> = (0..48)
        .map(|n| {
            let at = start.and_hms_opt(0, 0, 0).unwrap() + chrono::TimeDelta::hours(n);
            format!("\"{}\"", at.format("%Y-%m-%dT%H:%M"))
        })
        .collect();
    let same = |value: &str| vec![value; 48].join(",");
    format!(
        r#"{{"latitude": 59.9, "longitude": 10.7, "utc_offset_seconds": 0,
        "hourly_units": {{"time": "iso8601", "temperature_2m": "°C", "precipitation": "mm",
        "shortwave_radiation": "W/m²"}},
        "hourly": {{"time": [{}], "temperature_2m": [{}], "precipitation": [{}],
        "shortwave_radiation": [{}]}}}}"#,
        hours.join(","),
        same("5.0"),
        same("0.5"),
        same("100"),
    )
}

async fn asked(script: Vec<Does>) -> (Archive, Result<Vec<u8>, WeatherFault>) {
    asked_with(script, Duration::from_millis(1500)).await
}

async fn asked_with(
    script: Vec<Does>,
    patience: Duration,
) -> (Archive, Result<Vec<u8>, WeatherFault>) {
    let (archive, base) = Archive::that(script).await;
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Hold::Alone).await.unwrap();
    let clock = Clock::system();
    let answer = weather(&base, patience).ask(&store, &clock, &ask()).await;
    (archive, answer)
}

fn says(status: u16, words: &str) -> Does {
    Does::Says(status, words.to_owned())
}

#[tokio::test]
async fn it_is_asked_politely_for_the_place_and_the_days() {
    let (archive, answer) = asked(vec![says(200, "{}")]).await;
    assert_eq!(answer.unwrap(), b"{}");
    let (uri, agent) = archive.asked.lock().unwrap()[0].clone();
    let want = "/v1?latitude=59.91&longitude=10.75&start=2026-01-01&end=2026-01-02";
    assert_eq!(uri, want);
    assert!(
        agent.starts_with("Overwinter/") && agent.contains("studies.example"),
        "{agent}"
    );
}

#[tokio::test]
async fn a_passing_failure_is_tried_again_and_a_lasting_one_is_not() {
    let (archive, answer) = asked(vec![says(503, ""), Does::Sleeps, says(200, "{}")]).await;
    assert_eq!((answer.unwrap(), archive.count()), (b"{}".to_vec(), 3));
    let (archive, answer) = asked(vec![says(502, ""), says(500, ""), says(503, "")]).await;
    assert!(matches!(answer, Err(WeatherFault::Status(503, _))));
    assert_eq!(archive.count(), 3);
    let words = r#"{"error": true, "reason": "Parameter 'start' is out of range"}"#;
    let (archive, answer) = asked(vec![says(400, words)]).await;
    let said = answer.unwrap_err().to_string();
    assert!(
        said.contains("status 400") && said.contains("out of range"),
        "{said}"
    );
    assert_eq!(archive.count(), 1);
    let (archive, answer) = asked(vec![Does::Sleeps, Does::Sleeps, Does::Sleeps]).await;
    let said = answer.unwrap_err().to_string();
    assert!(said.contains("did not answer in time"), "{said}");
    assert_eq!(archive.count(), 3);
}

#[tokio::test]
async fn it_is_followed_within_its_own_house_and_nowhere_else() {
    let within = vec![Does::SendsOn("/v2?a=1".to_owned()), says(200, "{}")];
    let (archive, answer) = asked(within).await;
    assert_eq!((answer.unwrap(), archive.count()), (b"{}".to_vec(), 2));
    let elsewhere = Does::SendsOn("https://elsewhere.example/v1".to_owned());
    let (archive, answer) = asked(vec![elsewhere]).await;
    let said = answer.unwrap_err().to_string();
    assert!(said.contains("moved (to elsewhere.example)"), "{said}");
    assert_eq!(archive.count(), 1);
    let round = (0..9)
        .map(|_| Does::SendsOn("/v1?again".to_owned()))
        .collect();
    let (archive, answer) = asked(round).await;
    assert!(answer.unwrap_err().to_string().contains("without end"));
    assert_eq!(archive.count(), 4);
}

#[tokio::test]
async fn an_answer_without_end_is_cut_off() {
    // A busy machine may need its time for so many bytes.
    let (archive, answer) = asked_with(vec![Does::NeverEnds], Duration::from_secs(60)).await;
    assert!(matches!(answer, Err(WeatherFault::TooLarge)), "{answer:?}");
    assert_eq!(archive.count(), 1);
}

#[tokio::test]
async fn nobody_is_asked_while_it_is_off() {
    let desk = Desk::ready().await;
    let page = desk.open("environment").await;
    assert!(page.ok().text("main").contains("not switched on"));
    assert!(page.texts("a[href$='/environment/fetch']").is_empty());
    let page = desk.open("environment/fetch").await;
    assert!(page.ok().text("main").contains("No weather archive is set"));
}

#[tokio::test]
async fn the_weather_of_a_site_becomes_a_series_with_its_source_named() {
    let nonsense = says(200, "<html>busy</html>");
    let script = vec![nonsense, says(200, &two_days("2026-03-01"))];
    let (archive, base) = Archive::that(script).await;
    let url = format!("{base}{QUERY}").parse().unwrap();
    let desk = Desk::ready_with(|config| {
        config.weather_url = Some(url);
        config.weather_attribution = Some("Data of the stand-in archive, free to use.".to_owned());
    })
    .await;
    desk.put_out("c3").await;
    desk.wait(4).await;
    let fields = [
        ("place", "condition:c3"),
        ("latitude", "59.9133"),
        ("longitude", "10.7389"),
        ("from", "2026-03-01"),
        ("until", "2026-03-02"),
    ];
    let shown = desk.submit("environment/fetch", &fields).await;
    let alert = shown.refused().text("[role=alert]");
    assert!(alert.contains("no JSON object"), "{alert}");
    assert!(
        desk.record().await.series.is_empty(),
        "nothing half read is kept"
    );
    desk.submit("environment/fetch", &fields).await.is(303);
    assert_eq!(archive.count(), 2);
    let page = desk.open("environment").await;
    let main = page.ok().text("main");
    assert!(main.contains("Data of the stand-in archive"), "{main}");
    assert!(main.contains("hourly weather"), "{main}");
    // 39 of 96 hours: the pieces are out since 09:00 UTC of the first day.
    let cells = page.texts("table tbody td");
    assert_eq!(
        cells[..5],
        ["4.0", "40.6", "5.0", "5.0", "5.0"],
        "{cells:?}"
    );
    // Rain and radiation of the hours that end after 09:00: 38 and the share of none.
    assert!(cells[11].starts_with("19 "), "{cells:?}");
    assert!(cells[12].starts_with("14 "), "{cells:?}");
    // The same days again come from what is kept; ten days later they are settled.
    desk.submit("environment/fetch", &fields).await.is(303);
    assert_eq!(archive.count(), 2);
    desk.script
        .say(overwinter::study::entry::Entry::MadePublic {})
        .await
        .expect("public");
    let public = desk
        .server
        .stranger()
        .open(&format!("/studies/{SLUG}"))
        .await;
    let body = public.ok().body();
    assert!(
        body.contains("Data of the stand-in archive") && body.contains("<svg"),
        "{body}"
    );
    assert!(!body.contains("59.9133") && !body.contains("10.7389"));
    for piece in &desk.record().await.specimens {
        assert!(!body.contains(piece.code.as_str()));
    }
}

/// Over HTTPS, by the real binary: an archive whose certificate the machine does not trust tells nothing.
#[tokio::test(flavor = "multi_thread")]
async fn over_https_only_an_archive_that_the_machine_trusts_is_believed() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let answer = folder.path().join("answer.json");
    std::fs::write(&answer, two_days("2026-03-01")).expect("it is written");
    let (certificate, archive) = standin::secure_archive(folder.path(), &answer);
    let desk = Desk::ready().await;
    desk.put_out("c3").await;
    let entry = desk.server.app.clock.new_id().to_string();
    let server = desk.server;
    drop((desk.script, desk.steward));
    let (store, data) = server.stop().await;
    drop(store);
    let data = data.expect("a folder");
    let url = format!(
        "OVERWINTER_WEATHER_URL=https://localhost:{}{QUERY}",
        archive.port
    );
    let trusting = format!("SSL_CERT_FILE={}", certificate.display());
    let fields = [
        ("entry", entry.as_str()),
        ("place", "condition:c3"),
        ("latitude", "59.9133"),
        ("longitude", "10.7389"),
        ("from", "2026-03-01"),
        ("until", "2026-03-02"),
    ];
    let fetch = format!("/desk/{SLUG}/environment/fetch");
    for (setting, taken) in [("LANG=C", 0), (trusting.as_str(), 1)] {
        let child = ChildServer::start_under(&["env", &url, setting], data.path());
        let steward = child.stranger();
        steward.sign_in("runa", PASSWORD).await.is(303);
        let shown = steward.submit(&fetch, &fields).await;
        if taken == 0 {
            let alert = shown.refused().text("[role=alert]");
            assert!(alert.contains("could not be reached"), "{alert}");
        } else {
            shown.is(303);
        }
        assert_eq!(archive.taken(), taken);
        child.kill();
    }
}

#[tokio::test]
async fn what_is_asked_must_be_a_place_and_days_past() {
    let (archive, base) = Archive::that(Vec::new()).await;
    let url = format!("{base}{QUERY}").parse().unwrap();
    let desk = Desk::ready_with(|config| config.weather_url = Some(url)).await;
    let good = [
        ("place", "condition:c3"),
        ("latitude", "59.9133"),
        ("longitude", "10.7389"),
        ("from", "2026-02-01"),
        ("until", "2026-02-02"),
    ];
    for (field, value) in [
        ("place", "condition:c99"),
        ("latitude", "91"),
        ("latitude", "NaN"),
        ("longitude", "-181"),
        ("from", "2024-01-01"),
        ("from", "yesterday"),
        ("until", "2026-01-01"),
        ("until", "2099-01-01"),
    ] {
        let fields = good.map(|(name, typed)| (name, if name == field { value } else { typed }));
        let shown = desk.submit("environment/fetch", &fields).await;
        assert!(!shown.refused().fault(field).is_empty(), "{field} {value}");
    }
    assert_eq!(archive.count(), 0, "nothing wrong leaves this server");
}
