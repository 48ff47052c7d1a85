//! Photographs: nothing but the picture is kept; what is no picture is refused without harm; sent twice
//! is kept once; nothing is public before its piece is unblinded and its steward says so.

use crate::house::camera::{PLACE, holds, jpeg, photographed, send};
use crate::house::desk::{Desk, SLUG, small_plan};
use crate::house::ready::{DAYS, Ready, Wanted};
use crate::house::{Person, Shown, TestServer, run_sql};
use overwinter::store::verify::verify;
use overwinter::store::{DATABASE_FILE, NotTaken};
use overwinter::study::code::Code;
use overwinter::study::entry::Entry;
use overwinter::study::guard::Refusal;
use overwinter::study::ids::EntryId;
use overwinter::study::photograph::View;
use overwinter::study::record::StudyRecord;
use std::path::PathBuf;
use std::sync::Arc;

async fn desk() -> Desk {
    Desk::planned(small_plan()).await.with_pieces(3).await
}

/// Sends a photograph of the first piece.
async fn sent(desk: &Desk, entry: &str, view: &str, bytes: &[u8]) -> Shown {
    let code = desk.record().await.specimens[0].code.to_string();
    let path = format!("/desk/{SLUG}/specimens/{code}/photographs");
    let fields = [
        ("entry", entry),
        ("view", view),
        ("frame", "120"),
        ("note", "by the window"),
    ];
    send(&desk.steward, &path, &fields, ("DCIM_0042.JPG", bytes)).await
}

fn id(desk: &Desk) -> String {
    desk.server.app.clock.new_id().to_string()
}

pub fn database(server: &TestServer) -> PathBuf {
    server.app.config.folder.path.join(DATABASE_FILE)
}

async fn blobs(server: &TestServer) -> i64 {
    let path = database(server);
    let report = verify(&path, &[]).await.expect("it verifies");
    assert_eq!(report.faults, Vec::<String>::new());
    i64::try_from(report.files).expect("few")
}

#[tokio::test]
async fn a_photograph_is_kept_upright_and_without_anything_that_the_camera_wrote() {
    let desk = desk().await;
    let bytes = jpeg(900, 600, 6);
    assert!(holds(&bytes, PLACE) && holds(&bytes, "Exif"));
    let code = desk.record().await.specimens[0].code.to_string();
    let piece = format!("/desk/{SLUG}/specimens/{code}");
    sent(&desk, &id(&desk), "before", &bytes)
        .await
        .redirects_to(&piece);
    let record = desk.record().await;
    let photo = &record.photographs[0];
    let files = &photo.photograph.files;
    assert_eq!(
        (files.width, files.height),
        (600, 900),
        "turned as it was held"
    );
    assert_eq!(photo.photograph.described.frame_mm, Some(120.0));
    assert_eq!(photo.note.as_deref(), Some("by the window"));
    let page = desk.open(&format!("specimens/{code}")).await;
    let source = page.ok().attribute(".shots img", "src");
    for name in [source.clone(), source.replace("small", "large")] {
        let file = desk.steward.open(&name).await;
        assert_eq!(file.ok().header("content-type"), "image/jpeg");
        assert_eq!(file.header("x-content-type-options"), "nosniff");
        assert!(!holds(&file.bytes, PLACE) && !holds(&file.bytes, "Exif"));
        image::load_from_memory(&file.bytes).expect("a picture");
        // A visitor learns nothing of it.
        desk.server.stranger().open(&name).await.is(303);
    }
    desk.steward
        .open(&source.replace("small.jpg", "sent.jpg"))
        .await
        .is(404);
    assert_eq!(blobs(&desk.server).await, 2);
    // Neither the place nor the file's name is anywhere on the disk.
    let folder = &desk.server.app.config.folder.path;
    for file in std::fs::read_dir(folder).expect("the data folder") {
        let bytes = std::fs::read(file.expect("a file").path()).expect("it is read");
        assert!(!holds(&bytes, PLACE) && !holds(&bytes, "DCIM_0042"));
    }
}

