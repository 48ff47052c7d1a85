//! Editions beside each other: what a new one says otherwise, old bytes at old addresses after a restart, after
//! the tables were made anew and after an upgrade, what a page says of itself to programs, the feeds, the pictures.

use crate::archive::{own, said, unpacked};
use crate::house::browser::{Browser, Look};
use crate::house::child::overwinter;
use crate::house::sheet::Sheet;
use crate::house::told;
use crate::house::{ChildServer, Person, TestServer};
use overwinter::store::DATABASE_FILE;
use overwinter::study::record::Standing;
use scraper::{Html, Selector};
use serde_json::Value;
use sha2::{Digest, Sha256};
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection};
use std::collections::BTreeMap;
use std::io::Write;
use std::process::{Command, Stdio};

const SLUG: &str = "fleece-pegs";

/// What a script of the fixtures says of this text.
fn checked(script: &str, text: &[u8]) -> String {
    let script = own(&format!("tests/fixtures/archive/{script}"));
    let mut process = Command::new(own("target/venv/bin/python"))
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("python runs");
    process.stdin.take().unwrap().write_all(text).unwrap();
    let output = process.wait_with_output().unwrap();
    assert!(output.status.success(), "{}", said(&output));
    said(&output)
}

/// Every file of an edition by its name, as served.
async fn served(reader: &Person, number: u32) -> BTreeMap<String, Vec<u8>> {
    let at = format!("/studies/{SLUG}/editions/{number}/");
    let page = reader.open(&at).await.ok().bytes.clone();
    let html = Html::parse_document(&String::from_utf8(page.clone()).unwrap());
    let links = Selector::parse("ul.files a, link[rel=stylesheet]").unwrap();
    let mut files = BTreeMap::from([(String::new(), page)]);
    for link in html.select(&links) {
        let name = link.attr("href").unwrap().to_owned();
        let file = reader.open(&format!("{at}{name}")).await;
        files.insert(name, file.ok().bytes.clone());
    }
    assert!(files.len() > 8, "{:?}", files.keys());
    files
}

async fn publishes(server: &TestServer, steward: &Person) {
    let editions = format!("/desk/{SLUG}/editions");
    let sheet = Sheet::of(&steward.open(&editions).await, "form[action$='/editions']");
    assert_eq!(sheet.value("licence"), "CC-BY-4.0", "as the last edition");
    sheet.send(steward, &editions).await.redirects_to(&editions);
    server.app.clock.advance(chrono::TimeDelta::hours(1));
}

/// Corrects the load of an exposed piece, knowing the group; gives the load as it was.
async fn corrects_a_load(server: &TestServer, steward: &Person) -> f64 {
    let record = server.app.store.study_record(SLUG).await.unwrap().unwrap();
    let consignment = record.consignments.last().unwrap();
    let tests = &consignment.tests;
    let is_valid = |t: &&overwinter::study::record::TestRecord| {
        t.standing == Standing::Current && t.test.max_load_n.is_some()
    };
    let test = tests.iter().find(is_valid).unwrap();
    let at = format!("/desk/{SLUG}/consignments/{}", consignment.id);
    let address = format!("{at}/tests/{}", test.test.blind);
    let page = steward.open(&address).await;
    let supersedes = page.ok().attribute("[name=supersedes]", "value");
    let load = test.test.max_load_n.unwrap();
    let entry = server.app.clock.new_id().to_string();
    let fields = [
        ("entry", entry.as_str()),
        ("supersedes", &supersedes),
        ("load", &format!("{:.1}", load + 4.0)),
        ("outcome", "valid"),
        ("mode", "break"),
        ("reason", "The lab's film shows another figure."),
    ];
    steward.submit(&address, &fields).await.is(303);
    load
}

