//! The tester's side by machine alone: slips are asked about as on the page, and the lab's record, the parcel's
//! receipt and what differs go through the same door, with rights no wider than the page's.

use crate::house::{Program, camera};
use crate::lab_curves::curve;
use crate::machine::Both;
use overwinter::study::record::TestRecord;
use reqwest::Method;
use reqwest::multipart::{Form, Part};
use serde_json::{Value, json};

/// A test of a piece, its load in newtons.
fn test_of(code: &str, newtons: f64) -> Value {
    json!({
        "blind": code, "outcome": "valid", "mode": "opened",
        "typed": { "text": format!("{newtons:.2}"), "unit": "N" },
    })
}

/// The test that counts of a piece.
async fn counting(both: &Both, code: &str) -> TestRecord {
    let record = both.half.record().await;
    let tests = record.consignments[0].tests.iter();
    let mut own = tests.filter(|test| test.test.blind.as_str() == code);
    own.next_back().expect("a test").clone()
}

/// The middle of the loads on record.
async fn middle(both: &Both) -> f64 {
    let record = both.half.record().await;
    let tests = record.consignments[0].tests.iter();
    let mut loads: Vec<f64> = tests.filter_map(|test| test.test.max_load_n).collect();
    loads.sort_by(f64::total_cmp);
    loads[loads.len() / 2]
}

#[tokio::test(flavor = "multi_thread")]
async fn a_load_that_looks_like_a_slip_is_asked_about_once_and_kept_with_the_mark() {
    let both = Both::set_up().await;
    let untested = both.untested().await;
    let usual = middle(&both).await;
    // One newton of force is 1/9.80665 kgf (CGPM 1901) and 1/4.4482216152605 lbf (yard and pound agreement, 1959).
    let slips = [
        (usual * 10.0, "ten times"),
        (usual * 9.806_65, "ten times"),
        (usual / 4.448_221_615_260_5, "4.45 times"),
    ];
    let mut entry = Value::Null;
    for (load, word) in slips {
        entry = both.entry("break_tested", test_of(&untested[0], load));
        let asked = both.of_tester.entry(&entry).await;
        assert_eq!(asked["status"], 422, "{asked}");
        assert_eq!(asked["problem"]["mend"], "confirm", "{asked}");
        let why = asked["problem"]["detail"].as_str().unwrap();
        assert!(
            why.contains(word) && why.contains("is_confirmed_doubt"),
            "{why}"
        );
    }
    // The same entry with its confirmation is taken, once, and keeps the mark.
    entry["body"]["is_confirmed_doubt"] = json!(true);
    let kept = both.of_tester.entry(&entry).await;
    assert_eq!(kept["status"], 201, "{kept}");
    assert_eq!(both.of_tester.entry(&entry).await["status"], 200);
    assert!(counting(&both, &untested[0]).await.test.is_confirmed_doubt);
    // An ordinary load goes through as it is, and keeps none of the others of its batch back.
    let (plain, slip) = (
        both.entry("break_tested", test_of(&untested[1], usual)),
        both.entry("break_tested", test_of(&untested[2], usual * 10.0)),
    );
    let body = json!({ "entries": [plain.clone(), slip] });
    let shown = both
        .of_tester
        .post("/api/v1/entries", &body)
        .await
        .ok()
        .json();
    let status = |n: usize| shown["receipts"][n]["status"].clone();
    assert_eq!((status(0), status(1)), (json!(201), json!(422)), "{shown}");
    let before = counting(&both, &untested[1]).await;
    assert!(!before.test.is_confirmed_doubt);
    // So does a correction ask.
    let corrected = |load: f64| {
        let body = json!({ "supersedes": before.entry, "test": test_of(&untested[1], load) });
        let mut entry = both.entry("break_test_corrected", body);
        entry["note"] = json!("read again");
        entry
    };
    let asked = both.of_tester.entry(&corrected(usual * 10.0)).await;
    assert_eq!(asked["problem"]["mend"], "confirm", "{asked}");
    let right = both.of_tester.entry(&corrected(usual * 1.01)).await;
    assert_eq!(right["status"], 201, "{right}");
    // What was taken then is known now, whatever its siblings have become.
    assert_eq!(both.of_tester.entry(&plain).await["status"], 200);
    // And a load that is not its own curve's.
    let path = format!("/api/v1/curves?name=a.csv&piece={}", untested[2]);
    let bytes = curve("Weg [mm];Kraft [N]", usual);
    both.of_tester.file(&path, &bytes).await.ok();
    let entry = both.entry("break_tested", test_of(&untested[2], usual * 1.02));
    let asked = both.of_tester.entry(&entry).await;
    assert_eq!(asked["problem"]["mend"], "confirm", "{asked}");
    assert!(
        asked["problem"]["detail"]
            .as_str()
            .unwrap()
            .contains("curve"),
        "{asked}"
    );
    let entry = both.entry("break_tested", test_of(&untested[2], usual * 1.005));
    assert_eq!(both.of_tester.entry(&entry).await["status"], 201);
}

