//! Bringing a study over: from a spreadsheet to a study entered after the fact, all of it or nothing.

use crate::house::bench::laid_out;
use crate::house::{ChildServer, Person, Shown, TestServer, overwinter};
use overwinter::analysis::findings::Findings;
use overwinter::analysis::{analyse, analyse_dataset};
use overwinter::store::{Hold, Store};
use overwinter::study::break_test::FailureMode;
use overwinter::study::record::Standing;
use overwinter::study::record::StudyRecord;
use overwinter::tidy::{
    self,
    wishes::{Request, Wishes},
};
use reqwest::Method;
use reqwest::multipart::{Form, Part};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::io::Write;
use std::sync::Arc;
use std::time::Duration;

/// A study with masses, a lost piece, one too weak to mount and one invalid test; an invented one.
pub fn unequal() -> Vec<u8> {
    std::fs::read(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/fixtures/studies/unequal.csv"
    ))
    .unwrap()
}

/// What the file does not say.
const BESIDE: [(&str, &str); 4] = [
    ("put_out_on", "2024-03-01"),
    ("tested_on", "2025-04-01"),
    ("balance", "0.0001"),
    ("time_zone", "Europe/Oslo"),
];

async fn send(person: &Person, name: &str, bytes: Vec<u8>) -> Shown {
    let entry = person
        .open("/desk/bring")
        .await
        .attribute("[name=entry]", "value");
    let form = Form::new().text("entry", entry);
    let form = form.part("file", Part::bytes(bytes).file_name(name.to_owned()));
    let request = person
        .request(Method::POST, "/desk/bring")
        .header("sec-fetch-site", "same-origin");
    person.send(request.multipart(form)).await
}

/// Sends a file; the page that says what was understood, and its path.
pub async fn looked(person: &Person, name: &str, bytes: Vec<u8>) -> (String, Shown) {
    let sent = send(person, name, bytes).await;
    let path = sent.is(303).header("location").to_owned();
    let page = person.open(&path).await;
    page.ok();
    (path, page)
}

/// The chosen columns of a page.
fn columns(page: &Shown) -> Vec<String> {
    let html = scraper::Html::parse_document(&page.body());
    let select = scraper::Selector::parse("select[name=column]").unwrap();
    let option = scraper::Selector::parse("option[selected]").unwrap();
    let chosen = |one: scraper::ElementRef<'_>| {
        let found = one.select(&option).next();
        found
            .and_then(|o| o.value().attr("value"))
            .unwrap_or_default()
            .to_owned()
    };
    html.select(&select).map(chosen).collect()
}

/// The fields of the second page as its form would send them, with these on top.
fn fields<'f>(
    page: &'f Shown,
    columns: &'f [String],
    more: &[(&'f str, &'f str)],
) -> Vec<(&'f str, String)> {
    let entry = page.attribute("main form [name=entry]", "value");
    let mut fields = vec![("entry", entry)];
    for name in ["title", "slug"] {
        fields.push((name, page.attribute(&format!("#f-{name}"), "value")));
    }
    fields.extend(columns.iter().map(|column| ("column", column.clone())));
    for (name, value) in more {
        fields.retain(|(known, _)| known != name);
        fields.push((name, (*value).to_owned()));
    }
    fields
}

async fn submit(person: &Person, path: &str, fields: &[(&str, String)]) -> Shown {
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(name, value)| (*name, value.as_str()))
        .collect();
    person.submit(path, &fields).await
}

async fn record(server: &TestServer, slug: &str) -> Arc<StudyRecord> {
    server
        .app
        .store
        .study_record(slug)
        .await
        .unwrap()
        .expect("the study is there")
}

/// Everything of findings that is a number about the answer, without where it comes from and names.
fn answer(findings: &Findings) -> Vec<Value> {
    let all = serde_json::to_value(findings).unwrap();
    let judged = all["primary"]["judged"].as_array().expect("judged").clone();
    let mut found: Vec<Value> = judged;
    found.push(all["groups"].clone());
    found
}

