//! An edition whose results carry flags of their instruments: a calibration that does not cover the day of the
//! test, a load outside the range of the cell's class. They stand on the page, in the table and in the archive,
//! and the answer without the flagged values beside the one with them (trade.md 4.3: “publish with and without”).

use crate::archive::unpacked;
use crate::house::TestServer;
use crate::house::parcel::tested;
use crate::house::ready::{DAYS, Ready, Wanted};
use overwinter::study::break_test::TestSession;
use overwinter::study::entry::Entry;
use overwinter::study::equipment::{Equipment, EquipmentKept, EquipmentKind, Used};
use overwinter::study::ids::{ConsignmentId, EntryId};
use overwinter::study::units::Unit;
use overwinter::tidy::{self, wishes::Request};
use serde_json::Value;

async fn cell(ready: &Ready, consignment: ConsignmentId) -> EntryId {
    let kept = EquipmentKept {
        consignment,
        replaces: None,
        change: None,
        equipment: Equipment {
            kind: EquipmentKind::LoadCell,
            name: "cell 17".to_owned(),
            serial: String::new(),
            range_from: Some(20.0),
            range_to: Some(300.0),
            class: "0.5".to_owned(),
            calibrated_on: Some("2026-01-10".parse().unwrap()),
            valid_until: None,
            paper: None,
            picture: None,
        },
        origin: None,
    };
    let entry = Entry::EquipmentKept(Box::new(kept));
    EntryId(ready.script.say(entry).await.expect("an item").id)
}

async fn set_up(ready: &Ready, consignment: ConsignmentId, cell: EntryId, day: &str) {
    let session = TestSession {
        consignment,
        machine: "frame 2".to_owned(),
        fixture: "pin".to_owned(),
        speed_mm_min: None,
        room_c: None,
        room_rh_percent: None,
        load_unit: Unit::Newton,
        tested_on: day.parse().unwrap(),
        check_load_n: None,
        check_opening_n: None,
        check_closing_n: None,
        drift_limit_percent: None,
        used: Used {
            cell: Some(cell),
            ..Used::default()
        },
    };
    let entry = Entry::SessionSet(session);
    ready.script.say(entry).await.expect("a set-up");
}

#[tokio::test]
async fn flags_of_instruments_stand_with_every_result_and_the_answer_without_them_beside_it() {
    let server = TestServer::start().await;
    let wanted = Wanted {
        is_public: true,
        ..Wanted::small()
    };
    let ready = wanted.ready(&server, "ada").await;
    let stage = format!("stage-{DAYS}");
    ready.pack(&stage, &ready.of_stage(DAYS)).await;
    let store = &server.app.store;
    let record = store.study_record(&ready.slug).await.unwrap().unwrap();
    let one = &record.consignments[0];
    let item = cell(&ready, one.id).await;
    // The first on the day before the calibration, the last above the range of the class.
    let loads = (0..9_u8).map(|n| if n == 8 { 312.0 } else { 200.0 + f64::from(n) });
    let fared: Vec<_> = one.pieces.iter().zip(loads.map(Some)).collect();
    set_up(&ready, one.id, item, "2026-01-09").await;
    tested(&ready.script, one, &fared[..1]).await;
    set_up(&ready, one.id, item, "2026-03-02").await;
    tested(&ready.script, one, &fared[1..]).await;
    let consignment = one.id;
    for entry in [
        Entry::Finished { consignment },
        Entry::Unblinded { consignment },
    ] {
        ready.script.say(entry).await.expect("the end");
    }
    let editions = format!("/desk/{}/editions", ready.slug);
    let entry = server.app.clock.new_id().to_string();
    let fields = [("entry", entry.as_str()), ("licence", "CC-BY-4.0")];
    ready.person.submit(&editions, &fields).await.is(303);

    let (open, outside) = (&one.pieces[0].specimen, &one.pieces[8].specimen);
    let at = format!("/studies/{}/editions/1/", ready.slug);
    let reader = server.stranger();
    let page = reader.open(&at).await;
    let said = page.ok().text("main");
    let told = [
        format!("Calibration does not cover the day of the test: {open}"),
        format!("Load outside the range of the cell's class: {outside}"),
        "Without loads that the calibration does not cover, by its days or its range".to_owned(),
        "Of 1 test: calibrated only after the day of the test.".to_owned(),
        "Of 1 test: the load lies above the range of its class.".to_owned(),
    ];
    for words in told {
        assert!(said.contains(&words), "{words}");
    }
    // The table, read back by the program that anybody may run on it.
    let csv = reader
        .open(&format!("{at}specimens.csv"))
        .await
        .ok()
        .bytes
        .clone();
    flagged(&csv, open.as_str(), outside.as_str());
    tidy::read(&csv, &Request::default()).expect("the file is read back, flags and all");
    let zip = reader
        .open(&format!("{at}data.zip"))
        .await
        .ok()
        .bytes
        .clone();
    let files = unpacked(&zip);
    let file = |end: &str| {
        let mut found = files.iter().filter(|(path, _)| path.ends_with(end));
        &found.next().unwrap_or_else(|| panic!("{end}")).1
    };
    flagged(file("specimens.csv"), open.as_str(), outside.as_str());
    let findings: Value = serde_json::from_slice(file("findings.json")).unwrap();
    let variants = findings["primary"]["variants"].as_array().unwrap();
    let without = variants
        .iter()
        .find(|v| v["kind"] == "without_outside_calibration");
    assert_eq!(without.expect("the variant")["pieces"], 2);
    assert_eq!(
        findings["specimens"].as_array().unwrap().len(),
        9,
        "none is dropped"
    );
}

/// Both pieces carry their flags, nobody else does.
fn flagged(csv: &[u8], open: &str, outside: &str) {
    let mut rows = csv::Reader::from_reader(csv);
    let head = rows.headers().unwrap().clone();
    let column = |name: &str| {
        head.iter()
            .position(|known| known.trim_start_matches('\u{feff}') == name)
    };
    let (piece, flags) = (column("specimen").unwrap(), column("flags").unwrap());
    for row in rows.records().map(Result::unwrap) {
        let expected = match &row[piece] {
            code if code == open => "calibration_open",
            code if code == outside => "load_outside_range",
            _ => "",
        };
        // Their stage was a short one, which is flagged as well.
        let of_instruments = row[flags]
            .split(' ')
            .filter(|flag| *flag != "outside_window");
        assert_eq!(
            of_instruments.collect::<Vec<_>>().concat(),
            expected,
            "{}",
            &row[piece]
        );
    }
}
