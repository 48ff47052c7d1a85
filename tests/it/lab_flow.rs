//! The tester's whole path over HTTP, from the steward's packing to the receipt: what is stored, what
//! is asked once, what is refused, and what an ended link still opens.

use crate::house::ready::{DAYS, Ready, Wanted, at_the_lab};
use crate::house::{Person, Shown, TestServer};
use chrono::TimeDelta;
use overwinter::store::verify::Witness;
use overwinter::study::break_test::{Looks, Outcome};
use overwinter::study::consignment::Arrival;
use overwinter::study::record::{ConsignmentRecord, Standing, StudyRecord};
use std::sync::Arc;

/// A packed stage of nine pieces, and its tester.
struct Lab {
    server: TestServer,
    ready: Ready,
    desk: String,
    way_in: String,
    tester: Person,
    path: String,
    codes: Vec<String>,
}

const SET_UP: [(&str, &str); 9] = [
    ("machine", "frame 3, 1 kN cell"),
    ("fixture", "ring and pin"),
    ("speed", "20"),
    ("room", "21,5"),
    ("unit", "N"),
    ("tested_on", "2026-03-02"),
    ("check", "200"),
    ("opening", "200.4"),
    ("drift", "1"),
];

impl Lab {
    async fn packed() -> Self {
        let server = TestServer::start().await;
        let ready = Wanted::small().ready(&server, "ada").await;
        let desk = ready
            .pack(&format!("stage-{DAYS}"), &ready.of_stage(DAYS))
            .await;
        let way_in = ready.link(&desk).await;
        let (tester, path) = at_the_lab(&server, &way_in).await;
        let codes = tester.open(&path).await.ok().texts(".row-head .code");
        assert_eq!(codes.len(), 9);
        Self {
            server,
            ready,
            desk,
            way_in,
            tester,
            path,
            codes,
        }
    }

    /// With the box ticked off and the session set.
    async fn set_up() -> Self {
        let lab = Self::packed().await;
        lab.send("box", &[("act", "all_whole")])
            .await
            .redirects_to(&lab.path);
        lab.send("set-up", &SET_UP).await.is(303);
        lab
    }

    /// Sends a form of the lab's face with a fresh id.
    async fn send(&self, page: &str, fields: &[(&str, &str)]) -> Shown {
        let entry = self.server.app.clock.new_id().to_string();
        let mut all = vec![("entry", entry.as_str())];
        all.extend_from_slice(fields);
        self.tester
            .submit(&format!("{}/{page}", self.path), &all)
            .await
    }

    /// A plain valid test of the `n`th piece.
    async fn test(&self, n: usize, load: &str) -> Shown {
        let fields = [
            ("load", load),
            ("outcome", "valid"),
            ("mode", "opened"),
            ("looks", "cannot_tell"),
        ];
        self.send(&format!("tests/{}", self.codes[n]), &fields)
            .await
    }

    async fn record(&self) -> Arc<StudyRecord> {
        let record = self.server.app.store.study_record(&self.ready.slug).await;
        record.unwrap().unwrap()
    }
}

fn only(record: &StudyRecord) -> &ConsignmentRecord {
    assert_eq!(record.consignments.len(), 1);
    &record.consignments[0]
}

#[tokio::test]
async fn the_box_is_ticked_off_piece_by_piece_with_remarks() {
    let lab = Lab::packed().await;
    let page = lab.tester.open(&format!("{}/box", lab.path)).await;
    assert_eq!(
        page.ok().texts(".row-head .code"),
        lab.codes,
        "in the order of testing"
    );
    let (scratched, missing) = (&lab.codes[2], &lab.codes[4]);
    let state = format!("state-{scratched}");
    let remark = format!("remark-{scratched}");
    let shown = lab.send("box", &[(&state, "remark"), (&remark, "")]).await;
    shown.refused();
    assert_eq!(shown.fault(&remark), "Say what is to be remarked.");
    assert_eq!(shown.attribute(&format!("#f-{remark}"), "autofocus"), "");
    let gone = format!("state-{missing}");
    let fields = [
        (state.as_str(), "remark"),
        (&remark, "scratched on one side"),
        (&gone, "missing"),
        ("act", "all_whole"),
    ];
    lab.send("box", &fields).await.redirects_to(&lab.path);
    let record = lab.record().await;
    let pieces = &only(&record).pieces;
    assert_eq!(
        pieces[2].arrival_note.as_deref(),
        Some("scratched on one side")
    );
    assert_eq!(pieces[4].arrival, Some(Arrival::Missing));
    let whole = pieces
        .iter()
        .filter(|piece| piece.arrival == Some(Arrival::Good));
    assert_eq!(whole.count(), 7);
    let page = lab.tester.open(&lab.path).await;
    assert!(page.body().contains("1 piece is not in the box."));
}

