//! Small files that unpack to much, sent to the real binary: each is answered in words, the server goes on, and its
//! memory never reaches 256 MB (Linux: VmHWM of proc(5), the most that was resident at once).

use crate::house::child::BINARY;
use crate::house::parcel::send;
use crate::house::ready::{DAYS, Ready, Wanted};
use crate::house::{ChildServer, Person, TestServer};
use chrono::TimeDelta;
use flate2::Compression;
use flate2::write::ZlibEncoder;
use overwinter::study::entry::Entry;
use overwinter::study::ids::LinkId;
use std::io::{Cursor, Write};
use std::process::Command;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

const MOST_MB: u64 = 256;

/// An archive of these parts.
fn packed(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, part) in parts {
        zip.start_file(*name, SimpleFileOptions::default())
            .expect("a part of its own name");
        zip.write_all(part).expect("memory takes it");
    }
    zip.finish().expect("memory takes it").into_inner()
}

/// A workbook (ISO/IEC 29500) with this list of words and this sheet.
fn workbook(words: &[u8], sheet: &[u8]) -> Vec<u8> {
    const RELATION: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    let relations = |kind: &str, target: &str| {
        format!(
            "<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship \
             Id=\"r1\" Type=\"{RELATION}/{kind}\" Target=\"{target}\"/></Relationships>"
        )
    };
    let book = format!(
        "<workbook xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\" xmlns:r=\"{RELATION}\">\
         <sheets><sheet name=\"a\" sheetId=\"1\" r:id=\"r1\"/></sheets></workbook>"
    );
    packed(&[
        (
            "_rels/.rels",
            relations("officeDocument", "xl/workbook.xml").as_bytes(),
        ),
        ("xl/workbook.xml", book.as_bytes()),
        (
            "xl/_rels/workbook.xml.rels",
            relations("worksheet", "worksheets/a.xml").as_bytes(),
        ),
        ("xl/sharedStrings.xml", words),
        ("xl/worksheets/a.xml", sheet),
    ])
}

/// A white PNG (W3C PNG, third edition) of this size, four samples of 16 bits a pixel, lying on its side (eXIf).
fn picture(width: u32, height: u32) -> Vec<u8> {
    let mut rows = ZlibEncoder::new(Vec::new(), Compression::fast());
    let row = vec![0; 1 + width as usize * 8];
    for _ in 0..height {
        rows.write_all(&row).expect("memory takes it");
    }
    let size = [width.to_be_bytes(), height.to_be_bytes()].concat();
    let head = [size.as_slice(), &[16, 6, 0, 0, 0]].concat();
    let turned = b"II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0\x06\0\0\0\0\0\0\0".to_vec();
    let mut png = b"\x89PNG\r\n\x1a\n".to_vec();
    for (kind, data) in [
        (b"IHDR", head),
        (b"eXIf", turned),
        (b"IDAT", rows.finish().expect("memory takes it")),
        (b"IEND", Vec::new()),
    ] {
        png.extend(u32::try_from(data.len()).expect("short").to_be_bytes());
        let mut sum = flate2::Crc::new();
        sum.update(kind);
        sum.update(&data);
        png.extend(kind);
        png.extend(data);
        png.extend(sum.sum().to_be_bytes());
    }
    png
}

/// What is sent as a machine's file or as a list of results: a name and its bytes.
fn bombs() -> Vec<(&'static str, Vec<u8>)> {
    let sheet: &[u8] = b"<worksheet><sheetData/></worksheet>";
    let words = |count: usize| {
        let words = b"<si><t>a</t></si>".repeat(count);
        [b"<sst>".as_slice(), &words, b"</sst>"].concat()
    };
    let rows = (1..=4_000).map(|row| {
        let cells = "<c><v>1</v></c>".repeat(200);
        format!("<row r=\"{row}\">{cells}</row>")
    });
    let cells = format!(
        "<worksheet><sheetData>{}</sheetData></worksheet>",
        rows.collect::<String>()
    );
    let many: Vec<String> = (0..3_000).map(|n| format!("part {n}")).collect();
    let many: Vec<(&str, &[u8])> = many
        .iter()
        .map(|name| (name.as_str(), b"".as_slice()))
        .collect();
    vec![
        ("words.xlsx", workbook(&words(650_000), sheet)),
        ("more words.xlsx", workbook(&words(900_000), sheet)),
        (
            "claim.xlsx",
            workbook(
                b"<sst uniqueCount=\"99999999999\"><si><t>a</t></si></sst>",
                sheet,
            ),
        ),
        ("cells.xlsx", workbook(b"<sst/>", cells.as_bytes())),
        ("many parts.xlsx", packed(&many)),
        (
            "many tables.csv",
            b"1;2\n2;3\n3;4\nabc\ndef;ghi\n".repeat(100_000),
        ),
        (
            "many words.csv",
            [b"1;2\n2;3\n3;4\n".as_slice(), &b"a\n".repeat(2_000_000)].concat(),
        ),
        ("wide.csv", b"1;".repeat(2_000_000)),
    ]
}

