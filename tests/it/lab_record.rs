//! The lab's own record: written down once, there again for the next consignment, flagged where it does
//! not cover a result, never in the way; and the sheet that a pen fills in.

use crate::house::parcel::{PDF, send};
use crate::house::ready::{DAYS, Ready, Wanted, at_the_lab};
use crate::house::{Person, Shown, TestServer, camera};
use overwinter::store::read::LinkTarget;
use overwinter::study::entry::Entry;
use overwinter::study::equipment::flag::FlagKind;
use overwinter::study::record::StudyRecord;
use sha2::{Digest, Sha256};
use std::sync::Arc;

/// Two consignments of one study, each with its tester.
struct Labs {
    server: TestServer,
    ready: Ready,
    desks: [String; 2],
    testers: [(Person, String); 2],
}

impl Labs {
    async fn two() -> Self {
        let server = TestServer::start().await;
        let ready = Wanted::small().ready(&server, "ada").await;
        let first = ready.pack("baseline", &ready.baseline()).await;
        let stage = format!("stage-{DAYS}");
        let second = ready.pack(&stage, &ready.of_stage(DAYS)).await;
        let ways = [ready.link(&first).await, ready.link(&second).await];
        let testers = [
            at_the_lab(&server, &ways[0]).await,
            at_the_lab(&server, &ways[1]).await,
        ];
        Self {
            server,
            ready,
            desks: [first, second],
            testers,
        }
    }

    async fn record(&self) -> Arc<StudyRecord> {
        let record = self.server.app.store.study_record(&self.ready.slug).await;
        record.unwrap().unwrap()
    }

    fn id(&self) -> String {
        self.server.app.clock.new_id().to_string()
    }

    /// Sends a plain form of a tester's with a fresh id.
    async fn post(&self, n: usize, page: &str, fields: &[(&str, &str)]) -> Shown {
        let id = self.id();
        let mut all = vec![("entry", id.as_str())];
        all.extend_from_slice(fields);
        let (tester, path) = &self.testers[n];
        tester.submit(&format!("{path}/{page}"), &all).await
    }

    /// Writes an item down, with a certificate and a picture.
    async fn item(&self, n: usize, page: &str, fields: &[(&str, &str)]) -> Shown {
        let id = self.id();
        let mut all = vec![("entry", id.as_str())];
        all.extend_from_slice(fields);
        let picture = camera::jpeg(60, 40, 1);
        let files = [
            ("paper", "C:\\scans\\cell 17.pdf", PDF),
            ("picture", "x.jpg", picture.as_slice()),
        ];
        let (tester, path) = &self.testers[n];
        send(tester, &format!("{path}/equipment/{page}"), &all, &files).await
    }

    async fn set_up(&self, n: usize, cell: &str, day: &str) {
        let fields = [
            ("machine", "frame 2"),
            ("fixture", "pin"),
            ("cell_item", cell),
            ("method", "ISO 527-2"),
            ("conditioning", "23 °C, 50 %, 48 h"),
            ("speed", "20"),
            ("unit", "N"),
            ("tested_on", day),
            ("check", "200"),
            ("opening", "200"),
            ("drift", "1"),
        ];
        self.post(n, "set-up", &fields).await.is(303);
    }

    async fn open(&self, n: usize, page: &str) -> Shown {
        let (tester, path) = &self.testers[n];
        tester.open(&format!("{path}{page}")).await
    }
}

const CELL: [(&str, &str); 7] = [
    ("kind", "load_cell"),
    ("name", "1 kN cell"),
    ("serial", "17"),
    ("range_from", "20"),
    ("range_to", "300"),
    ("class", "0,5"),
    ("calibrated_on", "2026-01-10"),
];