/// Sends an entry; its status and what is wrong with it.
async fn sent(both: &Both, who: &Program, kind: &str, body: Value, note: &str) -> (u64, String) {
    let mut entry = both.entry(kind, body);
    if !note.is_empty() {
        entry["note"] = json!(note);
    }
    let answer = who.entry(&entry).await;
    let why = answer["problem"]["detail"].as_str().unwrap_or_default();
    (answer["status"].as_u64().unwrap(), why.to_owned())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_labs_record_is_written_and_listed_by_machine() {
    let both = Both::set_up().await;
    let tester = &both.of_tester;
    let list = async || {
        let shown = tester.get("/api/v1/equipment").await.ok().json();
        shown["equipment"].as_array().unwrap().clone()
    };
    let named = |items: &[Value]| {
        let mut own = items.iter().filter(|one| one["name"] == "cell 5");
        own.next().cloned().unwrap_or_default()
    };
    let before = list().await.len();
    let cell =
        |to: u32| json!({ "kind": "load_cell", "name": "cell 5", "class": "0.5", "range_to": to });
    let body = json!({ "equipment": cell(500) });
    assert_eq!(sent(&both, tester, "equipment_kept", body, "").await.0, 201);
    let items = list().await;
    assert_eq!(items.len(), before + 1);
    let first = named(&items);
    assert_eq!(
        (&first["range_to"], &first["has_paper"]),
        (&json!(500.0), &json!(false))
    );
    assert!(
        first["flag"].is_string(),
        "it was never calibrated: {first}"
    );
    // Written down anew it is the same item; what it replaces is no longer listed.
    let body = json!({ "equipment": cell(600), "replaces": first["entry"], "change": "since" });
    assert_eq!(sent(&both, tester, "equipment_kept", body, "").await.0, 201);
    let items = list().await;
    let second = named(&items);
    assert_eq!((items.len(), &second["item"]), (before + 1, &first["item"]));
    assert_eq!(second["range_to"], 600.0);
    let stale = json!({ "equipment": cell(700), "replaces": first["entry"], "change": "since" });
    assert_eq!(
        sent(&both, tester, "equipment_kept", stale, "").await.0,
        422
    );
    // A session uses it, with its check load; one that is not in the record cannot be used.
    let session = |item: &Value| {
        json!({
            "machine": "frame 3", "fixture": "pin", "load_unit": "N", "tested_on": "2026-03-02",
            "check_load_n": 200.0, "check_opening_n": 200.4, "check_closing_n": 201.0,
            "drift_limit_percent": 1.0, "used": { "cell": item },
        })
    };
    assert_eq!(
        sent(&both, tester, "session_set", session(&second["item"]), "")
            .await
            .0,
        201
    );
    let pieces = tester.get("/api/v1/pieces").await.ok().json();
    assert_eq!(pieces["session"]["used"]["cell"], second["item"]);
    assert_eq!(
        sent(&both, tester, "session_set", session(&json!(both.id())), "")
            .await
            .0,
        422
    );
    // A file named by its hash alone could be anybody's.
    let mut with_paper = cell(500);
    let sha256 = "ab".repeat(32);
    with_paper["paper"] =
        json!({ "name": "a.pdf", "kind": "application/pdf", "sha256": sha256, "bytes": 7 });
    let (status, why) = sent(
        &both,
        tester,
        "equipment_kept",
        json!({ "equipment": with_paper }),
        "",
    )
    .await;
    assert!(
        status == 422 && why.contains("come with their files"),
        "{why}"
    );
    // The record is the lab's own.
    let consignment = both.half.record().await.consignments[0].id;
    let body = json!({ "consignment": consignment, "equipment": cell(500) });
    assert_eq!(
        sent(&both, &both.of_steward, "equipment_kept", body, "")
            .await
            .0,
        422
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_parcel_is_received_and_its_differences_settled_by_machine_from_both_sides() {
    let both = Both::set_up().await;
    let (tester, steward) = (&both.of_tester, &both.of_steward);
    let record = both.half.record().await;
    let one = &record.consignments[0];
    let receipt = |count: usize| json!({ "at": "2026-03-02T10:00:00Z", "count": count, "seal": "broken", "seal_number": "7" });
    let counted = receipt(one.pieces.len() - 1);
    assert_eq!(
        sent(&both, tester, "receipt_noted", counted, "").await.0,
        201
    );
    let about = |what: &str| json!({ "consignment": one.id, "about": what });
    assert_eq!(
        sent(&both, tester, "difference_settled", about("count"), "")
            .await
            .0,
        422,
        "without words"
    );
    assert_eq!(
        sent(
            &both,
            tester,
            "difference_settled",
            about("count"),
            "One is at the door."
        )
        .await
        .0,
        201
    );
    let piece = format!("piece:{}", one.pieces[0].blind);
    assert_eq!(
        sent(
            &both,
            tester,
            "difference_settled",
            about(&piece),
            "It is fine."
        )
        .await
        .0,
        422,
        "it does not differ"
    );
    // What the steward sends is read by the tester, and names nothing that the tester may not know.
    let code = record.specimens[0].code.to_string();
    let place = record.plan().unwrap().plan.conditions[0].name.clone();
    let sealed = |number: &str| json!({ "consignment": one.id, "number": number });
    let arrived =
        json!({ "consignment": one.id, "blind": one.pieces[0].blind, "arrival": "remark" });
    let opened = |number: &str| json!({ "consignment": one.id, "at": "2026-03-02T10:00:00Z", "count": 3, "seal": "broken", "seal_number": number });
    for (kind, body, note) in [
        (
            "difference_settled",
            about("seal"),
            format!("It was {code}."),
        ),
        (
            "difference_settled",
            about("seal"),
            format!("From {}.", place.to_uppercase()),
        ),
        ("arrived", arrived, format!("the one from {place}")),
        ("receipt_noted", opened("7"), format!("{code} was loose")),
        ("receipt_noted", opened(&code), String::new()),
        ("parcel_sealed", sealed(&place), String::new()),
    ] {
        let (status, why) = sent(&both, steward, kind, body, &note).await;
        assert!(
            status == 422 && why.contains("must not know"),
            "{kind}: {status} {why}"
        );
    }
    assert_eq!(
        sent(
            &both,
            steward,
            "difference_settled",
            about("seal"),
            "The carrier opened it."
        )
        .await
        .0,
        201
    );
    assert_eq!(
        sent(&both, steward, "parcel_sealed", sealed("B 40 117"), "")
            .await
            .0,
        201
    );
    let linked = json!({ "consignment": one.id, "same_as": null });
    assert_eq!(
        sent(&both, steward, "lab_linked", linked.clone(), "")
            .await
            .0,
        201
    );
    let page = both.tester.open(&format!("{}/parcel", both.lab)).await;
    let told = page.ok().text("main");
    assert!(
        told.contains("The carrier opened it.") && told.contains("One is at the door."),
        "{told}"
    );
    assert!(!told.contains(&code) && !told.contains(&place));
    // The tester's token does none of the steward's part, nor anything of another consignment.
    assert_eq!(
        sent(&both, tester, "parcel_sealed", sealed("8"), "")
            .await
            .0,
        403
    );
    assert_eq!(sent(&both, tester, "lab_linked", linked, "").await.0, 403);
    let mut foreign = receipt(3);
    foreign["consignment"] = json!(both.id());
    assert_eq!(
        sent(&both, tester, "receipt_noted", foreign, "").await.0,
        403
    );
    let long = json!({ "at": "2026-03-02T10:00:00Z", "count": 3, "seal": "none", "seal_number": "7".repeat(400) });
    assert_eq!(sent(&both, tester, "receipt_noted", long, "").await.0, 422);
}

/// Sends an entry with a file; its answer.
async fn with_file(both: &Both, entry: &Value, file: (&str, &[u8])) -> Value {
    let (name, bytes) = (file.0.to_owned(), file.1.to_vec());
    let form = Form::new()
        .text("entry", entry.to_string())
        .part("file", Part::bytes(bytes).file_name(name));
    let program = &both.of_tester;
    let request = program.request(Method::POST, "/api/v1/entries/file");
    let shown = program.send(request.multipart(form)).await;
    shown.ok().json()["receipts"][0].clone()
}

/// Photographs, a logger's file and a certificate go through a door of their own, with the page's rules: once by
/// entry id, for the token's own consignment, refused in words.
#[tokio::test(flavor = "multi_thread")]
async fn what_rests_on_a_file_is_sent_by_machine_once_and_within_the_tokens_rights() {
    let both = Both::set_up().await;
    let one = both.half.record().await.consignments[0].clone();
    let jpeg = camera::jpeg(64, 48, 1);
    let shot = ("box.jpg", jpeg.as_slice());
    let body = json!({ "blinds": [one.pieces[0].blind] });
    let entry = both.entry("arrival_photographed", body);
    assert_eq!(with_file(&both, &entry, shot).await["status"], 201);
    assert_eq!(with_file(&both, &entry, shot).await["status"], 200);
    let other = camera::jpeg(48, 64, 1);
    assert_eq!(
        with_file(&both, &entry, ("box.jpg", &other)).await["status"],
        422
    );
    // ISO 8601 days with UTC in the header: nothing is guessed.
    let log = "Logger 7, times in UTC\nTime;Temperature (°C)\n2026-03-01 08:00;4,5\n2026-03-01 09:00;21,0\n";
    let logged = both.entry("transit_logged", json!({ "name": "logger 7" }));
    assert_eq!(
        with_file(&both, &logged, ("log.csv", log.as_bytes())).await["status"],
        201
    );
    assert_eq!(
        with_file(&both, &logged, ("log.csv", log.as_bytes())).await["status"],
        200
    );
    let pdf = b"%PDF-1.7 calibrated";
    let cell = json!({ "equipment": { "kind": "load_cell", "name": "cell 9", "class": "0.5", "range_to": 500 } });
    let kept = both.entry("equipment_kept", cell);
    assert_eq!(
        with_file(&both, &kept, ("cell.pdf", pdf)).await["status"],
        201
    );
    assert_eq!(
        with_file(&both, &kept, ("cell.pdf", pdf)).await["status"],
        200
    );
    let listed = both.of_tester.get("/api/v1/equipment").await.ok().json();
    let mut items = listed["equipment"].as_array().unwrap().iter();
    let item = items.find(|one| one["name"] == "cell 9").expect("the cell");
    assert_eq!(item["has_paper"], true);
    let page = both
        .tester
        .open(&format!(
            "{}/equipment/{}/paper",
            both.lab,
            item["entry"].as_str().unwrap()
        ))
        .await;
    assert_eq!(page.ok().bytes.as_slice(), &pdf[..], "byte for byte");
    let page = both.tester.open(&format!("{}/parcel", both.lab)).await;
    assert!(page.ok().body().contains("logger 7") && page.body().contains("/parcel/photographs/"));
    let two = "Time;Temperature (°C)\n03/04/2026 08:00;4.5\n03/04/2026 09:00;5.5\n";
    let foreign = json!({ "consignment": both.id(), "blinds": [] });
    let hashed = json!({ "equipment": { "kind": "load_cell", "name": "cell 9", "paper": {
        "name": "a.pdf", "kind": "application/pdf", "sha256": "ab".repeat(32), "bytes": 7 } } });
    let nobody = json!({ "blinds": ["0000000"] });
    for (kind, body, file, word) in [
        ("arrival_photographed", json!({}), &b"no picture"[..], ""),
        ("arrival_photographed", json!({}), &b""[..], ""),
        (
            "arrival_photographed",
            foreign,
            &jpeg,
            "another consignment",
        ),
        ("arrival_photographed", nobody, &jpeg, "not readable"),
        (
            "transit_logged",
            json!({ "name": "" }),
            log.as_bytes(),
            "name is missing",
        ),
        (
            "transit_logged",
            json!({ "name": "l" }),
            &[0, 159, 146, 150],
            "",
        ),
        (
            "transit_logged",
            json!({ "name": "l" }),
            two.as_bytes(),
            "its layout",
        ),
        (
            "equipment_kept",
            json!({ "equipment": { "kind": "load_cell", "name": "x" } }),
            b"MZ",
            "none of them",
        ),
        (
            "equipment_kept",
            json!({ "equipment": { "kind": "load_cell", "name": "a\u{7}b" } }),
            pdf,
            "name",
        ),
        ("equipment_kept", hashed, pdf, "come as the parts"),
        ("finished", json!({}), pdf, "these kinds"),
    ] {
        let refused = with_file(&both, &both.entry(kind, body), ("f", file)).await;
        let why = refused["problem"]["detail"].as_str().unwrap_or_default();
        assert!(
            refused["status"] == 422 && !why.is_empty() && why.contains(word),
            "{kind} {word}: {refused}"
        );
    }
    // What a form would refuse is refused of an entry without one.
    let session = |percent: u32, day: &str| json!({ "machine": "frame 3", "fixture": "pin", "load_unit": "N", "tested_on": day, "room_rh_percent": percent });
    let receipt =
        json!({ "at": "2031-03-02T10:00:00Z", "count": 3, "seal": "none", "seal_number": "" });
    let mut nothing_broke = test_of(&both.untested().await[0], 310.0);
    nothing_broke["mode"] = json!("no_break");
    for (kind, body, word) in [
        ("session_set", session(400, "2026-03-02"), "at most 100"),
        ("session_set", session(40, "2031-03-02"), "future"),
        ("receipt_noted", receipt, "future"),
        ("break_tested", nothing_broke, "at least this load"),
    ] {
        let (status, why) = sent(&both, &both.of_tester, kind, body, "").await;
        assert!(
            status == 422 && why.contains(word),
            "{kind}: {status} {why}"
        );
    }
    let plain = both
        .of_tester
        .entry(&both.entry("transit_logged", json!({})))
        .await;
    assert!(
        plain["problem"]["detail"]
            .as_str()
            .unwrap()
            .contains("/api/v1/entries/file"),
        "{plain}"
    );
}