/// Numbers are the same to the last places of a unit's conversion.
fn same(a: &Value, b: &Value, at: &str) {
    match (a, b) {
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            assert!(
                (a - b).abs() <= 1e-9 * a.abs().max(b.abs()),
                "{at}: {a} {b}"
            );
        }
        (Value::Array(a), Value::Array(b)) => {
            assert_eq!(a.len(), b.len(), "{at}");
            for (n, (a, b)) in a.iter().zip(b).enumerate() {
                same(a, b, &format!("{at}.{n}"));
            }
        }
        (Value::Object(a), Value::Object(b)) => {
            for (key, a) in a
                .iter()
                .filter(|(key, _)| !["code", "pieces", "values"].contains(&key.as_str()))
            {
                same(a, &b[key], &format!("{at}.{key}"));
            }
        }
        (a, b) => assert_eq!(a, b, "{at}"),
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_study_comes_in_whole_and_its_analysis_is_that_of_the_file() {
    let server = TestServer::start().await;
    let ada = server.steward("ada").await;
    let (path, page) = looked(&ada, "unequal.csv", unequal()).await;
    let chosen = columns(&page);
    assert!(!chosen.contains(&String::new()), "{chosen:?}");
    // Without the day on which they went out it is told of every row, and nothing is written.
    let refused = submit(
        &ada,
        &path,
        &fields(&page, &chosen, &[("act", "bring"), ("time_zone", "UTC")]),
    )
    .await;
    assert!(
        refused.refused().body().contains("expected out_date"),
        "{}",
        refused.body()
    );
    assert!(
        server
            .app
            .store
            .study_record("unequal")
            .await
            .unwrap()
            .is_none()
    );
    let mut more = BESIDE.to_vec();
    more.push(("act", "bring"));
    let sent = fields(&page, &chosen, &more);
    let brought = submit(&ada, &path, &sent).await;
    brought.redirects_to("/desk/unequal");
    let first = record(&server, "unequal").await;
    // Sent twice it is one study.
    submit(&ada, &path, &sent)
        .await
        .redirects_to("/desk/unequal");
    let again = record(&server, "unequal").await;
    assert_eq!((first.id, first.entries), (again.id, again.entries));
    assert!(first.is_after_the_fact && first.seal.is_none());
    asked_about_a_second_time(&server, &ada).await;
    for page in [
        "",
        "/specimens",
        "/exposure",
        "/consignments",
        "/analysis",
        "/journal",
    ] {
        ada.open(&format!("/desk/unequal{page}")).await.ok();
    }
    // The same numbers as the file by itself.
    let wishes = Wishes {
        balance_readability_g: Some(0.0001),
        ..Wishes::default()
    };
    let request = Request {
        wishes,
        stem: "unequal".to_owned(),
        ..Request::default()
    };
    let tidy = tidy::read(&unequal(), &request).expect("a tidy file");
    let of_file = analyse_dataset(&tidy.dataset(), &tidy.context());
    let of_study = analyse(&first).expect("a plan");
    let (of_file, of_study) = (answer(&of_file), answer(&of_study));
    assert_eq!(of_file.len(), of_study.len());
    assert!(of_file.len() > 2);
    for (n, (a, b)) in of_file.iter().zip(&of_study).enumerate() {
        same(a, b, &n.to_string());
    }
}

/// The same bytes under another name and address are asked about; whoever means it gets another study. Somebody
/// else is told nothing of it.
async fn asked_about_a_second_time(server: &TestServer, ada: &Person) {
    let (path, page) = looked(ada, "copy of it.csv", unequal()).await;
    let chosen = columns(&page);
    let mut more = BESIDE.to_vec();
    more.extend([("act", "bring"), ("slug", "the-copy")]);
    let asked = submit(ada, &path, &fields(&page, &chosen, &more)).await;
    let words = asked.refused().fault("confirmed");
    assert!(words.contains("“unequal” (/desk/unequal)"), "{words}");
    assert!(
        server
            .app
            .store
            .study_record("the-copy")
            .await
            .unwrap()
            .is_none()
    );
    more.push(("confirmed", "yes"));
    let sent = fields(&asked, &chosen, &more);
    submit(ada, &path, &sent)
        .await
        .redirects_to("/desk/the-copy");
    let bert = server.steward("bert").await;
    let (path, page) = looked(&bert, "unequal.csv", unequal()).await;
    let mut more = BESIDE.to_vec();
    more.extend([("act", "bring"), ("slug", "berts")]);
    let chosen = columns(&page);
    let sent = fields(&page, &chosen, &more);
    submit(&bert, &path, &sent)
        .await
        .redirects_to("/desk/berts");
}

/// What the server enters where the file is silent stands on the page before anything is written, and it is what
/// is written.
#[tokio::test(flavor = "multi_thread")]
async fn every_default_is_named_before_it_is_entered() {
    let server = TestServer::start().await;
    let ada = server.steward("ada").await;
    // Nobody knows what the columns of the moisture states are.
    let silent = String::from_utf8(unequal()).unwrap();
    let silent = silent.replace("mass_state_", "damp_");
    let (path, page) = looked(&ada, "unequal.csv", silent.into_bytes()).await;
    let chosen = columns(&page);
    let given = [("put_out_on", "2024-03-01"), ("time_zone", "Europe/Oslo")];
    let mut more = given.to_vec();
    more.push(("act", "look"));
    let page = submit(&ada, &path, &fields(&page, &chosen, &more)).await;
    let told = page.ok().texts("#defaults li");
    let has = |words: &str| told.iter().any(|line| line.contains(words));
    for words in [
        "Lot of 29 pieces: “not recorded”",
        "Build of 29 pieces: “not recorded”",
        "the day given below",
        "as many days after as their stage has",
        "noon in Europe/Oslo",
        "Moisture state of",
        "as one reading",
        "Balance: one for all readings, its step 0.0001 g",
        "by their marks",
        "State when taken in",
        "How it failed",
        "labels visible",
        "Machine: “not recorded”",
        "Plan, intervals: 95 % simultaneous",
        "Plan, margin: ±10 %",
        "Plan, the material: left empty",
        "its place not described",
    ] {
        assert!(has(words), "{words}: {told:#?}");
    }
    // What is said is no default any more.
    let mut more = BESIDE.to_vec();
    more.extend([
        ("machine", "lever rig"),
        ("material", "PLA"),
        ("act", "look"),
    ]);
    let page = submit(&ada, &path, &fields(&page, &chosen, &more)).await;
    let told = page.ok().texts("#defaults li");
    let has = |words: &str| told.iter().any(|line| line.contains(words));
    for words in ["Machine:", "the material", "Balance:"] {
        assert!(!has(words), "{words}: {told:#?}");
    }
}

/// Every entry says from which file and line it comes, and when it happened; the file is kept.
#[tokio::test(flavor = "multi_thread")]
async fn every_entry_names_its_file_its_line_and_its_day() {
    let server = TestServer::start().await;
    let ada = server.steward("ada").await;
    let (path, page) = looked(&ada, "unequal.csv", unequal()).await;
    let mut more = BESIDE.to_vec();
    more.push(("act", "bring"));
    let chosen = columns(&page);
    submit(&ada, &path, &fields(&page, &chosen, &more))
        .await
        .is(303);
    let hash: [u8; 32] = Sha256::digest(unequal()).into();
    assert_eq!(
        server
            .app
            .store
            .find_blob(&hash)
            .await
            .unwrap()
            .unwrap()
            .bytes,
        unequal()
    );
    let device = format!(
        "file {}",
        hash.iter()
            .map(|byte| format!("{byte:02x}"))
            .collect::<String>()
    );
    let database = server
        .app
        .store
        .folder()
        .join(overwinter::store::DATABASE_FILE);
    let output = std::process::Command::new("sqlite3")
        .args([
            database.to_str().unwrap(),
            "select kind, device, device_seq, taken_at from journal",
        ])
        .output()
        .unwrap();
    let rows = String::from_utf8(output.stdout).unwrap();
    assert!(rows.lines().count() > 140, "{rows}");
    for row in rows.lines() {
        let cells: Vec<&str> = row.split('|').collect();
        assert_eq!(cells[1], device, "{row}");
        if cells[0] == "reading_taken" || cells[0] == "break_tested" {
            assert!(cells[2].parse::<u64>().unwrap() >= 2, "{row}");
        }
        let day = match cells[0] {
            "put_out" => "2024-03-01",
            "taken_in" => "2025-03-01",
            "break_tested" | "unblinded" => "2025-04-01",
            _ => continue,
        };
        assert!(cells[3].starts_with(day), "{row}");
    }
    let record = record(&server, "unequal").await;
    let lost = record
        .specimens
        .iter()
        .filter(|piece| piece.whereabouts.key() == "lost");
    assert_eq!((record.specimens.len(), lost.count()), (29, 2));
    let tests: usize = record.consignments.iter().map(|one| one.tests_done()).sum();
    assert_eq!(tests, 27);
    assert!(
        record
            .readings
            .iter()
            .all(|reading| reading.standing == Standing::Current)
    );
}

/// What a spreadsheet with columns of its own looks like, every kind of bad row in it.
const BAD: &str = "Sample;Where;Kind;Days;Jar;Weight before (g);Fmax (N);Result;Out;In;Tested;Weather\n\
    A1;yard;exposed;100;jar 1;8,1;300;valid;2025-01-01;2025-04-11;2025-05-01;rain\n\
    A2;yard;exposed;100;jar 1;heavy;300;valid;2025-01-01;2025-04-11;2025-05-01;\n\
    A2;yard;exposed;100;jar 1;8,2;301;valid;2025-01-01;2025-04-11;2025-05-01;\n\
    A3;yard;exposed;soon;jar 1;8,2;301;valid;2025-01-01;2025-04-11;2025-05-01;\n\
    A4;yard;exposed;100;jar 1;8,2;301;splendid;2025-01-01;2025-04-11;2025-05-01;\n\
    A5;yard;exposed;100;jar 1;8,2;;valid;2025-01-01;2025-04-11;2025-05-01;\n\
    A6;yard;exposed;100;jar 1;8,2;301;valid;1/2/2025;2025-04-11;2025-05-01;\n\
    A7;;exposed;100;jar 1;8,2;301;valid;2025-01-01;2025-04-11;2025-05-01;\n";

const LATER: &str = "Sample;Where;Kind;Days;Jar;Fmax (N);Out;In;Tested\n\
    A1;yard;exposed;100;;300;2025-01-01;2025-04-11;2025-05-01\n\
    A2;yard;exposed;100;jar 1;300;;2025-04-11;2025-05-01\n\
    A3;yard;exposed;100;jar 1;300;2025-01-01;2024-12-31;2025-05-01\n\
    A4;yard;exposed;100;jar 1;300;2025-01-01;2025-04-11;2025-02-01\n\
    A5;yard;exposed;100;jar 1;300;2025-01-01;2025-04-11;2031-05-01\n\
    R1;;late_reference;;;310;;;\n";

#[tokio::test(flavor = "multi_thread")]
async fn every_kind_of_bad_row_is_told_at_once_and_the_columns_can_be_put_right() {
    let server = TestServer::start().await;
    let ada = server.steward("ada").await;
    let (_, page) = looked(&ada, "bad.csv", BAD.replace("    ", "").into_bytes()).await;
    assert_eq!(columns(&page)[..2], ["specimen", "condition"]);
    assert_eq!(columns(&page)[11], "", "the weather is left out");
    let told = page.body();
    for wrong in [
        "line 3, column 6",
        "stands on line 3 already",
        "line 5, column 4",
        "line 6, column 8",
        "line 7, column",
        "line 8, column 9",
        "line 9: The piece has no condition",
    ] {
        assert!(
            told.contains(wrong),
            "{wrong}: {}",
            page.texts(".notice li").join("\n")
        );
    }
    let (path, page) = looked(&ada, "later.csv", LATER.replace("    ", "").into_bytes()).await;
    let told = page.texts(".notice li").join("\n");
    for wrong in [
        "line 2: The piece has no holder",
        "line 3: When the piece was put out",
        "line 4: The piece was taken in",
        "line 5: The piece was tested before",
        "line 6: A day of this piece",
        "line 7: When the piece was tested",
    ] {
        assert!(told.contains(wrong), "{wrong}: {told}");
    }
    // A column put right is read as said, and stays so on the page.
    let mut chosen = columns(&page);
    chosen[5] = "max_load_lbf".to_owned();
    let again = submit(
        &ada,
        &path,
        &fields(&page, &chosen, &[("act", "look"), ("time_zone", "UTC")]),
    )
    .await;
    assert_eq!(columns(again.ok()), chosen);
    // Somebody else's file is not there.
    server.steward("ulf").await.open(&path).await.is(404);
}

/// A late reference stands for what was not kept, and is never called baseline.
#[tokio::test(flavor = "multi_thread")]
async fn a_workbook_with_a_late_reference_comes_in() {
    let server = TestServer::start().await;
    let ada = server.steward("ada").await;
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    for (at, name) in [
        "Sample",
        "Where",
        "Kind",
        "Days",
        "Jar",
        "Fmax (N)",
        "Tested",
        "Put out",
        "Failure",
        "cohesive_percent",
        "adhesive_percent",
        "glue_percent",
        "failed_at",
    ]
    .iter()
    .enumerate()
    {
        sheet.write(0, u16::try_from(at).unwrap(), *name).unwrap();
    }
    for n in 1..=8_u32 {
        let is_late = n > 4;
        sheet.write(n, 0, format!("P{n}")).unwrap();
        sheet
            .write(n, 2, if is_late { "late_reference" } else { "exposed" })
            .unwrap();
        if !is_late {
            sheet.write(n, 1, "yard").unwrap();
            sheet.write(n, 3, 100).unwrap();
            sheet.write(n, 4, "jar").unwrap();
        }
        sheet.write(n, 5, 300.5 + f64::from(n * n)).unwrap();
        sheet.write(n, 6, "2025-05-01").unwrap();
        sheet.write(n, 7, "2025-01-01").unwrap();
        // The words of a bench, and where a bond came apart (ISO 4624).
        sheet.write(n, 8, "split at the joint").unwrap();
        for (column, share) in [(9, 60), (10, 30), (11, 10)] {
            sheet.write(n, column, share).unwrap();
        }
        sheet.write(n, 12, "primer / steel").unwrap();
    }
    let bytes = book.save_to_buffer().unwrap();
    let (path, page) = looked(&ada, "old clips.xlsx", bytes).await;
    assert!(page.body().contains("late reference"), "{}", page.body());
    let chosen = columns(&page);
    let more = [
        ("act", "bring"),
        ("time_zone", "UTC"),
        ("slug", "old-clips"),
    ];
    submit(&ada, &path, &fields(&page, &chosen, &more))
        .await
        .redirects_to("/desk/old-clips");
    let record = record(&server, "old-clips").await;
    let tests = record.consignments.iter().flat_map(|one| &one.tests);
    for test in tests {
        let failure = test.test.failure.as_ref().expect("its shares");
        assert_eq!(
            failure.in_words(),
            "60 % cohesive, 30 % adhesive, 10 % glue (primer / steel)"
        );
        assert_eq!(test.test.mode, FailureMode::LayerSplit);
    }
    let findings = serde_json::to_value(analyse(&record).unwrap()).unwrap();
    assert_eq!(
        findings["primary"]["judged"].as_array().map(Vec::len),
        Some(1),
        "{findings}"
    );
    assert!(findings.to_string().contains("late_reference"));
    assert!(findings["study"]["is_after_the_fact"] == true);
    // The same in UTF-16 from a text, and an archive that unpacks to more than is taken.
    let text: String = "specimen;condition\nä;b\n".to_owned();
    let wide: Vec<u8> = [0xFF, 0xFE]
        .into_iter()
        .chain(text.encode_utf16().flat_map(u16::to_le_bytes))
        .collect();
    let (_, page) = looked(&ada, "wide.csv", wide).await;
    assert_eq!(columns(&page), ["specimen", "condition"]);
    let mut bomb = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    bomb.start_file("xl/workbook.xml", zip::write::SimpleFileOptions::default())
        .unwrap();
    let zeros = vec![0; 1 << 20];
    for _ in 0..80 {
        bomb.write_all(&zeros).unwrap();
    }
    let bomb = bomb.finish().unwrap().into_inner();
    assert!(bomb.len() < 1 << 20);
    let refused = send(&ada, "bomb.xlsx", bomb).await;
    assert!(refused.refused().fault("file").contains("unpacks to more"));
    assert!(
        !send(&ada, "none.xlsx", b"PK\x03\x04 no archive".to_vec())
            .await
            .refused()
            .fault("file")
            .is_empty()
    );
}

/// Killed at any moment of it, the study is there whole or not at all.
#[tokio::test(flavor = "multi_thread")]
async fn a_kill_in_the_middle_leaves_all_or_nothing() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("data");
    let cookie = laid_out(&folder, 1).await.cookie;
    const ROUNDS: u64 = 6;
    for round in 0..=ROUNDS {
        let server = ChildServer::start(&folder);
        let client = overwinter::outbound::client()
            .no_proxy()
            .redirect(reqwest::redirect::Policy::none());
        let client = client.build().unwrap();
        let base = server.base.clone();
        let id = overwinter::clock::Clock::system().new_id().to_string();
        let form = Form::new().text("entry", id.clone());
        let form = form.part("file", Part::bytes(unequal()).file_name("unequal.csv"));
        let send = client
            .post(format!("{base}/desk/bring"))
            .header("cookie", &cookie);
        let sent = send.multipart(form).send().await.unwrap();
        assert_eq!(sent.status().as_u16(), 303);
        let path = sent.headers()["location"].to_str().unwrap().to_owned();
        let slug = format!("round-{round}");
        let entry = overwinter::clock::Clock::system().new_id().to_string();
        let mut fields: Vec<(&str, String)> = vec![("entry", entry), ("act", "bring".into())];
        // The rounds before may have brought the same file.
        fields.push(("confirmed", "yes".into()));
        fields.extend([("title", slug.clone()), ("slug", slug)]);
        fields.extend(
            BESIDE
                .iter()
                .map(|(name, value)| (*name, (*value).to_owned())),
        );
        let bring = client
            .post(format!("{base}{path}"))
            .header("cookie", &cookie)
            .form(&fields)
            .send();
        let bringing = tokio::spawn(bring);
        if round == ROUNDS {
            assert_eq!(bringing.await.unwrap().unwrap().status().as_u16(), 303);
        } else {
            tokio::time::sleep(Duration::from_millis(20 + 60 * round)).await;
        }
        server.kill();
    }
    let store = Store::open(&folder, Hold::Alone).await.unwrap();
    let whole = store
        .study_record(&format!("round-{ROUNDS}"))
        .await
        .unwrap()
        .unwrap();
    let mut missing = 0;
    for round in 0..ROUNDS {
        match store.study_record(&format!("round-{round}")).await.unwrap() {
            None => missing += 1,
            Some(record) => assert_eq!(record.entries, whole.entries, "round {round}"),
        }
    }
    assert!(missing > 0, "every study was finished before the kill");
    store.close().await.unwrap();
    let output = overwinter(&["verify", "--data", folder.to_str().unwrap()]);
    assert_eq!(
        output.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stdout)
    );
}