#[tokio::test]
async fn what_was_written_down_once_is_there_again_for_the_same_lab_and_for_no_other() {
    let labs = Labs::two().await;
    labs.item(0, "new", &CELL).await.is(303);
    let record = labs.record().await;
    let item = record.equipment[0].entry.to_string();
    labs.set_up(0, &item, "2026-03-02").await;
    // The other link knows nothing of it, and cannot use it.
    assert!(
        !labs
            .open(1, "/equipment")
            .await
            .ok()
            .body()
            .contains("1 kN cell")
    );
    for page in ["", "/paper", "/picture/small.jpg"] {
        labs.open(1, &format!("/equipment/{item}{page}"))
            .await
            .is(404);
    }
    let stolen = [
        ("machine", "frame"),
        ("fixture", "pin"),
        ("unit", "N"),
        ("tested_on", "2026-03-02"),
        ("cell_item", item.as_str()),
    ];
    let refused = labs.post(1, "set-up", &stolen).await;
    assert!(
        refused
            .refused()
            .body()
            .contains("no such item in this lab")
    );
    // The steward says that it is the same lab.
    let first = record
        .consignments
        .iter()
        .position(|c| labs.desks[0].ends_with(&c.id.to_string()));
    let first = record.consignments[first.unwrap()].id.to_string();
    let id = labs.id();
    let link = [
        ("entry", id.as_str()),
        ("act", "lab"),
        ("same_as", first.as_str()),
    ];
    let desk = format!("{}/arrival", labs.desks[1]);
    labs.ready
        .person
        .submit(&desk, &link)
        .await
        .redirects_to(&desk);
    let page = labs.open(1, "/equipment").await;
    assert!(page.ok().body().contains("1 kN cell"));
    let set_up = labs.open(1, "/set-up").await;
    let value = |name: &str| set_up.attribute(&format!("[name={name}]"), "value");
    assert_eq!(value("method"), "ISO 527-2");
    assert_eq!(value("machine"), "frame 2");
    assert_eq!(value("check"), "200");
    assert_eq!(value("opening"), "", "the check of today is read today");
    let chosen = set_up.attribute("[name=cell_item] option[selected]", "value");
    assert_eq!(chosen, item);
    // Nothing else of the other consignment: none of its codes.
    let other = &labs.record().await;
    let other = other
        .consignments
        .iter()
        .find(|c| c.id.to_string() == first)
        .unwrap();
    for piece in &other.pieces {
        assert!(!set_up.body().contains(piece.blind.as_str()));
        assert!(!page.body().contains(piece.blind.as_str()));
    }
    assert!(!set_up.body().contains(&first) && !page.body().contains(&first));
    // The certificate comes back byte for byte, as a download, and under its own name.
    let paper = labs.open(1, &format!("/equipment/{item}/paper")).await;
    assert_eq!(paper.ok().bytes, PDF);
    assert_eq!(
        paper.header("content-disposition"),
        "attachment; filename=\"cell 17.pdf\""
    );
    assert_eq!(paper.header("content-type"), "application/octet-stream");
    let sha256 = overwinter::clock::hex(&Sha256::digest(PDF));
    assert!(page.body().contains(&sha256));
    // And it is the lab's own again when the steward takes that back.
    let id = labs.id();
    let back = [("entry", id.as_str()), ("act", "lab"), ("same_as", "")];
    labs.ready.person.submit(&desk, &back).await.is(303);
    assert!(
        !labs
            .open(1, "/equipment")
            .await
            .ok()
            .body()
            .contains("1 kN cell")
    );
}

