//! The exposure record: a logger's file is looked at, put right and saved; doses are for the exact time
//! that each piece was out; its original bytes stay; nobody else's study sees it.

use crate::accessible;
use crate::house::Shown;
use crate::house::desk::{Desk, SLUG};
use chrono::{DateTime, TimeDelta, Utc};
use overwinter::study::custody::{Handled, Handling};
use overwinter::study::entry::Entry;
use overwinter::study::ids::StudyId;
use overwinter::study::record::Standing;
use reqwest::Method;
use reqwest::multipart::{Form, Part};

/// Days of hours at one temperature from midnight UTC of 1 March 2026, in winter time of Oslo, as a
/// program writes them.
fn hours(days: i64, celsius: &str, but: std::ops::Range<i64>) -> String {
    let start: DateTime<Utc> = "2026-03-01T00:00:00Z".parse().unwrap();
    let mut text = "Time;Temp (°C)\n".to_owned();
    for hour in (0..days * 24).filter(|hour| !but.contains(hour)) {
        let at = start + TimeDelta::hours(hour) + TimeDelta::hours(1);
        text.push_str(&format!("{};{celsius}\n", at.format("%d.%m.%Y %H:%M")));
    }
    text
}

async fn upload(desk: &Desk, text: &str) -> Shown {
    let part = Part::bytes(text.as_bytes().to_vec()).file_name("logger.csv");
    let form = Form::new().part("file", part);
    let path = format!("/desk/{SLUG}/environment/new");
    let request = desk.steward.request(Method::POST, &path);
    let request = request
        .header("sec-fetch-site", "same-origin")
        .multipart(form);
    desk.steward.send(request).await
}

/// Uploads a file and gives its hash.
async fn sent(desk: &Desk, text: &str) -> String {
    let shown = upload(desk, text).await;
    let location = shown.is(303).header("location").to_owned();
    location.split("file=").nth(1).expect("a hash").to_owned()
}

fn fields<'f>(file: &'f str, place: &'f str) -> Vec<(&'f str, &'f str)> {
    vec![
        ("file", file),
        ("name", "blue logger, on the lid"),
        ("place", place),
        ("note", ""),
        ("delimiter", "semicolon"),
        ("first_row", "2"),
        ("day_column", "1"),
        ("clock_column", ""),
        ("date_order", "dmy"),
        ("zone", "+01:00"),
        ("decimal", "comma"),
        ("column", "unused"),
        ("column", "celsius"),
    ]
}

async fn cells(desk: &Desk) -> Vec<String> {
    desk.open("environment").await.ok().texts("table tbody td")
}

#[tokio::test]
async fn a_loggers_file_is_guessed_put_right_and_counts_for_the_exact_days() {
    let desk = Desk::ready().await;
    desk.put_out("c3").await;
    let text = hours(4, "10,0", 0..0);
    let file = sent(&desk, &text).await;
    let look = desk.open(&format!("environment/read?file={file}")).await;
    let said = look.ok().text("main");
    for words in [
        "parted by the semicolon",
        "decimal comma",
        "names no time zone",
        "96 rows",
    ] {
        assert!(said.contains(words), "{words} is not in {said}");
    }
    assert_eq!(
        desk.record().await.series.len(),
        0,
        "nothing counts before it is saved"
    );
    // Read as UTC the period is another one.
    let mut typed = fields(&file, "condition:c3");
    typed.push(("act", "look"));
    typed
        .iter_mut()
        .filter(|(name, _)| *name == "zone")
        .for_each(|(_, zone)| *zone = "UTC");
    let look = desk.submit("environment/read", &typed).await;
    assert!(
        look.ok().text("main").contains("1 March 2026, 02:00 to"),
        "{}",
        look.text("main")
    );
    let entry = desk.server.app.clock.new_id().to_string();
    for _ in 0..2 {
        let typed = fields(&file, "condition:c3");
        desk.submit_as(&entry, "environment/read", &typed)
            .await
            .is(303);
    }
    let record = desk.record().await;
    assert_eq!(record.series.len(), 1);
    assert_eq!(
        record.series[0].series.first.to_rfc3339(),
        "2026-03-01T00:00:00+00:00"
    );
    // Out at 09:00 UTC on 1 March; two days later exactly two days of 10 °C: 20 °C·d.
    desk.wait(2).await;
    let cells = cells(&desk).await;
    let want = [
        "2.0", "100", "10.0", "10.0", "10.0", "20", "0", "0", "0", "10.0",
    ];
    assert_eq!(cells[..10], want, "{cells:?}");
    let hot = desk.open("environment?above=9").await;
    assert_eq!(hot.ok().texts("table tbody td")[8], "48");
    let wrong = desk.open("environment?above=warm").await;
    assert!(wrong.ok().fault("above").contains("number"));
    let original = desk.open(&format!("environment/files/{file}")).await;
    assert_eq!(original.ok().bytes, text.as_bytes());
    assert_eq!(original.header("content-type"), "application/octet-stream");
    assert!(
        original
            .header("content-disposition")
            .starts_with("attachment")
    );
}