#[tokio::test]
async fn a_row_is_stored_when_it_is_finished_and_the_cursor_goes_to_the_next() {
    let lab = Lab::packed().await;
    let early = lab.test(0, "312").await;
    assert!(
        early.is(409).body().contains("Set up the session first"),
        "no load without its unit"
    );
    let set_up = lab.send("set-up", &SET_UP).await;
    set_up.redirects_to(&format!("{}?at={}", lab.path, lab.codes[0]));
    let first = lab.test(0, "312,5").await;
    first.redirects_to(&format!("{}?at={}", lab.path, lab.codes[1]));
    let next = lab.tester.open(first.header("location")).await;
    assert_eq!(next.attribute("[autofocus]", "id"), "f-load-2");
    assert_eq!(next.text("#progress"), "1 of 9 tested");
    let record = lab.record().await;
    let test = only(&record).tests.first().expect("it is stored");
    assert_eq!(test.test.max_load_n, Some(312.5));
    assert_eq!(test.test.typed.as_ref().unwrap().text, "312,5");
    assert_eq!(only(&record).pieces[0].looks, Some(Looks::CannotTell));
}

#[tokio::test]
async fn the_same_row_sent_twice_is_stored_once_and_another_value_under_its_id_is_not_swallowed() {
    let lab = Lab::set_up().await;
    let entry = lab.server.app.clock.new_id().to_string();
    let path = format!("{}/tests/{}", lab.path, lab.codes[0]);
    let row = |load: &'static str| {
        [
            ("entry", entry.clone()),
            ("load", load.to_owned()),
            ("outcome", "valid".to_owned()),
            ("mode", "opened".to_owned()),
        ]
    };
    for _ in 0..2 {
        let fields = row("312");
        let fields: Vec<_> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
        let answer = lab.tester.submit(&path, &fields).await;
        answer.redirects_to(&format!("{}?at={}", lab.path, lab.codes[1]));
    }
    let fields = row("321");
    let fields: Vec<_> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
    let other = lab.tester.submit(&path, &fields).await;
    other.refused();
    assert_eq!(other.attribute("[name=load]", "value"), "321", "as typed");
    assert!(other.text("p.fault").contains("has a test already"));
    let record = lab.record().await;
    let loads: Vec<_> = only(&record)
        .tests
        .iter()
        .map(|test| test.test.max_load_n)
        .collect();
    assert_eq!(loads, [Some(312.0)]);
}

#[tokio::test]
async fn the_order_is_broken_only_on_purpose_and_with_a_reason() {
    let lab = Lab::set_up().await;
    let shown = lab.test(3, "300").await;
    shown.refused();
    assert!(shown.text("#e-order-4").contains("have no test yet"));
    assert!(
        shown
            .text("#e-reason-4")
            .contains("why the order was broken")
    );
    assert_eq!(shown.attribute("#f-load-4", "value"), "300", "as typed");
    let path = format!("tests/{}", lab.codes[3]);
    let ticked = [
        ("load", "300"),
        ("outcome", "valid"),
        ("mode", "opened"),
        ("order", "yes"),
        ("reason", "The first three were still on the scale."),
    ];
    lab.send(&path, &ticked[..4]).await.refused();
    let done = lab.send(&path, &ticked).await;
    done.redirects_to(&format!("{}?at={}", lab.path, lab.codes[4]));
    let record = lab.record().await;
    let test = &only(&record).tests[0];
    assert!(test.test.is_out_of_order && test.note.as_deref().unwrap().contains("on the scale"));
}

#[tokio::test]
async fn a_doubtful_load_is_asked_about_once_and_kept_with_its_mark() {
    let lab = Lab::set_up().await;
    for (n, load) in ["312", "318", "305", "310"].iter().enumerate() {
        lab.test(n, load).await.is(303);
    }
    let shown = lab.test(4, "3120").await;
    shown.refused();
    assert!(shown.text("#e-confirmed-5").contains("about ten times"));
    assert_eq!(shown.attribute("[autofocus]", "id"), "f-confirmed-5");
    let path = format!("tests/{}", lab.codes[4]);
    let fields = [
        ("load", "3120"),
        ("outcome", "valid"),
        ("mode", "opened"),
        ("confirmed", "yes"),
    ];
    lab.send(&path, &fields).await.is(303);
    lab.test(5, "309").await.is(303);
    let record = lab.record().await;
    let marks: Vec<bool> = only(&record)
        .tests
        .iter()
        .map(|test| test.test.is_confirmed_doubt)
        .collect();
    assert_eq!(marks, [false, false, false, false, true, false]);
}