#[tokio::test]
async fn what_is_no_photograph_is_refused_with_a_sentence_and_nothing_is_kept() {
    let desk = desk().await;
    let whole = jpeg(300, 200, 1);
    // A JPEG's frame header that claims 65535 × 65535 pixels.
    let mut bomb = whole.clone();
    let at = bomb
        .windows(2)
        .position(|two| two == [0xff, 0xc0])
        .expect("a frame");
    bomb[at + 5..at + 9].copy_from_slice(&[0xff; 4]);
    let cases: [(&[u8], &str); 8] = [
        (b"", "Choose a picture"),
        (&bomb, "million pixels"),
        (&whole[..200], "damaged"),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "HEIC"),
        (
            b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
            "no JPEG",
        ),
        (b"GIF89a\x01\0\x01\0\0\0\0;", "no JPEG"),
        (b"<!doctype html><script>alert(1)</script>", "no JPEG"),
        (b"#!/bin/sh\nrm -rf ~\n", "no JPEG"),
    ];
    for (bytes, why) in cases {
        let answer = sent(&desk, &id(&desk), "before", bytes).await;
        let said = answer.refused().fault("file");
        assert!(said.contains(why), "{said}");
        assert_eq!(
            answer.attribute("#f-frame", "value"),
            "120",
            "what was typed stays"
        );
        assert_eq!(answer.text("#f-note"), "by the window");
    }
    let answer = sent(&desk, &id(&desk), "sideways", &whole).await;
    assert!(
        answer
            .refused()
            .text(".notice.fault")
            .contains("What it shows must be one of")
    );
    assert!(desk.record().await.photographs.is_empty());
    assert_eq!(blobs(&desk.server).await, 0);
    // A body that is not what it says it is.
    let path = format!(
        "/desk/{SLUG}/specimens/{}/photographs",
        desk.record().await.specimens[0].code
    );
    for kind in [
        "multipart/form-data; boundary=x",
        "multipart/form-data",
        "image/jpeg",
    ] {
        let request = desk.steward.request(reqwest::Method::POST, &path);
        let request = request.header("content-type", kind).body("--y\r\nnonsense");
        let status = desk.steward.send(request).await.status.as_u16();
        assert!(matches!(status, 415 | 422), "{kind}: {status}");
    }
    // After all that the server takes the next good one.
    sent(&desk, &id(&desk), "before", &whole).await.is(303);
}

#[tokio::test]
async fn sent_twice_it_is_kept_once_and_the_same_id_takes_no_other_picture() {
    let desk = desk().await;
    let (entry, bytes) = (id(&desk), jpeg(300, 200, 1));
    for _ in 0..3 {
        sent(&desk, &entry, "before", &bytes).await.is(303);
    }
    assert_eq!(desk.record().await.photographs.len(), 1);
    let other = sent(&desk, &entry, "before", &jpeg(200, 300, 1)).await;
    other.refused();
    let other = sent(&desk, &entry, "after", &bytes).await;
    other.refused();
    let record = desk.record().await;
    assert_eq!(record.photographs.len(), 1);
    assert_eq!(record.photographs[0].view(), View::Before);
}

/// One photograph by the door of a device's queue.
async fn queued(person: &Person, entry: &serde_json::Value, bytes: &[u8]) -> serde_json::Value {
    let fields = [("entry", entry.to_string())];
    let fields = fields
        .each_ref()
        .map(|(name, value)| (*name, value.as_str()));
    let answer = send(person, "/photographs", &fields, ("photograph.jpg", bytes)).await;
    let body: serde_json::Value = serde_json::from_slice(&answer.ok().bytes).expect("JSON");
    body["receipts"][0].clone()
}