#[tokio::test]
async fn gaps_stay_gaps_and_a_holders_own_series_counts_while_a_piece_hangs_there() {
    let desk = Desk::ready().await;
    desk.put_out("c3").await;
    let file = sent(&desk, &hours(4, "10,0", 24..30)).await;
    desk.submit("environment/read", &fields(&file, "holder:c3h1"))
        .await
        .is(303);
    desk.wait(1).await;
    let page = desk.open("environment").await;
    assert!(
        page.ok().text(".history").contains("Gaps, not filled"),
        "{}",
        page.text(".history")
    );
    let record = desk.record().await;
    let inside = |holder: &str| {
        let pieces = record.specimens.iter().filter(|piece| {
            matches!(&piece.place, Some(overwinter::study::allocation::Place::Exposed { holder: own, .. })
                if own == holder)
        });
        pieces.map(|piece| piece.code.clone()).collect::<Vec<_>>()
    };
    let moved = Handled {
        what: Handling::Moved,
        specimens: vec![inside("c3h1")[0].clone()],
        at: desk.server.app.clock.now(),
        into_holder: Some("c3h2".to_owned()),
        is_confirmed_doubt: false,
    };
    let code = moved.specimens[0].to_string();
    desk.script.say(Entry::Handled(moved)).await.expect("moved");
    desk.wait(1).await;
    let page = desk.open("environment").await;
    // Of the moved piece's two days 18 hours have a record: the first day without the gap at its end.
    // The other piece of that holder has 42 of its 48.
    let found = page.ok().texts("table tbody td:nth-of-type(2)");
    assert!(found.contains(&"37.5".to_owned()), "{found:?}");
    assert!(found.contains(&"87.5".to_owned()), "{found:?}");
    let members = page.text("details dl");
    assert!(members.contains(&code));
    for code in inside("c3h2") {
        assert!(!members.contains(code.as_str()), "no record, no figure");
    }
    let entry = record.series[0].entry;
    let void = format!("entries/{entry}/void");
    desk.submit(&void, &[("reason", "It hung in the sun.")])
        .await
        .is(303);
    assert_eq!(desk.record().await.series[0].standing, Standing::Void);
    assert!(
        desk.open("environment")
            .await
            .ok()
            .texts("table")
            .is_empty()
    );
}

#[tokio::test]
async fn another_studys_file_cannot_be_read_and_nonsense_gets_a_sentence() {
    let desk = Desk::ready().await;
    let none = upload(&desk, "").await;
    assert!(none.refused().fault("file").contains("Choose the file"));
    let file = sent(&desk, "<html>this is no table</html>").await;
    let look = desk.open(&format!("environment/read?file={file}")).await;
    assert!(
        look.refused()
            .text("[role=alert]")
            .contains("No row of this file")
    );
    for wrong in ["", "zz", &"0".repeat(64), "../../etc/passwd"] {
        desk.open(&format!("environment/read?file={wrong}"))
            .await
            .is(303);
        desk.open(&format!("environment/files/{wrong}"))
            .await
            .is(404);
    }
    // What was sent to another study is not here, though the bytes are on this server.
    let app = &desk.server.app;
    let other = StudyId(app.clock.new_id());
    let theirs = hours(1, "10,0", 0..0).into_bytes();
    let theirs = app.store.put_upload(other, theirs, app.clock.now()).await;
    let theirs = overwinter::clock::hex(&theirs.expect("kept"));
    let path = format!("environment/read?file={theirs}");
    desk.open(&path).await.is(303);
    let typed = fields(&theirs, "condition:c3");
    desk.submit("environment/read", &typed).await.is(303);
    assert_eq!(desk.record().await.series.len(), 0);
    // An upload that is no series yet is served to nobody.
    desk.open(&format!("environment/files/{file}"))
        .await
        .is(404);
}

#[tokio::test]
async fn every_field_of_the_look_bears_every_hostile_value() {
    let desk = Desk::ready().await;
    let file = sent(&desk, &hours(1, "10,0", 0..0)).await;
    let good = fields(&file, "condition:c3");
    for field in 1..good.len() {
        for value in [
            "",
            "NaN",
            "-1",
            "1e400",
            "99999999999",
            "a\0b",
            "\u{202e}x",
            "<b>",
            "💥",
        ] {
            let mut typed = good.clone();
            typed[field].1 = value;
            let shown = desk.submit("environment/read", &typed).await;
            let status = shown.status.as_u16();
            let what = format!("{}={value:?}: {status}", typed[field].0);
            assert!(matches!(status, 303 | 422), "{what}");
            let alerts = shown.texts("[role=alert]");
            assert_eq!(alerts.is_empty(), status == 303, "{what}");
        }
    }
}

#[tokio::test]
async fn the_pages_of_the_exposure_record_have_no_violation() {
    let desk = Desk::ready_with(|config| {
        let url = "http://127.0.0.1:9/v1?a={latitude}&b={longitude}&c={from}&d={until}";
        config.weather_url = Some(url.parse().expect("an address"));
    })
    .await;
    desk.put_out("c3").await;
    let file = sent(&desk, &hours(4, "10,0", 24..60)).await;
    desk.submit("environment/read", &fields(&file, "condition:c3"))
        .await
        .is(303);
    desk.wait(3).await;
    desk.script.say(Entry::MadePublic {}).await.expect("public");
    let read = format!("environment/read?file={file}");
    let pages = ["environment", "environment/new", &read, "environment/fetch"];
    let mut pages = pages.map(|page| format!("/desk/{SLUG}/{page}")).to_vec();
    pages.push(format!("/studies/{SLUG}"));
    let browser = accessible::signed_in(&desk.server.base, "runa").await;
    accessible::walked(&browser, &pages).await;
    browser.close().await;
}
