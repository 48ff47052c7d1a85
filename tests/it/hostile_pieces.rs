//! Whatever is typed into a form about pieces, the answer is a page with words or what was asked
//! for, never a fault of ours; what was typed comes back.

use crate::house::desk::Desk;
use serde_json::{Value, json};

/// Values that break forms: numbers that are none, text that deceives, markup, sizes.
const HOSTILE: [&str; 17] = [
    "",
    " ",
    "NaN",
    "∞",
    "-1",
    "0",
    "1e400",
    "99999999999999999999",
    "12 pounds",
    "a\0b",
    "\u{202e}desrever",
    "'; drop table specimen; --",
    "<script>alert(1)</script>",
    "\"><img src=x>",
    "../../etc/passwd",
    "💥",
    "99999-13-45T99:99",
];

/// The forms, each with fields that would do.
fn forms(desk: &Desk, code: &str, reading: &str) -> Vec<(String, Vec<(String, String)>)> {
    let form = |path: &str, fields: &[(&str, &str)]| {
        let fields = fields
            .iter()
            .map(|(n, v)| ((*n).to_owned(), (*v).to_owned()));
        (path.to_owned(), fields.collect())
    };
    let (balance, now) = (desk.balance.to_string(), "2026-03-01T10:00");
    let (state, known) = (format!("state-{code}"), format!("known-{code}"));
    vec![
        form(
            "instruments",
            &[
                ("name", "rig"),
                ("dimension", "force"),
                ("readability", "1"),
                ("unit", "N"),
                ("uncertainty", "2"),
            ],
        ),
        form(
            "specimens/new",
            &[
                ("lot", "bag 1"),
                ("build", "shot 1"),
                ("count", "1"),
                ("first", "1"),
            ],
        ),
        form(&format!("specimens/{code}/reject"), &[("reason", "bent")]),
        form(
            "round",
            &[
                ("quantity", "mass"),
                ("occasion", "before"),
                ("instrument", &balance),
                ("unit", "g"),
                ("state", "wet"),
                ("code", code),
                ("value", "8.4"),
            ],
        ),
        form(
            &format!("readings/{reading}/correct"),
            &[("value", "8.4"), ("unit", "g"), ("reason", "a slip")],
        ),
        form(&format!("entries/{reading}/void"), &[("reason", "a slip")]),
        form(
            "exposure/out",
            &[
                ("piece", code),
                ("all", "condition:c9"),
                ("at", now),
                ("note", ""),
            ],
        ),
        form("exposure/waive", &[("piece", code), ("reason", "lent out")]),
        form(
            "exposure/handle",
            &[
                ("what", "moved"),
                ("piece", code),
                ("into_holder", "c3h1"),
                ("at", now),
                ("note", "x"),
            ],
        ),
        form(
            "exposure/incident",
            &[
                ("holder", "c3h1"),
                ("note", "cracked"),
                ("from", "2026-02-01"),
                ("until", ""),
                ("into_holder", ""),
                ("decision", "keep"),
            ],
        ),
        form(
            "exposure/in",
            &[
                ("stage", "180"),
                ("condition", "c3"),
                (state.as_str(), "whole"),
                (known.as_str(), "mark"),
                ("at", now),
                ("note", ""),
            ],
        ),
        form(
            "exposure/nameless",
            &[
                ("holder", "c3h1"),
                ("stage", "180"),
                ("state", "whole"),
                ("at", now),
                ("note", ""),
            ],
        ),
    ]
}

#[tokio::test]
async fn every_field_of_every_form_about_pieces_bears_every_hostile_value() {
    let desk = Desk::ready().await;
    let code = desk.placed("c3", 180).await[0].to_string();
    let reading = desk.record().await.readings[0].entry.to_string();
    let huge = "z".repeat(1024 * 1024);
    for (path, fields) in forms(&desk, &code, &reading) {
        for field in 0..fields.len() {
            for value in HOSTILE.iter().copied().chain([huge.as_str()]) {
                let mut typed: Vec<(&str, &str)> = fields
                    .iter()
                    .map(|(n, v)| (n.as_str(), v.as_str()))
                    .collect();
                typed[field].1 = value;
                let name = typed[field].0;
                typed.push((name, "y"));
                let shown = desk.submit(&path, &typed).await;
                let status = shown.status.as_u16();
                let short: String = value.chars().take(30).collect();
                let is_heard = matches!(status, 303 | 404 | 422);
                assert!(is_heard, "{path} {name}={short}: {status}");
                if status == 422 {
                    let alerts = shown.texts("[role=alert]");
                    assert!(!alerts.is_empty(), "{path} {name}={short}: no word of why");
                    comes_back(&shown, &path, name, value);
                }
            }
        }
    }
}