#[tokio::test]
async fn the_queues_door_answers_like_that_of_entries_and_keeps_each_photograph_once() {
    let desk = desk().await;
    let record = desk.record().await;
    let code = record.specimens[0].code.to_string();
    let entry = serde_json::json!({
        "id": id(&desk), "study": record.id.to_string(), "device": "phone", "device_seq": 7,
        "taken_at": desk.server.app.clock.now().to_rfc3339(), "time_zone": "Europe/Oslo",
        "note": "in the rain", "kind": "photograph_taken",
        "body": { "specimens": [code], "view": "in_place", "frame_mm": null },
    });
    let bytes = jpeg(320, 240, 1);
    let first = queued(&desk.steward, &entry, &bytes).await;
    assert_eq!(first["status"], 201, "{first}");
    let again = queued(&desk.steward, &entry, &bytes).await;
    assert_eq!(again["status"], 200, "{again}");
    assert_eq!(first["receipt"]["hash"], again["receipt"]["hash"]);
    let other = queued(&desk.steward, &entry, &jpeg(240, 320, 1)).await;
    assert_eq!(other["status"], 422, "{other}");
    let mut changed = entry.clone();
    for (member, value, status) in [
        ("kind", serde_json::json!("reading_taken"), 422),
        (
            "body",
            serde_json::json!({ "specimens": ["KT999"], "view": "after" }),
            422,
        ),
        (
            "body",
            serde_json::json!({ "specimens": [], "view": "after" }),
            422,
        ),
        (
            "body",
            serde_json::json!({ "specimens": [], "holder": "c9h9", "view": "in_place" }),
            422,
        ),
        ("study", serde_json::json!(id(&desk)), 403),
        ("account", serde_json::json!(id(&desk)), 401),
    ] {
        changed["id"] = serde_json::json!(id(&desk));
        let kept = changed[member].clone();
        changed[member] = value;
        let answer = queued(&desk.steward, &changed, &bytes).await;
        assert_eq!(answer["status"], status, "{member}: {answer}");
        changed[member] = kept;
    }
    changed["id"] = serde_json::json!(id(&desk));
    let answer = queued(&desk.steward, &changed, b"no picture").await;
    assert_eq!(answer["status"], 422);
    assert!(
        answer["problem"].as_str().expect("why").contains("no JPEG"),
        "{answer}"
    );
    let stranger = desk.server.stranger();
    let sent = entry.to_string();
    let fields = [("entry", sent.as_str())];
    send(
        &stranger,
        "/photographs",
        &fields,
        ("photograph.jpg", &bytes),
    )
    .await
    .is(401);
    let record = desk.record().await;
    assert_eq!(record.photographs.len(), 1);
    assert_eq!(record.photographs[0].note.as_deref(), Some("in the rain"));
}

#[tokio::test]
async fn many_at_once_are_all_kept() {
    let desk = Arc::new(desk().await);
    let mut sending = Vec::new();
    for n in 0..8_u32 {
        let desk = Arc::clone(&desk);
        sending.push(tokio::spawn(async move {
            let entry = id(&desk);
            sent(&desk, &entry, "before", &jpeg(400 + n, 300, 1))
                .await
                .status
                .as_u16()
        }));
    }
    for one in sending {
        assert_eq!(one.await.expect("it ends"), 303);
    }
    assert_eq!(desk.record().await.photographs.len(), 8);
    assert_eq!(
        blobs(&desk.server).await,
        8,
        "small ones are one file in both sizes"
    );
}

#[tokio::test]
async fn before_and_after_stand_side_by_side_at_the_scale_that_was_said_last() {
    let desk = desk().await;
    sent(&desk, &id(&desk), "before", &jpeg(900, 600, 1))
        .await
        .is(303);
    sent(&desk, &id(&desk), "after", &jpeg(400, 300, 1))
        .await
        .is(303);
    let record = desk.record().await;
    let (code, after) = (&record.specimens[0].code, record.photographs[1].entry);
    let page = desk.open(&format!("specimens/{code}")).await;
    assert_eq!(page.ok().texts(".pair image").len(), 2);
    assert!(
        page.text(".pair figcaption")
            .contains("Both at the same scale")
    );
    let width = |page: &Shown| page.attribute(".pair image:nth-of-type(2)", "width");
    assert_eq!(width(&page), "120");
    let scale = [("act", "scale"), ("frame", "60")];
    desk.submit(&format!("photographs/{after}"), &scale)
        .await
        .is(303);
    let page = desk.open(&format!("specimens/{code}")).await;
    assert_eq!(width(&page), "60", "a millimetre is as long in both");
    let wrong = [("act", "scale"), ("frame", "-3")];
    let answer = desk.submit(&format!("photographs/{after}"), &wrong).await;
    assert!(!answer.refused().fault("frame").is_empty());
    // Declared void it is gone from the piece's page and stays on record.
    let reason = [("reason", "the wrong piece")];
    desk.submit(&format!("entries/{after}/void"), &reason)
        .await
        .is(303);
    let page = desk.open(&format!("specimens/{code}")).await;
    assert_eq!(page.texts(".pair").len(), 0);
    assert!(
        desk.open(&format!("photographs/{after}"))
            .await
            .ok()
            .body()
            .contains("void")
    );
}