#[tokio::test(flavor = "multi_thread")]
async fn files_that_unpack_to_much_are_answered_and_leave_the_server_small() {
    let house = TestServer::start().await;
    let ready = Wanted::small().ready(&house, "ada").await;
    ready
        .pack(&format!("stage-{DAYS}"), &ready.of_stage(DAYS))
        .await;
    let way_in = way_in_for_long(&house, &ready).await;
    drop(ready);
    let (store, folder) = house.stop().await;
    store.close().await.expect("it closes");
    let folder = folder.expect("its folder");
    let server = ChildServer::start(folder.path());
    let tester = Person::new(&server.base);
    let path = tester.open(&way_in).await.header("location").to_owned();
    let entry = uuid::Uuid::now_v7().to_string();
    let set_up = [
        ("entry", entry.as_str()),
        ("machine", "frame"),
        ("fixture", "pin"),
        ("unit", "N"),
        ("tested_on", "2024-03-02"),
    ];
    tester
        .submit(&format!("{path}/set-up"), &set_up)
        .await
        .is(303);
    let before = server.most_mb();
    for (name, bytes) in bombs() {
        let curves = [("files", name, bytes.as_slice())];
        let shown = send(&tester, &format!("{path}/curves"), &[], &curves).await;
        assert!(
            [303, 422].contains(&shown.status.as_u16()),
            "{name}: {}",
            shown.status
        );
        let grid = [("file", name, bytes.as_slice())];
        let shown = send(&tester, &format!("{path}/grid"), &[("block", "")], &grid).await;
        assert!(
            [200, 422].contains(&shown.status.as_u16()),
            "{name}: {}",
            shown.status
        );
        let logger = [("logger", name, bytes.as_slice())];
        let shown = send(&tester, &format!("{path}/parcel/logger"), &[], &logger).await;
        assert!(
            [303, 422].contains(&shown.status.as_u16()),
            "{name}: {}",
            shown.status
        );
        assert!(
            server.most_mb() < MOST_MB,
            "{name}: {} MB",
            server.most_mb()
        );
    }
    // As large as is taken, and larger than that.
    for (width, height, status) in [(4_000, 4_000, 303), (30_000, 30_000, 422)] {
        let bytes = if status == 303 {
            picture(width, height)
        } else {
            claiming(width, height)
        };
        let file = [("file", "a.png", bytes.as_slice())];
        let id = uuid::Uuid::now_v7().to_string();
        let fields = [("entry", id.as_str()), ("shows", "")];
        let shown = send(
            &tester,
            &format!("{path}/parcel/photographs"),
            &fields,
            &file,
        )
        .await;
        shown.is(status);
        assert!(
            server.most_mb() < MOST_MB,
            "{width} × {height}: {} MB",
            server.most_mb()
        );
    }
    tester.open(&path).await.ok();
    println!(
        "the server's peak: {before} MB before, {} MB after",
        server.most_mb()
    );
}

/// A lab link that holds whenever this runs: the house of the tests has a clock of its own, the binary has not.
async fn way_in_for_long(house: &TestServer, ready: &Ready) -> String {
    let record = house.app.store.study_record(&ready.slug).await;
    let consignment = record.expect("reads").expect("there").consignments[0].id;
    let link = LinkId(house.app.clock.new_id());
    let issued = Entry::LinkIssued {
        link,
        consignment,
        days: 30_000,
        latest: house.app.clock.now() + TimeDelta::days(30_000),
    };
    ready.script.say(issued).await.expect("it is issued");
    let token = house.app.clock.new_token();
    let kept = house
        .app
        .store
        .put_lab_secret(link.0, &token.sha256())
        .await;
    kept.expect("it is kept");
    format!("/lab/{link}/enter/{}", token.reveal())
}

/// A small picture that says it is larger.
fn claiming(width: u32, height: u32) -> Vec<u8> {
    let mut png = picture(8, 8);
    let head = [width.to_be_bytes(), height.to_be_bytes()].concat();
    png[16..24].copy_from_slice(&head);
    let mut sum = flate2::Crc::new();
    sum.update(&png[12..29]);
    png[29..33].copy_from_slice(&sum.sum().to_be_bytes());
    png
}

/// The most memory that `analyse` takes for a file, in MB, and what it says.
fn analysed(bytes: &[u8], name: &str) -> (u64, String) {
    const ASK: &str = "import resource, subprocess, sys\n\
        said = subprocess.run(sys.argv[1:], capture_output=True, text=True).stderr\n\
        print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024, said)";
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join(name);
    std::fs::write(&file, bytes).expect("it is written");
    let asked = Command::new("python3")
        .args(["-c", ASK, BINARY, "analyse"])
        .arg(&file)
        .output();
    let said = String::from_utf8(asked.expect("python runs").stdout).expect("text");
    let (most, said) = said.split_once(' ').expect("a number, then words");
    (most.parse().expect("a number"), said.to_owned())
}

#[test]
fn an_archive_or_table_that_unpacks_to_much_is_refused_by_analyse_in_little_memory() {
    let zeros = format!("{{\"resources\":[{}0]}}", "0,".repeat(20_000_000));
    let many: Vec<String> = (0..25_000).map(|n| format!("part {n}")).collect();
    let many: Vec<(&str, &[u8])> = many
        .iter()
        .map(|name| (name.as_str(), b"".as_slice()))
        .collect();
    let less = format!("{{\"resources\":[{}0]}}", "0,".repeat(3_000_000));
    let lines = [
        b"specimen,condition,role\n".as_slice(),
        &b"a,b,exposed\n".repeat(1_000_000),
    ]
    .concat();
    for (bytes, name, words) in [
        (
            packed(&[("datapackage.json", zeros.as_bytes())]),
            "a.zip",
            "larger than 6 MB",
        ),
        (
            packed(&[("datapackage.json", less.as_bytes())]),
            "b.zip",
            "findings.json",
        ),
        (packed(&many), "c.zip", "more than is read"),
        (lines, "d.csv", "more than"),
        (
            b"s,".repeat(7_000_000),
            "e.csv",
            "more than a million cells",
        ),
    ] {
        let (most, said) = analysed(&bytes, name);
        assert!(said.contains(words), "{name}: {said}");
        assert!(most < MOST_MB, "{name}: {most} MB");
        println!("{name}: {most} MB");
    }
}