#[tokio::test]
async fn a_new_edition_says_what_changed_and_the_old_one_keeps_its_bytes() {
    let (server, steward) = told::served().await;
    let reader = server.stranger();
    let first = served(&reader, 1).await;
    assert!(!first.contains_key("changes.csv"));
    corrects_a_load(&server, &steward).await;
    publishes(&server, &steward).await;
    let page = reader.open(&format!("/studies/{SLUG}/editions/2/")).await;
    let said = page.ok().text("#changes ~ p");
    assert!(
        said.contains("edition 1 of") && said.contains("has other values"),
        "{said}"
    );
    let changes = reader
        .open(&format!("/studies/{SLUG}/editions/2/changes.csv"))
        .await;
    let mut rows = csv::Reader::from_reader(changes.ok().bytes.as_slice());
    let rows: Vec<csv::StringRecord> = rows.records().map(Result::unwrap).collect();
    let of_loads = rows.iter().filter(|row| row[0].ends_with("/max_load_n"));
    let of_loads: Vec<f64> = of_loads
        .filter(|row| row[0].starts_with("specimens/") && !row[0].contains("unknowing"))
        .map(|row| row[2].parse::<f64>().unwrap() - row[1].parse::<f64>().unwrap())
        .collect();
    assert!(
        of_loads.len() == 1 && (of_loads[0] - 4.0).abs() < 0.051,
        "{of_loads:?}"
    );
    assert!(
        rows.iter().any(|row| row[0].starts_with("primary/")),
        "what decides moved too"
    );
    // Nothing changed since: the next one says so.
    publishes(&server, &steward).await;
    let page = reader.open(&format!("/studies/{SLUG}/editions/3/")).await;
    assert!(
        page.ok()
            .text("#changes ~ p")
            .contains("nothing in the findings differs")
    );
    // The old address, and the way to the latest.
    let old = reader.open(&format!("/studies/{SLUG}/editions/1/")).await;
    assert!(old.ok().header("link").contains("rel=\"latest-version\""));
    let current = reader.open(&format!("/studies/{SLUG}")).await;
    current.redirects_to(&format!("/studies/{SLUG}/editions/3/"));
    assert_eq!(served(&reader, 1).await, first);
    let second = served(&reader, 2).await;
    let (edition, data) = (second.clone(), server.app.store.folder().to_owned());
    survive(data, &[(1, first), (2, edition)]).await;
}

/// A copy of the data under the real program: after its tables were made anew, and after a restart.
async fn survive(data: std::path::PathBuf, editions: &[(u32, BTreeMap<String, Vec<u8>>)]) {
    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join("copy");
    std::fs::create_dir(&copy).unwrap();
    let into = copy.join(DATABASE_FILE).display().to_string();
    let from = data.display().to_string();
    let output = overwinter(&["backup", "--data", &from, &into]);
    assert!(output.status.success(), "{}", said(&output));
    let there = copy.display().to_string();
    let output = overwinter(&["verify", "--rebuild", "--data", &there]);
    assert!(output.status.success(), "{}", said(&output));
    for what in ["after the rebuild", "after a restart", "after an upgrade"] {
        if what == "after an upgrade" {
            made_older(&copy.join(DATABASE_FILE)).await;
        }
        let server = ChildServer::start(&copy);
        for (number, files) in editions {
            assert_eq!(served(&server.stranger(), *number).await, *files);
        }
        server.kill();
    }
}

/// Makes of a database one as the release before the last migration left it, whose tables have another shape.
async fn made_older(database: &std::path::Path) {
    let options = SqliteConnectOptions::new().filename(database);
    let mut db = options.foreign_keys(false).connect().await.unwrap();
    for statement in [
        "drop table api_token",
        "drop table study_file",
        "delete from _sqlx_migrations where version = 23",
        "delete from reading",
        "update projection set version = version - 1",
    ] {
        sqlx::query(statement).execute(&mut db).await.unwrap();
    }
    db.close().await.unwrap();
}

#[tokio::test]
async fn a_page_and_the_feeds_are_read_by_programs() {
    let (server, steward) = told::served().await;
    let reader = server.stranger();
    publishes(&server, &steward).await;
    let at = format!("/studies/{SLUG}/editions/1/");
    let page = reader.open(&at).await.ok().bytes.clone();
    let told: Value = serde_json::from_str(&checked("page.py", &page)).unwrap();
    let downloads = told["distribution"].as_array().unwrap();
    assert!(downloads.iter().any(|d| d["name"] == "data.zip"));
    for download in downloads {
        let address = format!("{at}{}", download["contentUrl"].as_str().unwrap());
        let bytes = reader.open(&address).await.ok().bytes.clone();
        let hash: String = Sha256::digest(&bytes)
            .iter()
            .map(|b| format!("{b:02x}"))
            .collect();
        assert_eq!(download["sha256"], hash, "{}", download["name"]);
    }
    for (path, entries) in [("/feed.atom", 3), ("/studies/fleece-pegs/feed.atom", 3)] {
        let feed = reader.open(path).await;
        assert_eq!(
            feed.ok().header("content-type"),
            "application/atom+xml; charset=utf-8"
        );
        let lines = checked("feed.py", &feed.bytes);
        assert_eq!(lines.lines().count(), entries, "{lines}");
        assert!(
            lines.lines().next().unwrap().contains("/editions/2/"),
            "{lines}"
        );
    }
    // What was withdrawn is in no feed; a private study is in none.
    let list = format!("/desk/{SLUG}/editions");
    let withdraw = format!("{list}/2/withdraw");
    let form = format!("form[action='{withdraw}']");
    let sheet = Sheet::of(&steward.open(&list).await, &form).with("reason", "A court asks it.");
    sheet.send(&steward, &withdraw).await.is(303);
    let feed = reader.open("/studies/fleece-pegs/feed.atom").await;
    assert!(!checked("feed.py", &feed.ok().bytes).contains("/editions/2/"));
}