#[tokio::test]
async fn erased_pictures_are_gone_from_the_disk_and_the_record_still_verifies() {
    let desk = desk().await;
    let (first, second) = (jpeg(900, 600, 1), jpeg(600, 900, 1));
    sent(&desk, &id(&desk), "before", &first).await.is(303);
    sent(&desk, &id(&desk), "before", &first).await.is(303);
    sent(&desk, &id(&desk), "before", &second).await.is(303);
    let record = desk.record().await;
    let [one, twin, other] = [0, 1, 2].map(|n| record.photographs[n].entry);
    let erase = [("act", "erase"), ("reason", "a neighbour is in it")];
    let nothing = desk
        .submit(&format!("photographs/{one}"), &[("act", "erase")])
        .await;
    assert!(!nothing.refused().fault("reason").is_empty());
    desk.submit(&format!("photographs/{one}"), &erase)
        .await
        .is(303);
    assert_eq!(
        blobs(&desk.server).await,
        4,
        "its twin is made of the same bytes"
    );
    desk.submit(&format!("photographs/{twin}"), &erase)
        .await
        .is(303);
    assert_eq!(blobs(&desk.server).await, 2);
    for photo in [one, twin] {
        desk.open(&format!("photographs/{photo}/large.jpg"))
            .await
            .is(404);
        desk.open(&format!("photographs/{photo}")).await.ok();
    }
    desk.open(&format!("photographs/{other}/large.jpg"))
        .await
        .ok();
    // A picture that is missing without such an entry is found.
    run_sql(&database(&desk.server), "delete from blob").await;
    let report = verify(&database(&desk.server), &[])
        .await
        .expect("it reads");
    assert_eq!(report.faults.len(), 2, "{:?}", report.faults);
    assert!(
        report.faults[0].contains("picture is missing"),
        "{:?}",
        report.faults
    );
}

// ---- the public page, and the blind ----

async fn record(server: &TestServer, ready: &Ready) -> Arc<StudyRecord> {
    let record = server.app.store.study_record(&ready.slug).await;
    record.expect("reads").expect("there")
}

async fn release(ready: &Ready, photo: EntryId) -> Shown {
    let entry = ready.script.clock.new_id().to_string();
    let fields = [("entry", entry.as_str()), ("act", "release")];
    ready
        .person
        .submit(
            &format!("/desk/{}/photographs/{photo}", ready.slug),
            &fields,
        )
        .await
}

async fn act(ready: &Ready, path: &str, fields: &[(&str, &str)]) -> Shown {
    let entry = ready.script.clock.new_id().to_string();
    let mut all = vec![("entry", entry.as_str())];
    all.extend_from_slice(fields);
    ready
        .person
        .submit(&format!("/desk/{}/{path}", ready.slug), &all)
        .await
}

async fn nothing_is_public(stranger: &Person, slug: &str) {
    let page = stranger
        .open(&format!("/studies/{slug}/editions/1/photographs.html"))
        .await;
    page.is(404);
}