#[tokio::test]
async fn a_result_is_flagged_and_never_refused() {
    let labs = Labs::two().await;
    labs.item(1, "new", &CELL).await.is(303);
    let item = labs.record().await.equipment[0].entry.to_string();
    // Tested the day before the calibration: flagged. A later set-up on another day is another session.
    labs.set_up(1, &item, "2026-01-09").await;
    let codes = labs.open(1, "").await.texts(".row-head .code");
    let test = async |n: usize, load: &str| {
        let page = format!("tests/{}", codes[n]);
        let fields = [
            ("load", load),
            ("outcome", "valid"),
            ("mode", "opened"),
            ("looks", "cannot_tell"),
            ("confirmed", "yes"),
        ];
        labs.post(1, &page, &fields).await.is(303);
    };
    test(0, "250").await;
    labs.set_up(1, &item, "2026-03-02").await;
    test(1, "250").await;
    test(2, "312").await;
    test(3, "12").await;
    let record = labs.record().await;
    let one = record
        .consignments
        .iter()
        .find(|c| labs.desks[1].ends_with(&c.id.to_string()));
    let one = one.unwrap();
    assert_eq!(one.sessions.len(), 2);
    let flags = |n: usize| -> Vec<FlagKind> {
        let blind = codes[n].parse().unwrap();
        let test = one.test_of(&blind).unwrap();
        let flags = record.equipment_flags(one, test);
        flags.into_iter().map(|flag| flag.kind).collect()
    };
    assert_eq!(flags(0), [FlagKind::CalibratedAfter]);
    assert_eq!(flags(1), []);
    assert_eq!(flags(2), [FlagKind::AboveRange]);
    assert_eq!(flags(3), [FlagKind::BelowRange]);
    let row = |n: usize| format!("#row-{} .row-said", codes[n]);
    let page = labs.open(1, "").await;
    assert!(
        page.text(&row(0))
            .contains("calibrated only after the day of the test")
    );
    assert!(!page.text(&row(1)).contains("flagged"));
    assert!(page.text(&row(2)).contains("above the range of its class"));
    // Written down wrongly, with a reason; then the first result is no longer flagged.
    let mut right = CELL.to_vec();
    right[6] = ("calibrated_on", "2025-12-10");
    right.push(("change", "wrong"));
    labs.item(1, &item, &right).await.refused();
    right.push(("reason", "misread the certificate"));
    labs.item(1, &item, &right).await.is(303);
    let record = labs.record().await;
    let one = record.consignments.iter().find(|c| c.id == one.id).unwrap();
    let test = one.test_of(&codes[0].parse().unwrap()).unwrap();
    assert_eq!(record.equipment_flags(one, test), []);
    // Unblinded, the flags stand on the steward's page and in the analysis.
    let id = labs.id();
    let early = [("entry", id.as_str()), ("reason", "for the test")];
    let desk = &labs.desks[1];
    labs.ready
        .person
        .submit(&format!("{desk}/unblind"), &early)
        .await
        .is(303);
    let page = labs.ready.person.open(desk).await;
    assert!(page.ok().body().contains("above the range of its class"));
    let analysis = format!("/desk/{}/analysis", labs.ready.slug);
    let page = labs.ready.person.open(&analysis).await;
    let body = page.ok().body();
    assert!(body.contains("The labs&#39; instruments") || body.contains("The labs' instruments"));
    assert!(body.contains("class 0,5"), "the class as it was typed");
}

#[tokio::test]
async fn an_item_that_cannot_be_comes_back_as_it_was_typed() {
    let labs = Labs::two().await;
    let mut wrong = CELL.to_vec();
    wrong[4] = ("range_to", "19");
    let shown = labs.item(0, "new", &wrong).await;
    assert!(
        shown
            .refused()
            .fault("range_to")
            .contains("above the lower end")
    );
    assert_eq!(shown.attribute("[name=name]", "value"), "1 kN cell");
    // A file that is none of the three kinds is refused by its bytes, whatever it calls itself.
    let (tester, path) = &labs.testers[0];
    let id = labs.id();
    let mut fields = vec![("entry", id.as_str())];
    fields.extend_from_slice(&CELL);
    let page = format!("{path}/equipment/new");
    let files = [("paper", "x.pdf", &b"<html><script>alert(1)</script>"[..])];
    let shown = send(tester, &page, &fields, &files).await;
    assert!(shown.refused().fault("paper").contains("PDF, JPEG or PNG"));
    let files = [("picture", "x.jpg", &b"\xff\xd8\xff no picture"[..])];
    send(tester, &page, &fields, &files).await.refused();
    assert!(labs.record().await.equipment.is_empty());
    // Sent twice under one id it is one item.
    for _ in 0..2 {
        send(tester, &page, &fields, &[]).await.is(303);
    }
    assert_eq!(labs.record().await.equipment.len(), 1);
    // Another item's version that is gone cannot be replaced a second time.
    let item = labs.record().await.equipment[0].entry.to_string();
    let mut again = CELL.to_vec();
    again.push(("change", "since"));
    labs.item(0, &item, &again).await.is(303);
    labs.item(0, &item, &again).await.refused();
}

