//! The interface for programs: tokens and what they rest on, problems for every fault, entries that are
//! recorded once, the description held to the table of routes, and a generator of hostile requests.

use crate::house::half::Half;
use crate::house::program::{Program, token};
use crate::house::{Person, TestServer};
use crate::lab_curves::curve;
use crate::who_may::filled;
use chrono::{DateTime, TimeDelta, Utc};
use overwinter::commands::demo::HOOKS;
use overwinter::store::{Maker, NewToken};
use overwinter::study::entry::Entry;
use overwinter::study::ids::AccountId;
use overwinter::web::routes::{Route, Who, table};
use reqwest::Method;
use serde_json::{Value, json};
use std::process::Stdio;

/// The page of the steward's tokens.
fn desk() -> String {
    format!("/desk/{}/tokens", HOOKS.slug)
}

/// The study with its steward's and its tester's program.
pub struct Both {
    pub half: Half,
    pub tester: Person,
    pub lab: String,
    pub of_steward: Program,
    pub of_tester: Program,
}

impl Both {
    pub async fn set_up() -> Self {
        let half = Half::set_up().await;
        let tester = half.tester(&half.open).await;
        let lab = format!("/lab/{}", half.open.0);
        let own = token(&half.steward, &desk(), true).await;
        let labs = token(&tester, &format!("{lab}/tokens"), true).await;
        let base = half.server.base.clone();
        Self {
            of_steward: Program::new(&base, &own),
            of_tester: Program::new(&base, &labs),
            half,
            tester,
            lab,
        }
    }

    fn program(&self, token: &str) -> Program {
        Program::new(&self.half.server.base, token)
    }

    pub fn id(&self) -> String {
        self.half.server.app.clock.new_id().to_string()
    }

    pub fn entry(&self, kind: &str, body: Value) -> Value {
        let now = self.half.server.app.clock.now();
        json!({ "id": self.id(), "kind": kind, "taken_at": now, "body": body })
    }

    /// The codes of the consignment that have no test yet, in the order of testing.
    pub async fn untested(&self) -> Vec<String> {
        let pieces = self.of_tester.get("/api/v1/pieces").await.ok().json();
        let pieces = pieces["pieces"].as_array().unwrap().clone();
        let open = pieces
            .into_iter()
            .filter(|piece| piece["is_tested"] == false);
        open.map(|piece| piece["code"].as_str().unwrap().to_owned())
            .collect()
    }
}

/// A test of a piece, its load in pound-force.
fn test_of(code: &str, pounds: &str) -> Value {
    json!({
        "blind": code, "outcome": "valid", "mode": "opened",
        "typed": { "text": pounds, "unit": "lbf" },
    })
}

