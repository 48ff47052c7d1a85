//! Testing machines' files in an edition's archive: byte for byte, but for one that is also about pieces whose
//! results are not in; and the script that lies there recomputes what is read off them where the plan's
//! primary response is a modulus, a strength or an energy.

use crate::archive::{own, python, said, unpacked};
use crate::house::child::overwinter;
use crate::house::ready::{DAYS, Ready, Wanted, at_the_lab};
use crate::house::sheet::Sheet;
use crate::house::{Person, TestServer};
use crate::lab_properties::bar;
use overwinter::study::code::Code;
use overwinter::study::consignment::Contents;
use overwinter::study::entry::Entry;
use overwinter::study::ids::InstrumentId;
use overwinter::study::plan::{ModulusBy, Plan, Response, SizesAt, TestKind};
use overwinter::study::property::Property;
use overwinter::study::reading::{Instrument, Occasion, Quantity, Reading};
use overwinter::study::units::{AsTyped, Dimension, Unit};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use tempfile::TempDir;

/// Bars pulled between grips, their sides measured before the test; the primary response as said.
fn planned(plan: &mut Plan, primary: Response) {
    bar(
        plan,
        TestKind::Tension,
        SizesAt::BeforeTest,
        ModulusBy::Chord,
    );
    plan.primary = primary;
}

async fn amend(server: &TestServer, ready: &Ready, primary: Response) {
    let record = server.app.store.study_record(&ready.slug).await.unwrap();
    let mut plan = record.unwrap().plan().unwrap().plan.clone();
    planned(&mut plan, primary);
    let amended = Entry::Amended {
        plan: Box::new(plan),
    };
    let done = ready.script.say_because(amended, "a case of a test").await;
    done.expect("the amendment");
}

/// The sides of the pieces of the stage after they came back, each a little different.
async fn measure(server: &TestServer, ready: &Ready, codes: &[&Code]) {
    let instrument = InstrumentId(server.app.clock.new_id());
    let added = Entry::InstrumentAdded {
        instrument: Instrument {
            id: instrument,
            name: "caliper".to_owned(),
            dimension: Dimension::Length,
            readability: 0.01,
            uncertainty: None,
        },
    };
    ready.script.say(added).await.expect("a caliper");
    let record = server.app.store.study_record(&ready.slug).await.unwrap();
    let state = record.unwrap().plan().unwrap().plan.reference_state;
    for (at, code) in (0_u32..).zip(codes) {
        for (name, mm) in [("width", 10.0), ("thickness", 4.0)] {
            let value = mm + f64::from(at * 7 % 5) / 100.0;
            let reading = Reading {
                specimen: (*code).clone(),
                quantity: Quantity::Length(name.to_owned()),
                occasion: Occasion::After,
                repeat: 1,
                state,
                value,
                typed: AsTyped {
                    text: value.to_string(),
                    unit: Unit::Millimetre,
                },
                instrument,
                is_confirmed_doubt: false,
            };
            let entry = Entry::ReadingTaken { reading };
            ready.script.say(entry).await.expect("a reading");
        }
    }
}

/// A tester at a consignment whose session is set, with the blind codes.
async fn tester(server: &TestServer, ready: &Ready, desk: &str) -> (Person, String, Vec<String>) {
    let way_in = ready.link(desk).await;
    let (tester, path) = at_the_lab(server, &way_in).await;
    let codes = tester.open(&path).await.ok().texts(".row-head .code");
    let set_up = [
        ("machine", "frame 3"),
        ("fixture", "wedge grips"),
        ("unit", "N"),
        ("tested_on", "2026-03-02"),
    ];
    form(server, &tester, &format!("{path}/set-up"), &set_up).await;
    form(
        server,
        &tester,
        &format!("{path}/box"),
        &[("act", "all_whole")],
    )
    .await;
    (tester, path, codes)
}

async fn form(server: &TestServer, tester: &Person, page: &str, fields: &[(&str, &str)]) {
    let entry = server.app.clock.new_id().to_string();
    let mut all = vec![("entry", entry.as_str())];
    all.extend_from_slice(fields);
    tester.submit(page, &all).await.is(303);
}

/// What each machine's file holds, by its name; the last is also about a piece of another consignment.
fn files(codes: &[String], other: &str) -> Vec<(String, f64, Vec<u8>)> {
    let one = |(at, code): (u32, &String)| {
        let load = 300.0 + f64::from(at * 37 % 41);
        let name = format!("{code}.csv");
        let mut bytes = crate::lab_curves::curve("Weg [mm];Kraft [N]", load);
        if name == format!("{}.csv", codes[codes.len() - 1]) {
            bytes.splice(0..0, format!("before it: {other}\n").into_bytes());
        }
        (name, load, bytes)
    };
    (0..).zip(codes).map(one).collect()
}