#[tokio::test]
async fn pictures_hold_words_and_the_data_block_breaks_no_rule_of_the_page() {
    let (server, _steward) = told::served().await;
    let reader = server.stranger();
    let at = format!("/studies/{SLUG}/editions/1/");
    let preview = reader
        .open(&format!("{at}preview.png"))
        .await
        .ok()
        .bytes
        .clone();
    let preview = image::load_from_memory(&preview).unwrap().to_luma8();
    assert_eq!(preview.dimensions(), (1200, 630));
    let dark = |x: std::ops::Range<u32>, y: std::ops::Range<u32>| {
        let pixels = x.flat_map(|x| y.clone().map(move |y| (x, y)));
        pixels
            .filter(|(x, y)| preview.get_pixel(*x, *y).0[0] < 110)
            .count()
    };
    assert!(dark(60..640, 210..560) > 2_000, "the headline is drawn");
    assert!(dark(60..1140, 90..200) > 1_500, "the title is drawn");
    assert_eq!(
        dark(1170..1200, 20..630),
        0,
        "nothing runs out of the picture"
    );
    let names: Vec<String> = served(&reader, 1).await.into_keys().collect();
    let figures = names.iter().filter(|name| name.ends_with(".svg"));
    for name in figures.map(|name| name.replace(".svg", ".png")) {
        let picture = reader.open(&format!("{at}{name}")).await.ok().bytes.clone();
        let picture = image::load_from_memory(&picture).unwrap().to_luma8();
        let ink = picture.pixels().filter(|p| p.0[0] < 90).count();
        assert!(
            picture.width() > 800 && ink > 500,
            "{name}: {ink} dark pixels"
        );
    }
    let browser = Browser::open(&server.base, Look::DESK).await;
    browser.goto(&at).await;
    let count = "const seen = []; \
         new ReportingObserver(r => seen.push(...r), { types: ['csp-violation'], buffered: true }).observe(); \
         await new Promise(later => setTimeout(later, 400)); return seen.length;";
    assert_eq!(browser.run_async(count).await, 0);
    // The same with a script that is one: it is seen.
    let script = "const s = document.createElement('script'); s.textContent = 'window.x = 1'; \
         document.body.append(s);";
    browser.run(script).await;
    assert!(browser.run_async(count).await.as_u64().unwrap() > 0);
    browser.close().await;
}

#[tokio::test]
async fn an_archive_holds_nothing_of_what_is_still_blind() {
    let (server, _steward) = told::served().await;
    let record = server.app.store.study_record(SLUG).await.unwrap().unwrap();
    // The story as it stood before its last consignment was unblinded: an interim edition.
    let mut earlier = (*record).clone();
    earlier.consignments.last_mut().unwrap().unblinded_at = None;
    // Nothing was published then; a later edition tells against it of every piece.
    earlier.editions.clear();
    let findings = overwinter::analysis::analyse(&earlier).unwrap();
    assert!(!findings.standing.is_final && findings.standing.has_results());
    let frozen = overwinter::publishing::freeze(
        &server.app.store,
        &server.app.clock,
        &earlier,
        &findings,
        overwinter::publishing::Choice::default(),
    );
    let frozen = frozen.await.unwrap();
    let hidden: Vec<String> = earlier
        .consignments
        .last()
        .unwrap()
        .pieces
        .iter()
        .flat_map(|piece| [piece.specimen.to_string(), piece.blind.to_string()])
        .collect();
    assert!(hidden.len() > 40);
    let mut looked = 0;
    for file in frozen.files {
        let blob = server
            .app
            .store
            .find_blob_by_hex(&file.sha256)
            .await
            .unwrap()
            .unwrap();
        let mut parts = vec![(file.path.clone(), blob.bytes.clone())];
        if file.path.ends_with(".zip") || file.path.ends_with(".xlsx") {
            parts.extend(unpacked(&blob.bytes));
        }
        for (path, bytes) in parts {
            let text = String::from_utf8_lossy(&bytes);
            for code in &hidden {
                let around = text.find(code.as_str()).map(|at| {
                    let from = at.saturating_sub(120);
                    String::from_utf8_lossy(&bytes[from..at]).into_owned()
                });
                assert_eq!(around, None, "{code} is in {} {path}", file.path);
            }
            looked += 1;
        }
    }
    assert!(looked > 30, "{looked} files");
}