#[tokio::test(flavor = "multi_thread")]
async fn a_token_is_shown_once_and_only_its_hash_is_kept() {
    let half = Half::set_up().await;
    let id = half.server.app.clock.new_id().to_string();
    let form = [
        ("entry", id.as_str()),
        ("name", "balance"),
        ("until", "2026-12-24"),
    ];
    let first = half.steward.submit(&desk(), &form).await;
    let secret = first.ok().text("#f-secret");
    assert_eq!(
        (secret.len(), first.header("cache-control")),
        (64, "no-store")
    );
    let again = half.steward.submit(&desk(), &form).await;
    assert!(again.ok().texts("#f-secret").is_empty());
    assert!(again.body().contains("was made already"));
    let list = half.steward.open(&desk()).await;
    assert!(!list.ok().body().contains(&secret));
    assert_eq!(list.texts("main ul.list li").len(), 1, "one token");
    assert!(list.body().contains("only reads") && list.body().contains("never used"));
    Program::new(&half.server.base, &secret)
        .get("/api/v1/token")
        .await
        .ok();
    assert!(
        half.steward
            .open(&desk())
            .await
            .body()
            .contains("last used")
    );
    let raw: Vec<u8> = (0..32)
        .map(|at| u8::from_str_radix(&secret[at * 2..at * 2 + 2], 16).unwrap())
        .collect();
    for file in std::fs::read_dir(half.server.app.store.folder()).unwrap() {
        let bytes = std::fs::read(file.unwrap().path()).unwrap();
        let holds = |wanted: &[u8]| bytes.windows(wanted.len()).any(|part| part == wanted);
        assert!(!holds(secret.as_bytes()) && !holds(&raw));
    }
    for (name, until, field) in [("", "2026-12-24", "name"), ("a", "2026-02-01", "until")] {
        let shown = half
            .steward
            .submit(&desk(), &[("name", name), ("until", until)])
            .await;
        assert!(!shown.refused().fault(field).is_empty());
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_token_opens_what_its_kind_may_and_no_page() {
    let both = Both::set_up().await;
    let record = both.half.record().await;
    let other = both.half.server.steward("ulf").await;
    let elsewhere = elsewhere(&both.half.server).await;
    let (link, secret) = (both.half.open.0.to_string(), both.half.open.1.clone());
    // What everybody may open may also give a cookie: the lab's door does.
    for route in table().into_iter().filter(|route| route.who != Who::Anyone) {
        let path = filled(&route, &record, &link, &secret);
        let asked = async |program: &Program| {
            let shown = match route.method {
                Method::GET => program.get(&path).await,
                _ => program.file(&path, b"").await,
            };
            (shown.status.as_u16(), shown)
        };
        let (steward, tester) = (asked(&both.of_steward).await, asked(&both.of_tester).await);
        let (foreign, _) = asked(&elsewhere).await;
        if route.who.is_for_programs() {
            // Cookies count for nothing here, whosever they are.
            let wanted = if route.who == Who::ProgramReader {
                404
            } else {
                401
            };
            for person in [&other, &both.half.steward, &both.tester] {
                let shown = match route.method {
                    Method::GET => person.open(&path).await,
                    _ => person.submit(&path, &[]).await,
                };
                shown.problem(wanted);
            }
        }
        let wanted = match (route.who, route.name) {
            (Who::Token, "api-entries") => (415, 415, 415),
            (Who::Token, _) => (200, 200, 200),
            (Who::TesterToken, "api-curve-send") => (403, 422, 403),
            (Who::TesterToken, "api-curve") => (403, 404, 403),
            (Who::TesterToken, _) => (403, 200, 403),
            (Who::ProgramReader, "api-editions") => (200, 404, 404),
            (Who::ProgramReader, _) => (404, 404, 404),
            _ => {
                no_page(&route, steward.0);
                no_page(&route, tester.0);
                continue;
            }
        };
        assert_eq!((steward.0, tester.0, foreign), wanted, "{}", route.name);
        for shown in [steward.1, tester.1] {
            assert!(shown.headers.get("set-cookie").is_none(), "{}", route.name);
            if shown.status.as_u16() >= 400 {
                shown.problem(shown.status.as_u16());
            }
        }
    }
}

/// A page answers a token as it answers a stranger.
fn no_page(route: &Route, status: u16) {
    let wanted: &[u16] = match route.who {
        Who::Signed | Who::StudySteward => &[303, 401, 403],
        Who::StudyReader | Who::LabLink | Who::FirstRun => &[404],
        _ => return,
    };
    assert!(wanted.contains(&status), "{}: {status}", route.name);
}

/// A program of the steward of another study.
async fn elsewhere(server: &TestServer) -> Program {
    let desk = crate::house::ready::Wanted::small()
        .ready(server, "ada")
        .await;
    let token = token(&desk.person, &format!("/desk/{}/tokens", desk.slug), true).await;
    Program::new(&server.base, &token)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_token_dies_with_what_it_rests_on() {
    let both = Both::set_up().await;
    let app = &both.half.server.app;
    let alive = "/api/v1/token";
    both.of_steward.get(alive).await.ok();
    // A second steward, removed; a third, whose account is closed.
    let mut stewards = Vec::new();
    for name in ["ulf", "eva"] {
        let person = both.half.server.steward(name).await;
        let account = AccountId(app.store.find_account(name).await.unwrap().unwrap().id);
        both.half
            .script
            .say(Entry::StewardAdded { account })
            .await
            .unwrap();
        let program = both.program(&token(&person, &desk(), true).await);
        program.get(alive).await.ok();
        stewards.push((account, program));
    }
    let account = stewards[0].0;
    both.half
        .script
        .say(Entry::StewardRemoved { account })
        .await
        .unwrap();
    stewards[0].1.get(alive).await.problem(401);
    app.store
        .close_account(stewards[1].0.0, app.clock.now())
        .await
        .unwrap();
    stewards[1].1.get(alive).await.problem(401);
    // Revoked by its own page; the lab's page does not know of the steward's.
    let own = token(&both.half.steward, &desk(), true).await;
    let ids = app.store.tokens_of(both.half.script.study).await.unwrap();
    let newest = ids
        .iter()
        .find(|row| row.used_at.is_none() && matches!(row.maker, Maker::Steward(_)))
        .unwrap()
        .id
        .to_string();
    let page = format!("{}/tokens/revoke", both.lab);
    both.tester
        .submit(&page, &[("token", &newest)])
        .await
        .is(422);
    both.program(&own).get(alive).await.ok();
    let page = format!("{}/revoke", desk());
    both.half
        .steward
        .submit(&page, &[("token", &newest)])
        .await
        .is(303);
    both.program(&own).get(alive).await.problem(401);
    // The lab link, revoked.
    both.of_tester.get(alive).await.ok();
    both.half
        .script
        .say(Entry::LinkRevoked {
            link: both.half.open.0,
        })
        .await
        .unwrap();
    let shown = both.of_tester.get(alive).await;
    assert_eq!(
        shown.header("www-authenticate"),
        "Bearer realm=\"Overwinter\""
    );
    shown.problem(401);
    // Its last day.
    app.clock.advance(TimeDelta::days(89));
    both.of_steward.get(alive).await.ok();
    app.clock.advance(TimeDelta::days(2));
    both.of_steward.get(alive).await.problem(401);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_token_for_reading_sends_nothing_and_after_the_end_none_does() {
    let both = Both::set_up().await;
    let reader = both.program(&token(&both.tester, &format!("{}/tokens", both.lab), false).await);
    reader.get("/api/v1/pieces").await.ok();
    reader
        .post("/api/v1/entries", &json!({ "entries": [] }))
        .await
        .problem(403);
    reader
        .file("/api/v1/curves?name=a.csv", b"1;2")
        .await
        .problem(403);
    let untested = both.untested().await;
    assert!(untested.len() > 2);
    // All tested, all guessed, finished: by machine alone.
    for code in &untested {
        let arrived = json!({ "blind": code, "arrival": "good" });
        assert_eq!(
            both.of_tester.entry(&both.entry("arrived", arrived)).await["status"],
            201
        );
        let test = both.entry("break_tested", test_of(code, "36.9"));
        let answer = both.of_tester.entry(&test).await;
        assert_eq!(answer["status"], 201, "{answer}");
    }
    let pieces = both.of_tester.get("/api/v1/pieces").await.json();
    for piece in pieces["pieces"].as_array().unwrap() {
        let guess = json!({ "blind": piece["code"], "looks": "cannot_tell" });
        assert_eq!(
            both.of_tester.entry(&both.entry("guessed", guess)).await["status"],
            201
        );
    }
    let finished = both.entry("finished", json!({}));
    assert_eq!(both.of_tester.entry(&finished).await["status"], 201);
    let pieces = both.of_tester.get("/api/v1/pieces").await.ok().json();
    assert_eq!(pieces["is_open"], false);
    let late = json!({ "blind": untested[0], "arrival": "damaged" });
    let answer = both.of_tester.entry(&both.entry("arrived", late)).await;
    assert!(answer["status"].as_u64().unwrap() >= 403, "{answer}");
    assert!(
        answer["problem"]["detail"]
            .as_str()
            .is_some_and(|why| !why.is_empty())
    );
    both.of_tester
        .file("/api/v1/curves?name=a.csv", b"1;2")
        .await
        .problem(409);
    // What was sent in lbf is on record in N: 36.9 lbf × 4.4482216152605 N (1959, CGPM 1901).
    let record = both.half.record().await;
    let tests = &record.consignments[0].tests;
    let sent = tests
        .iter()
        .find(|t| t.test.blind.as_str() == untested[0])
        .unwrap();
    let newtons = sent.test.max_load_n.unwrap();
    assert!(
        (newtons - 36.9 * 4.448_221_615_260_5).abs() < 1e-9,
        "{newtons}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn an_entry_is_recorded_once_and_every_refusal_says_why() {
    let both = Both::set_up().await;
    let untested = both.untested().await;
    let entry = both.entry("break_tested", test_of(&untested[0], "37"));
    let first = both.of_tester.entry(&entry).await;
    let again = both.of_tester.entry(&entry).await;
    assert_eq!(
        (&first["status"], &again["status"]),
        (&json!(201), &json!(200))
    );
    assert_eq!(first["receipt"]["hash"], again["receipt"]["hash"]);
    assert_eq!(again["receipt"]["is_repeat"], true);
    let mut other = entry.clone();
    other["body"]["typed"]["text"] = json!("38");
    let refused = both.of_tester.entry(&other).await;
    assert_eq!(refused["status"], 422);
    assert!(
        refused["problem"]["detail"]
            .as_str()
            .unwrap()
            .contains("other content")
    );
    let wrong = |change: &dyn Fn(&mut Value)| {
        let mut entry = both.entry("break_tested", test_of(&untested[1], "37"));
        change(&mut entry);
        entry
    };
    let own = both.half.record().await;
    let cases: Vec<(Value, u64, &str)> = vec![
        (json!(7), 422, "JSON object"),
        (wrong(&|e| e["id"] = json!("f0e1")), 422, "not readable"),
        (
            wrong(&|e| e["id"] = json!("3f2504e0-4f89-41d3-9a0c-0305e82c3301")),
            422,
            "version 7",
        ),
        (
            wrong(&|e| e["kind"] = json!("unblinded")),
            422,
            "not readable",
        ),
        (
            wrong(&|e| e["study"] = json!(both.id())),
            422,
            "another study",
        ),
        (
            wrong(&|e| e["body"]["max_load_n"] = json!(37.0)),
            422,
            "lbf is",
        ),
        (
            wrong(&|e| e["body"]["typed"]["text"] = json!("many")),
            422,
            "number",
        ),
        (
            wrong(&|e| e["body"]["typed"]["unit"] = json!("kg")),
            422,
            "force",
        ),
        (
            wrong(&|e| e["body"]["typed"]["unit"] = json!("stone")),
            422,
            "one of g,",
        ),
        (wrong(&|e| e["body"]["blind"] = json!("AAAAA")), 422, ""),
        (
            wrong(&|e| e["body"]["consignment"] = json!(both.id())),
            403,
            "",
        ),
        (
            wrong(&|e| {
                e["body"].as_object_mut().unwrap().remove("mode");
            }),
            422,
            "mode",
        ),
        (
            both.entry("put_out", json!({ "specimens": [own.specimens[0].code] })),
            422,
            "",
        ),
        (
            both.entry("voided", json!({ "entry": own.readings[0].entry })),
            422,
            "",
        ),
    ];
    for (entry, status, words) in cases {
        let answer = both.of_tester.entry(&entry).await;
        assert_eq!(answer["status"], status, "{entry} {answer}");
        assert_eq!(answer["problem"]["status"], status);
        let why = answer["problem"]["detail"].as_str().unwrap();
        assert!(!why.is_empty() && why.contains(words), "{entry}: {why}");
    }
    // A wrong one keeps no right one back.
    let right = both.entry("break_tested", test_of(&untested[1], "37"));
    let body = json!({ "entries": [json!({}), right] });
    let shown = both.of_tester.post("/api/v1/entries", &body).await;
    let statuses: Vec<_> = shown.json()["receipts"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| r["status"].clone())
        .collect();
    assert_eq!(statuses, [422, 201]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_curve_is_kept_byte_for_byte_and_once() {
    let both = Both::set_up().await;
    let code = both.untested().await.pop().unwrap();
    let bytes = curve("Weg [mm];Kraft [N]", 164.0);
    let path = format!("/api/v1/curves?name=run%207.csv&piece={code}");
    let first = both.of_tester.file(&path, &bytes).await.ok().json();
    assert_eq!(first["kept_for"][0]["piece"], json!(code), "{first}");
    assert_eq!(
        (&first["needs_a_look"], &first["is_repeat"]),
        (&json!(false), &json!(false))
    );
    let load = first["kept_for"][0]["max_load_n"].as_f64().unwrap();
    assert!((load - 164.0).abs() < 1e-9);
    let again = both.of_tester.file(&path, &bytes).await.ok().json();
    assert_eq!(
        (&again["id"], &again["is_repeat"]),
        (&first["id"], &json!(true))
    );
    let list = both.of_tester.get("/api/v1/curves").await.ok().json();
    assert_eq!(list["curves"].as_array().unwrap().len(), 1);
    let own = format!("/api/v1/curves/{}", first["id"].as_str().unwrap());
    assert_eq!(both.of_tester.get(&own).await.ok().bytes, bytes);
    // Nobody is named: it waits for a person. No curve at all, and no such piece: said in words.
    let bare = curve("Weg [mm];Kraft [N]", 171.0);
    let waits = both
        .of_tester
        .file("/api/v1/curves?name=x.csv", &bare)
        .await
        .ok()
        .json();
    assert_eq!(waits["needs_a_look"], true);
    both.of_tester
        .file("/api/v1/curves?name=x.csv", b"good morning")
        .await
        .problem(422);
    both.of_tester
        .file("/api/v1/curves?name=x.csv&piece=AAAAA", &bare)
        .await
        .problem(422);
    both.of_tester
        .file("/api/v1/curves", &bare)
        .await
        .problem(422);
}

#[tokio::test(flavor = "multi_thread")]
async fn every_fault_is_a_problem_and_wrong_tokens_are_slowed() {
    let both = Both::set_up().await;
    let program = &both.of_steward;
    for path in ["/api/v1/nothing", "/api/v2", "/api/v1/pieces/none"] {
        program.get(path).await.problem(404);
    }
    let shown = program.post("/api/v1/token", &json!({})).await;
    assert!(shown.header("allow").contains("GET"), "{:?}", shown.headers);
    shown.problem(405);
    let post = || program.request(Method::POST, "/api/v1/entries");
    program.send(post().body("entries")).await.problem(415);
    let typed = || post().header("content-type", "application/json");
    program.send(typed().body("{")).await.problem(422);
    program
        .send(typed().body("{\"entries\":[],\"x\":1}"))
        .await
        .problem(422);
    let many = vec![json!({}); 501];
    program
        .post("/api/v1/entries", &json!({ "entries": many }))
        .await
        .problem(422);
    let large = "a".repeat(3 * 1024 * 1024);
    program.send(typed().body(large)).await.problem(413);
    // Another site has no token, and would be refused with one.
    let foreign = typed()
        .header("origin", "https://evil.example")
        .body("{\"entries\":[]}");
    program.send(foreign).await.problem(403);
    let stranger = both.half.server.stranger();
    stranger.open("/api/v1/pieces").await.problem(401);
    for line in ["Bearer", "Basic YTpi", "Bearer 12", "bearer  "] {
        let request = stranger.request(Method::GET, "/api/v1/pieces");
        stranger
            .send(request.header("authorization", line))
            .await
            .problem(401);
    }
    let guesser = both.program(&"0".repeat(64));
    let mut answers: Vec<u16> = Vec::new();
    for _ in 0..24 {
        answers.push(guesser.get("/api/v1/token").await.status.as_u16());
    }
    assert_eq!(answers[..20], [401; 20]);
    assert_eq!(answers[20..], [429; 4]);
    let slowed = guesser.get("/api/v1/token").await;
    assert!(!slowed.header("retry-after").is_empty());
    slowed.problem(429);
    program.get("/api/v1/token").await.ok();
}

#[tokio::test]
async fn the_description_is_the_table_of_routes_and_names_no_study() {
    let server = TestServer::start().await;
    let document = server
        .stranger()
        .open("/api/openapi.json")
        .await
        .ok()
        .json();
    assert_eq!(document["openapi"], "3.1.0");
    let mut described: Vec<(String, String)> = Vec::new();
    for (path, methods) in document["paths"].as_object().unwrap() {
        for (method, operation) in methods.as_object().unwrap() {
            described.push((method.to_uppercase(), path.clone()));
            let named = operation["parameters"]
                .as_array()
                .cloned()
                .unwrap_or_default();
            for part in path.split('/').filter_map(|part| part.strip_prefix('{')) {
                let name = part.trim_end_matches('}');
                assert!(named.iter().any(|p| p["name"] == name), "{path}: {name}");
            }
        }
    }
    let programs = table()
        .into_iter()
        .filter(|route| route.who.is_for_programs());
    let mut rows: Vec<_> = programs
        .map(|r| (r.method.to_string(), r.path.to_owned()))
        .collect();
    rows.sort();
    described.sort();
    assert_eq!(described, rows);
    let guide = server.stranger().open("/api").await;
    for (_, path) in rows {
        assert!(
            guide.ok().body().contains(&path),
            "{path} is not in the guide"
        );
    }
}

/// A token made past the form.
async fn made(half: &Half, maker: Maker) -> String {
    let app = &half.server.app;
    let secret = app.clock.new_token();
    let now: DateTime<Utc> = app.clock.now();
    let new = NewToken {
        id: app.clock.new_id(),
        token_sha256: secret.sha256(),
        name: "hostile".to_owned(),
        study: half.script.study,
        maker,
        can_send: true,
        made_at: now,
        ends_at: now + TimeDelta::days(1),
    };
    app.store.add_token(&new).await.unwrap();
    secret.reveal()
}

/// schemathesis generates requests from the description, good ones and mauled ones, and holds every answer to
/// it. What it would call a bad answer to good data is a batch whose entries were refused one by one, so those
/// two checks are left out.
#[tokio::test(flavor = "multi_thread")]
async fn no_request_that_a_generator_thinks_of_breaks_it() {
    let half = Half::set_up().await;
    let steward = AccountId(half.script.steward.0);
    let tokens = [
        made(&half, Maker::Steward(steward)).await,
        made(&half, Maker::Tester(half.open.0)).await,
    ];
    let generator = concat!(env!("CARGO_MANIFEST_DIR"), "/target/venv/bin/schemathesis");
    let folder = tempfile::tempdir().unwrap();
    let run = |token: &str| {
        let mut command = std::process::Command::new(generator);
        command
            .current_dir(folder.path())
            .args(["run", &format!("{}/api/openapi.json", half.server.base)])
            .args(["--header", &format!("Authorization: Bearer {token}")])
            .args([
                "--max-examples",
                "12",
                "--seed",
                "7",
                "--phases",
                "examples,coverage,fuzzing",
            ])
            .args([
                "--exclude-checks",
                "negative_data_rejection,positive_data_acceptance",
            ])
            .args([
                "--no-color",
                "--generation-database",
                "none",
                "--request-timeout",
                "10",
            ])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        tokio::task::spawn_blocking(move || command.output())
    };
    let (one, two) = tokio::join!(run(&tokens[0]), run(&tokens[1]));
    for output in [one.unwrap(), two.unwrap()] {
        let output = output.expect("schemathesis is there");
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(
            output.status.success(),
            "{said}\n{}",
            String::from_utf8_lossy(&output.stderr)
        );
        let asked = said.contains("generated") && said.contains("Operations:");
        assert!(asked, "it asked nothing: {said}");
    }
    // The study is whole afterwards, whatever was sent.
    half.steward
        .open(&format!("/desk/{}/journal", HOOKS.slug))
        .await
        .ok();
}