#[tokio::test]
async fn nothing_is_released_before_its_piece_is_unblinded_and_all_of_it_is_the_stewards_choice() {
    let server = TestServer::start().await;
    let wanted = Wanted {
        is_public: true,
        ..Wanted::small()
    };
    let ready = wanted.ready(&server, "ada").await;
    let (stage, baseline) = (ready.of_stage(DAYS), ready.baseline());
    let photo = photographed(&ready.script, stage[0], View::Before).await;
    let kept = photographed(&ready.script, stage[1], View::Before).await;
    let new = photographed(&ready.script, baseline[0], View::Before).await;
    let stranger = server.stranger();
    let refused = |shown: &Shown| {
        let said = shown.refused().text(".notice.fault");
        assert!(said.contains("not unblinded yet"), "{said}");
    };
    // On the bench, then packed: no.
    refused(&release(&ready, photo).await);
    let stage_desk = ready.pack(&format!("stage-{DAYS}"), &stage).await;
    let baseline_desk = ready.pack("baseline", &baseline).await;
    refused(&release(&ready, photo).await);
    // Its neighbour consignment unblinded: still no. Nor past the page, by the journal itself.
    let look = [("reason", "a look")];
    let id = baseline_desk.rsplit('/').next().expect("an id").to_owned();
    act(&ready, &format!("consignments/{id}/unblind"), &look)
        .await
        .is(303);
    refused(&release(&ready, photo).await);
    let direct = ready
        .script
        .say(Entry::PhotographReleased {
            photograph: photo,
            shows_no_piece: false,
        })
        .await;
    assert_eq!(
        direct.expect_err("refused"),
        NotTaken::Refused(Refusal::StillBlind)
    );
    release(&ready, new).await.is(303);
    // Unblinded: what is released goes to the next edition, and nothing else.
    let id = stage_desk.rsplit('/').next().expect("an id").to_owned();
    act(&ready, &format!("consignments/{id}/unblind"), &look)
        .await
        .is(303);
    release(&ready, photo).await.is(303);
    nothing_is_public(&stranger, &ready.slug).await;
    let now = record(&server, &ready).await;
    let released: Vec<EntryId> = now.public_photographs().map(|photo| photo.entry).collect();
    assert_eq!(released, [photo, new]);
    let page = ready
        .person
        .open(&format!("/desk/{}/photographs/{kept}", ready.slug))
        .await;
    assert!(page.ok().body().contains("not released"));
    let withhold = [("act", "withhold")];
    act(&ready, &format!("photographs/{new}"), &withhold)
        .await
        .is(303);
    let now = record(&server, &ready).await;
    assert_eq!(now.public_photographs().count(), 1);
    act(
        &ready,
        &format!("photographs/{photo}"),
        &[("act", "erase"), ("reason", "a person")],
    )
    .await
    .is(303);
    assert_eq!(
        record(&server, &ready).await.public_photographs().count(),
        0
    );
}