#[tokio::test]
async fn the_sheet_for_the_bench_lists_the_codes_in_order_on_either_paper() {
    let labs = Labs::two().await;
    let listed = labs.open(1, "").await.texts(".row-head .code");
    let sheet = labs.open(1, "/sheet").await;
    assert_eq!(sheet.ok().texts("main.pen tbody .code"), listed);
    // Every code carries its check: a changed sign is no code any more (ISO 7064, mod 37, 36).
    for code in &listed {
        assert!(code.parse::<overwinter::study::code::BlindCode>().is_ok());
    }
    assert!(
        sheet.texts(".cautions li").len() > 2,
        "the cautions stand at the head"
    );
    for words in ["Room", "Validity", "Machine", "Known check load", "Failed"] {
        assert!(sheet.body().contains(words), "{words}");
    }
    for (paper, size) in [("a4", "A4"), ("letter", "letter")] {
        let page = labs.open(1, &format!("/sheet?paper={paper}")).await;
        let style = format!("{}/sheet/{paper}.css", labs.testers[1].1);
        assert!(page.ok().body().contains(&style));
        let style = labs.testers[1].0.open(&style).await;
        assert!(
            style
                .ok()
                .body()
                .contains(&format!("size: {size} portrait"))
        );
    }
    labs.open(1, "/sheet/poster.css").await.is(404);
}

#[tokio::test]
async fn only_the_steward_says_which_lab_it_is() {
    let labs = Labs::two().await;
    let record = labs.record().await;
    let [a, b] = [0, 1].map(|n| record.consignments[n].id);
    let link = async |consignment, same_as| {
        let entry = Entry::LabLinked {
            consignment,
            same_as,
        };
        labs.ready.script.say(entry).await
    };
    link(b, Some(a)).await.expect("the steward may");
    assert!(link(a, Some(b)).await.is_err(), "they are the same already");
    assert!(link(a, Some(a)).await.is_err(), "with itself");
    let record = labs.record().await;
    let lab_of = |id| record.consignment(id).unwrap().lab_id();
    assert_eq!((lab_of(a), lab_of(b)), (a, a));
    let target: Option<LinkTarget> = {
        let id = record.consignments[1].links[0].id;
        labs.server.app.store.link_target(id).await.unwrap()
    };
    assert!(target.is_some(), "its link is as it was");
}

/// The second study of the same steward, and one of somebody else; each with a packed baseline set.
async fn elsewhere(
    labs: &Labs,
    steward: &str,
    slug: &'static str,
    mark: &'static str,
) -> (Ready, String) {
    let wanted = Wanted {
        slug,
        mark,
        title: "Other hooks",
        ..Wanted::small()
    };
    let ready = wanted.ready(&labs.server, steward).await;
    let desk = ready.pack("baseline", &ready.baseline()).await;
    (ready, desk)
}

