//! An archive that would be too large: what it gives up, in which order, and where that is said.

use std::collections::BTreeMap;
use std::io::{Cursor, Read};

use chrono::{TimeZone, Utc};
use sha2::{Digest, Sha256};

use super::{ARCHIVE, Curve, Extra};
use crate::analysis::analyse;
use crate::report::edition::{File, render};
use crate::report::page::Meta;
use crate::report::tests::study;
use crate::study::code::BlindCode;
use crate::study::curve::KeptCurve;
use crate::study::ids::EntryId;
use crate::study::photograph::{Described, Files, Photograph, View};
use crate::study::plan::sha256_hex;
use crate::study::record::{PhotographRecord, Standing, StudyRecord};

/// Bytes that no packing makes fewer.
fn noise(name: u8, length: usize) -> Vec<u8> {
    let block = |at: usize| Sha256::digest([&[name][..], &at.to_be_bytes()].concat());
    (0..=length / 32).flat_map(block).take(length).collect()
}

/// The study with a photograph of it as a whole, released.
fn photographed() -> StudyRecord {
    let mut record = study();
    let hash = "0".repeat(64);
    record.photographs.push(PhotographRecord {
        entry: EntryId(uuid::Uuid::from_u128(5)),
        photograph: Photograph {
            described: Described {
                specimens: Vec::new(),
                holder: None,
                view: View::Whole,
                frame_mm: None,
            },
            files: Files {
                width: 40,
                height: 30,
                large: hash.clone(),
                small: hash.clone(),
                sent: hash,
            },
        },
        taken_at: Utc.with_ymd_and_hms(2024, 3, 4, 5, 6, 7).unwrap(),
        standing: Standing::Current,
        is_released: true,
        is_erased: false,
        note: None,
    });
    record
}

fn curve(record: &StudyRecord, bytes: Vec<u8>) -> Curve {
    let consignment = record.consignments.first().unwrap();
    let blind: BlindCode = consignment.pieces.first().unwrap().blind.clone();
    Curve {
        kept: KeptCurve {
            consignment: consignment.id,
            blind,
            file_sha256: sha256_hex(&bytes),
            file_name: "run 1.csv".to_owned(),
            place: 0,
            said: String::new(),
            max_load_n: 301.5,
            extension_at_max_mm: None,
            end_load_n: 301.5,
            extension_at_end_mm: None,
            energy_to_max_j: None,
            energy_to_end_j: None,
            ended_at_line: Some(23),
            is_confirmed_doubt: false,
            end_reason: Some("the grip turned there".to_owned()),
            read: None,
        },
        bytes: Some(bytes),
    }
}

/// The edition's page, and its archive's length and files.
fn made(most_bytes: usize) -> (String, usize, BTreeMap<String, Vec<u8>>) {
    let record = photographed();
    let extra = Extra {
        curves: vec![curve(&record, noise(2, 9_000))],
        photographs: vec![File {
            path: "photograph-1-large.jpg".to_owned(),
            media_type: "image/jpeg".to_owned(),
            bytes: noise(1, 20_000),
        }],
        most_bytes,
        ..Extra::default()
    };
    let meta = Meta {
        number: 1,
        at: Utc.with_ymd_and_hms(2025, 8, 1, 0, 0, 0).unwrap(),
        current_href: "../../x".to_owned(),
        program: "1.0".to_owned(),
        licence: None,
        origin: None,
    };
    let findings = analyse(&record).unwrap();
    let files = render(&record, &findings, &BTreeMap::default(), &extra, &meta).unwrap();
    let of = |path: &str| files.iter().find(|file| file.path == path).unwrap();
    let page = String::from_utf8(of("index.html").bytes.clone()).unwrap();
    let packed = &of(ARCHIVE).bytes;
    let mut zip = zip::ZipArchive::new(Cursor::new(packed)).unwrap();
    let inside = (0..zip.len()).map(|at| {
        let mut file = zip.by_index(at).unwrap();
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).unwrap();
        (file.name().unwrap().into_owned(), bytes)
    });
    (page, packed.len(), inside.collect())
}

#[test]
fn a_large_archive_gives_up_pictures_first_then_machines_files_and_says_so() {
    let text = |files: &BTreeMap<String, Vec<u8>>, path: &str| {
        String::from_utf8(files.get(path).unwrap().clone()).unwrap()
    };
    let is_picture = |name: &String| name.starts_with("photographs/");
    let is_machine = |name: &String| name.starts_with("curves/");
    let (page, whole, files) = made(usize::MAX);
    assert!(files.keys().any(is_picture) && files.keys().any(is_machine));
    assert!(text(&files, "data/curves.csv").contains(",23,the grip turned there\r\n"));
    assert!(!page.contains("too large") && !text(&files, "README.txt").contains("too large"));

    let (page, less, files) = made(whole - 1);
    assert!(less < whole - 19_000, "{less} of {whole}");
    assert!(!files.keys().any(is_picture) && files.keys().any(is_machine));
    assert!(text(&files, "data/photographs.csv").contains("photograph-1-large.jpg,too_large"));
    for told in [&page, &text(&files, "README.txt")] {
        assert!(told.contains("The photographs would make the archive too large"));
        assert!(!told.contains("testing machine's file would"));
    }

    let (page, least, files) = made(1);
    assert!(least < less - 8_000, "{least} of {less}");
    assert!(!files.keys().any(is_picture) && !files.keys().any(is_machine));
    assert!(text(&files, "data/curves.csv").contains(",too_large,run 1.csv,"));
    let sentence = "1 testing machine&#39;s file would make the archive too large";
    assert!(page.contains(sentence), "{page}");
    assert!(text(&files, "README.txt").contains(&sentence.replace("&#39;", "'")));
}