#[tokio::test]
async fn a_holders_photographs_stand_side_by_side_and_wait_for_every_piece_of_its_condition() {
    let server = TestServer::start().await;
    let wanted = Wanted {
        is_public: true,
        ..Wanted::small()
    };
    let ready = wanted.ready(&server, "ada").await;
    let page = format!("/desk/{}/holders/c1h0", ready.slug);
    ready.person.open(&page).await.ok();
    ready
        .person
        .open(&page.replace("c1h0", "c9h9"))
        .await
        .is(404);
    let take = async |bytes: &[u8], view: &str, frame: &str| {
        let entry = ready.script.clock.new_id().to_string();
        let fields = [
            ("entry", entry.as_str()),
            ("view", view),
            ("frame", frame),
            ("note", ""),
        ];
        send(&ready.person, &page, &fields, ("rail.jpg", bytes)).await
    };
    take(b"no picture", "in_place", "").await.refused();
    take(&jpeg(600, 400, 1), "in_place", "900")
        .await
        .redirects_to(&page);
    ready.script.wait(chrono::TimeDelta::days(3));
    take(&jpeg(300, 200, 1), "as_found", "450")
        .await
        .redirects_to(&page);
    let shown = ready.person.open(&page).await;
    assert_eq!(shown.ok().texts(".shots li").len(), 2);
    // A millimetre is as long in both: 900 mm beside 450 mm.
    let width = |nth: u8| shown.attribute(&format!(".pair image:nth-of-type({nth})"), "width");
    assert_eq!((width(1).as_str(), width(2).as_str()), ("900", "450"));
    assert!(shown.text(".pair figcaption").contains("Left on"));
    let photos = record(&server, &ready).await.photographs.clone();
    let photo = photos[0].entry;
    assert!(photos.iter().all(|photo| photo.shows_holder("c1h0")));
    let of_it = ready
        .person
        .open(&format!("/desk/{}/photographs/{photo}", ready.slug))
        .await;
    assert!(of_it.ok().text("h1").contains("gannet rail"));

    // Its own condition's pieces but one are unblinded: not yet. Another condition does not matter.
    let stage = ready.of_stage(DAYS);
    let own: Vec<&Code> = stage
        .iter()
        .copied()
        .filter(|c| ready.condition(c) == Some(1))
        .collect();
    let (last, others) = own.split_last().expect("three pieces");
    let look = [("reason", "a look")];
    let unblind = async |codes: &[&Code]| {
        let desk = ready.pack(&format!("stage-{DAYS}"), codes).await;
        let id = desk.rsplit('/').next().expect("an id").to_owned();
        act(&ready, &format!("consignments/{id}/unblind"), &look)
            .await
            .is(303);
    };
    unblind(others).await;
    let refused = release(&ready, photo).await;
    assert!(
        refused
            .refused()
            .text(".notice.fault")
            .contains("not unblinded yet")
    );
    let past_the_page = ready
        .script
        .say(Entry::PhotographReleased {
            photograph: photo,
            shows_no_piece: false,
        })
        .await;
    assert_eq!(
        past_the_page.expect_err("refused"),
        NotTaken::Refused(Refusal::StillBlind)
    );
    unblind(&[*last]).await;
    release(&ready, photo).await.is(303);
    let now = record(&server, &ready).await;
    let public: Vec<EntryId> = now.public_photographs().map(|photo| photo.entry).collect();
    assert_eq!(public, [photo]);
}

#[tokio::test]
async fn a_photograph_of_the_whole_is_public_before_results_once_the_steward_looked() {
    let server = TestServer::start().await;
    let wanted = Wanted {
        is_public: true,
        ..Wanted::small()
    };
    let ready = wanted.ready(&server, "ada").await;
    let list = format!("/desk/{}/photographs", ready.slug);
    let entry = server.app.clock.new_id().to_string();
    let sent = [
        ("entry", entry.as_str()),
        ("note", "The bench on the first day"),
    ];
    let none = send(&ready.person, &list, &sent, ("x.jpg", b"no picture")).await;
    assert_eq!(
        none.refused().text("textarea"),
        "The bench on the first day"
    );
    let kept = send(&ready.person, &list, &sent, ("x.jpg", &jpeg(400, 300, 1))).await;
    kept.redirects_to(&list);
    let page = ready
        .person
        .open(&list)
        .await
        .ok()
        .attribute(".shots a", "href");
    let stranger = server.stranger();
    let public = format!("/studies/{}", ready.slug);
    assert!(
        stranger
            .open(&public)
            .await
            .ok()
            .texts(".shots li")
            .is_empty()
    );
    let act = page
        .trim_start_matches(&format!("/desk/{}/", ready.slug))
        .to_owned();
    let unlooked = release_as(&ready, &act, &[]).await;
    assert!(
        unlooked
            .refused()
            .text(".notice.fault")
            .contains("can be read in it")
    );
    release_as(&ready, &act, &[("shows_no_piece", "yes")])
        .await
        .is(303);
    let shown = stranger.open(&public).await;
    assert!(
        shown
            .ok()
            .text(".shots li")
            .contains("The bench on the first day")
    );
    let picture = stranger.open(&shown.attribute(".shots img", "src")).await;
    assert!(
        !holds(&picture.ok().bytes, PLACE),
        "nothing but the picture"
    );
}

async fn release_as(ready: &Ready, page: &str, more: &[(&str, &str)]) -> Shown {
    let mut fields = vec![("act", "release")];
    fields.extend_from_slice(more);
    act(ready, page, &fields).await
}