#[tokio::test]
async fn what_is_not_plainly_valid_needs_its_reason_and_total_loss_has_no_load() {
    let lab = Lab::set_up().await;
    for (outcome, load) in [("invalid", ""), ("lower_bound", "290"), ("total_loss", "")] {
        let fields = [("load", load), ("outcome", outcome), ("mode", "crack")];
        let shown = lab.send(&format!("tests/{}", lab.codes[0]), &fields).await;
        shown.refused();
        assert!(shown.text("#e-reason-1").contains("Say why"), "{outcome}");
        assert_eq!(shown.attribute("[autofocus]", "id"), "f-reason-1");
    }
    let fields = [
        ("load", "0"),
        ("outcome", "total_loss"),
        ("mode", "crack"),
        ("reason", "fell apart in the hand"),
    ];
    let path = format!("tests/{}", lab.codes[0]);
    let shown = lab.send(&path, &fields).await;
    assert!(shown.refused().text("#e-load-1").contains("counts as 0 N"));
    lab.send(&path, &fields[1..]).await.is(303);
    let record = lab.record().await;
    let test = &only(&record).tests[0].test;
    assert_eq!((test.outcome, test.max_load_n), (Outcome::TotalLoss, None));
}

#[tokio::test]
async fn a_correction_stands_beside_what_it_replaces() {
    let lab = Lab::set_up().await;
    lab.test(0, "312").await.is(303);
    let page = format!("{}/tests/{}/correct", lab.path, lab.codes[0]);
    let shown = lab.tester.open(&page).await;
    let supersedes = shown.ok().attribute("[name=supersedes]", "value");
    assert_eq!(shown.attribute("[name=load]", "value"), "312");
    let fields = [
        ("supersedes", supersedes.as_str()),
        ("load", "321"),
        ("outcome", "valid"),
        ("mode", "opened"),
        ("reason", "two digits exchanged"),
    ];
    let form = format!("tests/{}/correct", lab.codes[0]);
    let bare = lab.send(&form, &fields[..4]).await;
    assert!(
        bare.refused()
            .text("#e-reason-1")
            .contains("why it is corrected")
    );
    assert_eq!(bare.attribute("[name=load]", "value"), "321", "as typed");
    lab.send(&form, &fields)
        .await
        .redirects_to(&format!("{}#row-{}", lab.path, lab.codes[0]));
    let again = lab.send(&form, &fields).await;
    assert!(
        again
            .refused()
            .body()
            .contains("corrected or declared void before")
    );
    let record = lab.record().await;
    let standing: Vec<_> = only(&record)
        .tests
        .iter()
        .map(|test| test.standing)
        .collect();
    assert_eq!(standing, [Standing::Superseded, Standing::Current]);
    let shown = lab.tester.open(&lab.path).await;
    assert!(shown.text(".row.stored").contains("321 N"));
    assert!(shown.text(".row.stored .tag").contains("corrected"));
}

/// Every piece tested, the closing check given, everything said: finished.
async fn finished() -> Lab {
    let lab = Lab::set_up().await;
    for n in 0..9 {
        lab.test(n, ["312", "318", "305"][n % 3]).await.is(303);
    }
    let mut set_up = SET_UP.to_vec();
    set_up.push(("closing", "200.1"));
    lab.send("set-up", &set_up).await.is(303);
    let looks: Vec<String> = lab
        .codes
        .iter()
        .map(|code| format!("looks-{code}"))
        .collect();
    let mut fields = vec![("act", "finish")];
    fields.extend(looks.iter().map(|name| (name.as_str(), "exposed")));
    lab.send("finish", &fields)
        .await
        .redirects_to(&format!("{}/receipt", lab.path));
    lab
}

#[tokio::test]
async fn finishing_lists_what_is_missing_and_then_gives_a_receipt() {
    let lab = Lab::set_up().await;
    lab.test(0, "312").await.is(303);
    let shown = lab.tester.open(&format!("{}/finish", lab.path)).await;
    let missing = shown.ok().texts(".notice.doubt li");
    assert_eq!(missing.len(), 8, "{missing:?}");
    let refused = lab.send("finish", &[("act", "finish")]).await;
    refused.refused();
    assert!(refused.body().contains("Say what"), "the looks");
    assert!(refused.body().contains("the check load at the closing"));
    assert!(only(&*lab.record().await).finished_at.is_none());
    let keep = format!("looks-{}", lab.codes[1]);
    lab.send("finish", &[("act", "keep"), (&keep, "indoors")])
        .await
        .is(303);
    assert_eq!(
        only(&*lab.record().await).pieces[1].looks,
        Some(Looks::Indoors)
    );

    let lab = finished().await;
    let receipt = lab.tester.open(&format!("{}/receipt", lab.path)).await;
    let text = lab.tester.open(&format!("{}/receipt.txt", lab.path)).await;
    assert_eq!(
        text.ok().header("content-disposition"),
        "attachment; filename=\"receipt.txt\""
    );
    let record = lab.record().await;
    for body in [receipt.ok().body(), text.body()] {
        let witnesses = Witness::find_all(&body);
        assert_eq!(witnesses.len(), 1);
        assert_eq!(witnesses[0].hash, record.head);
        assert_eq!(witnesses[0].seq, i64::try_from(record.entries).unwrap());
        for code in &lab.codes {
            assert!(body.contains(code.as_str()));
        }
    }
    assert_eq!(
        text.body()
            .lines()
            .filter(|line| line.contains("312 N"))
            .count(),
        3
    );
}