/// A text field that stands on the page again holds what was typed.
fn comes_back(shown: &crate::house::Shown, path: &str, name: &str, value: &str) {
    let input = format!("input#f-{name}[type=text]");
    if shown.texts(&input).is_empty() {
        return;
    }
    // The HTML standard's parser turns NUL into U+FFFD (13.2.5).
    let parsed = value.replace('\0', "\u{fffd}");
    assert_eq!(shown.attribute(&input, "value"), parsed, "{path} {name}");
}

/// What a device may send about a piece, with `at` wherever a moment stands, and the day of it.
fn entries_about(desk: &Desk, code: &str, at: &str) -> Vec<(&'static str, Value)> {
    let (day, balance) = (at.split('T').next().unwrap(), desk.balance);
    let holder = &desk.plan.condition("c3").unwrap().holders[0].key;
    vec![
        (
            "put_out",
            json!({ "specimens": [code], "at": at, "is_confirmed_doubt": true }),
        ),
        (
            "handled",
            json!({ "specimens": [code], "at": at, "what": "inspected", "is_confirmed_doubt": true }),
        ),
        (
            "incident",
            json!({ "holder": holder, "from": day, "decision": "keep" }),
        ),
        (
            "nameless_found",
            json!({ "condition": "c3", "holder": holder, "stage_days": 180, "recovery": "damaged", "at": at }),
        ),
        (
            "instrument_checked",
            json!({ "check": {
                "instrument": balance, "nominal": 10, "nominal_typed": { "text": "10", "unit": "g" },
                "value": 10, "typed": { "text": "10", "unit": "g" },
            }}),
        ),
        (
            "reading_taken",
            json!({ "reading": {
                "specimen": code, "quantity": "mass", "occasion": "before", "repeat": 1, "state": "conditioned",
                "value": 8.4, "typed": { "text": "8.4", "unit": "g" }, "instrument": balance,
            }}),
        ),
    ]
}

/// One entry of the year 262142, once taken, would keep the study and every list with it from being read.
#[tokio::test(flavor = "multi_thread")]
async fn no_entry_names_a_day_that_cannot_be_counted_with() {
    let desk = Desk::ready().await;
    let code = desk.placed("c3", 180).await[0].to_string();
    let send = async |kind: &str, body: &Value, at: &str| {
        let entry = json!({ "entries": [{
            "id": desk.server.app.clock.new_id(), "study": desk.script.study, "device": "phone", "device_seq": 1,
            "taken_at": at, "time_zone": "Europe/Oslo", "kind": kind, "body": body, "note": "found so",
        }]});
        let request = desk.steward.request(reqwest::Method::POST, "/entries");
        let answer = desk.steward.send(request.json(&entry)).await;
        let body: Value = serde_json::from_slice(&answer.is(200).bytes).unwrap();
        let one = &body["receipts"][0];
        let problem = one["problem"].as_str().unwrap_or_default().to_owned();
        (one["status"].as_u64().unwrap(), problem)
    };
    let before = desk.record().await.entries;
    for at in [
        "+262142-12-31T23:59:59.999Z",
        "-262143-01-01T00:00:00Z",
        "9999-12-31T23:59:59Z",
        "0000-01-01T00:00:00Z",
    ] {
        for (kind, body) in entries_about(&desk, &code, at) {
            let sent = if body.to_string().contains(at.split('T').next().unwrap()) {
                "2026-03-01T10:00:00Z"
            } else {
                at
            };
            let (status, problem) = send(kind, &body, sent).await;
            assert_eq!(status, 422, "{kind} {at}: {problem}");
            assert!(
                problem.contains("between the years 1900 and 2200"),
                "{kind} {at}: {problem}"
            );
        }
    }
    assert_eq!(desk.record().await.entries, before);
    let (kind, mut body) = entries_about(&desk, &code, "2026-03-01T10:00:00Z").remove(4);
    let said = body.clone();
    body["check"]["value"] = json!(10.5);
    let (status, problem) = send(kind, &body, "2026-03-01T10:00:00Z").await;
    assert_eq!(status, 422);
    assert_eq!(
        problem,
        "The value is 10.5, but 10 g was typed, which is 10."
    );
    let body = said;
    let (status, problem) = send(kind, &body, "2026-03-01T10:00:00Z").await;
    assert_eq!(status, 201, "{problem}");
}