/// Breaks every piece: files sent and kept, loads typed, finished, unblinded.
async fn broken(server: &TestServer, ready: &Ready) -> Vec<(String, f64, Vec<u8>)> {
    let baseline = ready.pack("baseline", &ready.baseline()).await;
    let (_, _, others) = tester(server, ready, &baseline).await;
    let stage = ready.of_stage(DAYS);
    let desk = ready.pack(&format!("stage-{DAYS}"), &stage).await;
    let (tester, path, codes) = tester(server, ready, &desk).await;
    let files = files(&codes, &others[0]);
    let sent: Vec<_> = files
        .iter()
        .map(|(n, _, b)| (n.as_str(), b.clone()))
        .collect();
    crate::lab_curves::send(&tester, &path, &sent).await.is(303);
    crate::lab_curves::keep_shown(&tester, &path).await.is(303);
    for (code, (_, load, _)) in codes.iter().zip(&files) {
        let load = load.to_string();
        let row = [
            ("load", load.as_str()),
            ("outcome", "valid"),
            ("mode", "break"),
        ];
        form(server, &tester, &format!("{path}/tests/{code}"), &row).await;
    }
    let names: Vec<String> = codes.iter().map(|c| format!("looks-{c}")).collect();
    let mut fields = vec![("act", "finish"), ("confirmed", "yes")];
    fields.extend(names.iter().map(|name| (name.as_str(), "cannot_tell")));
    form(server, &tester, &format!("{path}/finish"), &fields).await;
    let record = server.app.store.study_record(&ready.slug).await.unwrap();
    let record = record.unwrap();
    let packed = record.consignments.iter();
    let mut packed = packed.filter(|one| one.contents != Contents::Baseline);
    let consignment = packed.next().expect("the stage").id;
    let unblinded = Entry::Unblinded { consignment };
    ready.script.say(unblinded).await.expect("unblinded");
    files
}

/// Publishes; the edition's page and archive.
pub async fn published(server: &TestServer, ready: &Ready, number: u32) -> (String, Vec<u8>) {
    let editions = format!("/desk/{}/editions", ready.slug);
    let page = ready.person.open(&editions).await;
    let sheet = Sheet::of(&page, "form[action$='/editions']").with("licence", "CC0-1.0");
    let done = sheet.send(&ready.person, &editions).await;
    done.redirects_to(&editions);
    let at = format!("/studies/{}/editions/{number}/", ready.slug);
    let reader = server.stranger();
    let archive = reader.open(&format!("{at}data.zip")).await;
    let page = reader.open(&at).await;
    (page.ok().text("ul.files"), archive.ok().bytes.clone())
}

/// The response that decides, by the findings in an archive.
fn decides(archive: &[u8]) -> String {
    let files: BTreeMap<String, Vec<u8>> = unpacked(archive).into_iter().collect();
    let findings: Value = serde_json::from_slice(&files["findings.json"]).unwrap();
    let response = &findings["primary"]["family"]["response"];
    response.as_str().expect("there is a comparison").to_owned()
}

/// The archive laid out, checked by tools that are not ours, and recomputed both ways; the script's words.
fn holds(archive: &[u8]) -> String {
    let folder = TempDir::new().unwrap();
    let open = folder.path().join("open");
    for (path, bytes) in unpacked(archive) {
        let path = open.join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
    let check = own("tests/fixtures/archive/check.py");
    let output = python(&[check.to_str().unwrap(), open.to_str().unwrap()]);
    assert!(output.status.success(), "{}", said(&output));
    let zip = folder.path().join("data.zip");
    fs::write(&zip, archive).unwrap();
    let output = overwinter(&["analyse", zip.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(said(&output).contains("identical"), "{}", said(&output));
    crate::archive::recomputes(archive)
}

#[tokio::test]
async fn machines_files_lie_in_the_archive_and_what_is_read_off_them_is_recomputed() {
    let server = TestServer::start().await;
    let wanted = Wanted {
        is_public: true,
        ..Wanted::small()
    };
    let ready = wanted.ready(&server, "ada").await;
    let modulus = Response::Read(Property::Modulus);
    amend(&server, &ready, modulus).await;
    measure(&server, &ready, &ready.of_stage(DAYS)).await;
    let sent = broken(&server, &ready).await;
    let (page, archive) = published(&server, &ready, 1).await;
    let files: BTreeMap<String, Vec<u8>> = unpacked(&archive).into_iter().collect();
    let mut table = csv::Reader::from_reader(files["data/curves.csv"].as_slice());
    let rows: Vec<BTreeMap<String, String>> = table.deserialize().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 9);
    let (last, _, shared) = sent.last().unwrap();
    for (name, load, bytes) in &sent {
        let row = rows.iter().find(|row| row["file_name"] == *name);
        let row = row.expect("every curve has its row");
        assert_eq!(row["max_load_n"].parse::<f64>().unwrap(), *load);
        match name == last {
            true => assert_eq!(row["file"], "still_blind"),
            false => assert_eq!(files[&row["file"]], *bytes, "{name}"),
        }
    }
    assert!(files.values().all(|bytes| bytes != shared));
    let left_out = "1 testing machine's file is also about pieces whose results are not in";
    let read_me = String::from_utf8(files["README.txt"].clone()).unwrap();
    assert!(read_me.contains(left_out), "{read_me}");
    assert!(page.contains(left_out), "{page}");
    assert_eq!(decides(&archive), "modulus");
    let told = holds(&archive);
    assert!(
        told.contains("heron roof") && told.contains("0 differ"),
        "{told}"
    );
    let others = [Response::Strength, Response::Read(Property::EnergyToBreak)];
    for (number, primary) in (2..).zip(others) {
        let name = primary.label().replace(' ', "_");
        amend(&server, &ready, primary).await;
        let (_, archive) = published(&server, &ready, number).await;
        assert_eq!(decides(&archive), name);
        let told = crate::archive::recomputes(&archive);
        assert!(told.contains("0 differ"), "{name}: {told}");
    }
}