#[tokio::test]
async fn after_the_end_the_link_only_reads_until_the_steward_opens_it_again() {
    let lab = finished().await;
    let page = lab.tester.open(&lab.path).await;
    assert!(page.ok().texts("main form").is_empty(), "nothing to send");
    let correct = format!("tests/{}/correct", lab.codes[0]);
    for (form, fields) in [
        ("box", &[("act", "all_whole")][..]),
        ("set-up", &SET_UP),
        (correct.as_str(), &[("load", "1"), ("reason", "x")]),
        ("finish", &[("act", "finish")]),
    ] {
        lab.send(form, fields).await.is(409);
    }
    let entry = lab.server.app.clock.new_id().to_string();
    let reopen = format!("{}/reopen", lab.desk);
    let bare = lab.ready.person.submit(&reopen, &[("entry", &entry)]).await;
    assert_eq!(
        bare.refused().fault("reason"),
        "Say why it is opened again."
    );
    let fields = [
        ("entry", entry.as_str()),
        ("reason", "A value was read off the wrong scale."),
    ];
    lab.ready
        .person
        .submit(&reopen, &fields)
        .await
        .redirects_to(&lab.desk);
    lab.tester
        .open(&format!("{}/{correct}", lab.path))
        .await
        .ok();
    assert!(
        lab.tester.open(&lab.desk).await.status.as_u16() == 303,
        "the desk stays shut"
    );
}

#[tokio::test]
async fn a_revoked_and_an_ended_link_open_nothing_with_the_same_bytes() {
    let lab = Lab::set_up().await;
    let other = lab.ready.link(&lab.desk).await;
    let (revoked, revoked_path) = at_the_lab(&lab.server, &other).await;
    let id = revoked_path.trim_start_matches("/lab/").to_owned();
    let entry = lab.server.app.clock.new_id().to_string();
    let revoke = format!("{}/links/{id}/revoke", lab.desk);
    lab.ready
        .person
        .submit(&revoke, &[("entry", &entry)])
        .await
        .redirects_to(&lab.desk);
    let received = [
        ("state", "received"),
        ("at", "2026-03-02T11:00"),
        ("entry", entry.as_str()),
    ];
    let parcel = format!("{}/parcel", lab.desk);
    let entry = lab.server.app.clock.new_id().to_string();
    let received = [received[0], received[1], ("entry", entry.as_str())];
    lab.ready
        .person
        .submit(&parcel, &received)
        .await
        .redirects_to(&lab.desk);
    lab.server.app.clock.advance(TimeDelta::days(59));
    lab.tester.open(&lab.path).await.ok();
    lab.server.app.clock.advance(TimeDelta::days(2));
    let nobody = lab.server.stranger();
    let nowhere = nobody
        .open("/lab/01890000-0000-7000-8000-000000000000")
        .await;
    for shown in [
        revoked.open(&revoked_path).await,
        lab.tester.open(&lab.path).await,
        lab.tester.open(&format!("{}/receipt.txt", lab.path)).await,
        lab.test(0, "312").await,
        lab.tester.open(&lab.way_in).await,
        nobody.open(&other).await,
        nobody.open(&lab.path).await,
    ] {
        shown.is(404);
        assert_eq!(shown.bytes, nowhere.bytes);
    }
}

#[tokio::test]
async fn what_a_consignment_does_not_hold_is_not_found_with_the_same_bytes() {
    let lab = Lab::set_up().await;
    let baseline = lab.ready.pack("baseline", &lab.ready.baseline()).await;
    let way_in = lab.ready.link(&baseline).await;
    let (other, other_path) = at_the_lab(&lab.server, &way_in).await;
    let others = other.open(&other_path).await.texts(".row-head .code");
    let steward_code = lab.ready.of_stage(DAYS)[0].to_string();
    let nowhere = lab.tester.open(&format!("{}/nothing", lab.path)).await;
    for code in [others[0].as_str(), &steward_code, "nonsense", "%FF"] {
        for page in ["", "/correct"] {
            let shown = lab
                .tester
                .open(&format!("{}/tests/{code}{page}", lab.path))
                .await;
            shown.is(404);
            assert_eq!(shown.bytes, nowhere.bytes, "{code}{page}");
        }
    }
    lab.tester.open(&other_path).await.is(404);
}