#[tokio::test]
async fn a_lab_that_worked_for_another_study_of_the_steward_is_brought_over_and_nothing_else() {
    let labs = Labs::two().await;
    labs.item(0, "new", &CELL).await.is(303);
    let item = labs.record().await.equipment[0].entry.to_string();
    labs.set_up(0, &item, "2026-03-02").await;
    let (stranger, away) = elsewhere(&labs, "bert", "berts-hooks", "KY").await;
    let page = stranger.person.open(&format!("{away}/arrival")).await;
    assert_eq!(
        page.ok().texts("[name=from]").len(),
        0,
        "not a steward of the first"
    );

    let (other, desk) = elsewhere(&labs, "ada", "other-hooks", "KX").await;
    let arrival = format!("{desk}/arrival");
    let page = other.person.open(&arrival).await;
    let offered = page.ok().texts("[name=from] option");
    assert_eq!(offered, ["Fjord Testing, in “Bent hooks” (one item)"]);
    let from = page.attribute("[name=from] option", "value");
    let id = labs.id();
    let bring = [
        ("entry", id.as_str()),
        ("act", "bring"),
        ("from", from.as_str()),
    ];
    for _ in 0..2 {
        other
            .person
            .submit(&arrival, &bring)
            .await
            .redirects_to(&arrival);
    }
    // A stranger who writes the address down gets nothing.
    let id = labs.id();
    let forged = [
        ("entry", id.as_str()),
        ("act", "bring"),
        ("from", from.as_str()),
    ];
    let refused = stranger
        .person
        .submit(&format!("{away}/arrival"), &forged)
        .await;
    assert!(
        refused
            .refused()
            .fault("from")
            .contains("Choose one of the labs")
    );

    let record = labs.server.app.store.study_record("other-hooks").await;
    let record = record.unwrap().unwrap();
    let [brought] = record.equipment.as_slice() else {
        panic!("{:?}", record.equipment);
    };
    let origin = brought.origin.as_ref().expect("its origin");
    assert_eq!(origin.study, labs.record().await.id);
    assert_eq!(origin.entry.to_string(), item);
    // The tester of the other study finds it filled in: items, certificate, last set-up; nothing else.
    let way_in = other.link(&desk).await;
    let (tester, path) = at_the_lab(&labs.server, &way_in).await;
    let set_up = tester.open(&format!("{path}/set-up")).await;
    let value = |name: &str| set_up.attribute(&format!("[name={name}]"), "value");
    assert_eq!(
        (value("method"), value("machine")),
        ("ISO 527-2".into(), "frame 2".into())
    );
    assert_eq!(value("opening"), "");
    let chosen = set_up.attribute("[name=cell_item] option[selected]", "value");
    assert_eq!(chosen, brought.entry.to_string());
    let paper = tester
        .open(&format!("{path}/equipment/{chosen}/paper"))
        .await;
    assert_eq!(paper.ok().bytes, PDF);
    let page = tester.open(&format!("{path}/equipment")).await;
    let first = labs.record().await;
    let mut secrets = vec![first.id.to_string(), item.clone(), "Bent hooks".to_owned()];
    secrets.extend(first.consignments.iter().map(|one| one.id.to_string()));
    let pieces = first.consignments.iter().flat_map(|one| &one.pieces);
    secrets.extend(pieces.map(|piece| piece.blind.to_string()));
    for shown in [page.ok(), &set_up] {
        for secret in &secrets {
            assert!(!shown.body().contains(secret), "{secret}");
        }
    }
    // Calibrated anew over there: brought again, the one item is written down anew.
    let mut since = CELL.to_vec();
    since[6] = ("calibrated_on", "2026-02-10");
    since.push(("change", "since"));
    labs.item(0, &item, &since).await.is(303);
    let id = labs.id();
    let again = [
        ("entry", id.as_str()),
        ("act", "bring"),
        ("from", from.as_str()),
    ];
    other
        .person
        .submit(&arrival, &again)
        .await
        .redirects_to(&arrival);
    let record = labs.server.app.store.study_record("other-hooks").await;
    let record = record.unwrap().unwrap();
    let items: Vec<_> = record
        .equipment
        .iter()
        .map(|one| (one.item, one.is_current()))
        .collect();
    assert_eq!(items, [(brought.item, false), (brought.item, true)]);
    let id = labs.id();
    let nothing = [
        ("entry", id.as_str()),
        ("act", "bring"),
        ("from", from.as_str()),
    ];
    let refused = other.person.submit(&arrival, &nothing).await;
    assert!(
        refused
            .refused()
            .fault("from")
            .contains("stands here already")
    );
}

#[tokio::test]
async fn a_fixture_is_held_with_drawing_and_photograph_and_a_drift_of_the_check_load_is_told() {
    let labs = Labs::two().await;
    let pins = [("kind", "fixture"), ("name", "two pins of 6 mm")];
    labs.item(1, "new", &pins).await.is(303);
    let record = labs.record().await;
    let [held] = record.equipment.as_slice() else {
        panic!("{:?}", record.equipment);
    };
    let page = labs.open(1, "/equipment").await;
    assert!(page.ok().body().contains("two pins of 6 mm"));
    let own = format!("/equipment/{}", held.entry);
    let drawing = labs.open(1, &format!("{own}/paper")).await;
    assert_eq!(drawing.ok().bytes, PDF);
    let photograph = labs.open(1, &format!("{own}/picture/small.jpg")).await;
    assert_eq!(photograph.ok().header("content-type"), "image/jpeg");
    // The known load of 200 N at the opening and the closing: 3 N are 1.5 %, the limit was 1 %.
    let mut session = vec![
        ("machine", "frame 2"),
        ("fixture", "two pins"),
        ("unit", "N"),
        ("tested_on", "2026-03-02"),
        ("check", "200"),
        ("opening", "200"),
        ("drift", "1"),
    ];
    labs.post(1, "set-up", &session).await.is(303);
    session.push(("closing", "203"));
    labs.post(1, "set-up", &session).await.is(303);
    let id = labs.id();
    let early = [("entry", id.as_str()), ("reason", "for the test")];
    let desk = &labs.desks[1];
    let unblind = format!("{desk}/unblind");
    labs.ready.person.submit(&unblind, &early).await.is(303);
    let page = labs.ready.person.open(desk).await;
    let said = page.ok().text("main");
    assert!(
        said.contains("drifted by 1.50 %, beyond its limit"),
        "{said}"
    );
}
