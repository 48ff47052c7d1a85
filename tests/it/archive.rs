//! An edition's archive: checked by tools that are not ours (frictionless, openpyxl, scipy by the script that
//! lies in it), recomputed by `overwinter analyse`, and found out when a value was changed.
//!
//! Python and its packages: `tests/venv`.

use crate::house::ChildServer;
use crate::house::child::overwinter;
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fs;
use std::io::{Cursor, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

/// A file below the project's folder.
pub fn own(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// Runs the tests' own Python.
pub fn python(arguments: &[&str]) -> Output {
    let python = own("target/venv/bin/python");
    assert!(python.exists(), "run tests/venv first");
    Command::new(python)
        .args(arguments)
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .output()
        .expect("python runs")
}

pub fn said(output: &Output) -> String {
    let both = [&output.stdout, &output.stderr];
    both.map(|text| String::from_utf8_lossy(text).into_owned())
        .concat()
}

/// Unpacks an archive; every path and its bytes, in their order.
pub fn unpacked(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).expect("a zip file");
    let mut files = Vec::new();
    for at in 0..zip.len() {
        let mut file = zip.by_index(at).expect("a file");
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).expect("its bytes");
        files.push((file.name().expect("a name").into_owned(), bytes));
    }
    files
}

fn lay_out(files: &[(String, Vec<u8>)], folder: &Path) {
    for (path, bytes) in files {
        let path = folder.join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
}

/// Runs the script of an archive in its folder; what it says when it finds all the same.
#[track_caller]
pub fn recomputes(bytes: &[u8]) -> String {
    let folder = TempDir::new().unwrap();
    lay_out(&unpacked(bytes), folder.path());
    let script = folder.path().join("recompute.py");
    let output = python(&[script.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    said(&output)
}

fn changed(
    files: &[(String, Vec<u8>)],
    path: &str,
    from: &str,
    to: &str,
) -> Vec<(String, Vec<u8>)> {
    let mut files = files.to_vec();
    let (_, bytes) = files.iter_mut().find(|(name, _)| name == path).unwrap();
    let text = String::from_utf8(bytes.clone()).unwrap();
    assert!(text.contains(from), "{path} has no {from}");
    *bytes = text.replacen(from, to, 1).into_bytes();
    files
}

fn packed(files: &[(String, Vec<u8>)], path: &Path) {
    let mut zip = zip::ZipWriter::new(fs::File::create(path).unwrap());
    for (name, bytes) in files {
        let options = zip::write::SimpleFileOptions::default();
        zip.start_file(name.as_str(), options).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap();
}

/// The rows of a table of the archive, by the names of its columns.
fn rows_of(files: &[(String, Vec<u8>)], table: &str) -> Vec<BTreeMap<String, String>> {
    let path = format!("data/{table}.csv");
    let found = files.iter().find(|(name, _)| *name == path);
    let (_, bytes) = found.unwrap_or_else(|| panic!("no {path}"));
    let mut table = csv::Reader::from_reader(bytes.as_slice());
    table.deserialize().map(Result::unwrap).collect()
}

/// A load of the first valid piece, as it stands in the table, and one a little larger.
fn a_load(files: &[(String, Vec<u8>)]) -> (String, String) {
    let (_, bytes) = files
        .iter()
        .find(|(n, _)| n == "data/specimens.csv")
        .unwrap();
    let mut table = csv::Reader::from_reader(bytes.as_slice());
    let head = table.headers().unwrap().clone();
    let at = |name: &str| head.iter().position(|n| n == name).unwrap();
    let (load, fate, role) = (at("max_load_n"), at("fate"), at("role"));
    let mut rows = table.records().map(Result::unwrap);
    let row = rows
        .find(|row| &row[fate] == "valid" && &row[role] == "exposed")
        .unwrap();
    let value: f64 = row[load].parse().unwrap();
    (
        format!(",{},valid", &row[load]),
        format!(",{},valid", value + 7.0),
    )
}

#[tokio::test]
async fn the_demos_archive_is_what_outside_tools_expect_and_gives_its_findings() {
    let folder = TempDir::new().unwrap();
    let demo = ChildServer::demo(&folder.path().join("demo"));
    let reader = demo.stranger();
    let at = "/studies/fleece-pegs/editions/1/";
    let archive = reader.open(&format!("{at}data.zip")).await;
    assert_eq!(archive.ok().header("content-type"), "application/zip");
    let archive = archive.bytes;
    let sheet = reader
        .open(&format!("{at}tables.xlsx"))
        .await
        .ok()
        .bytes
        .clone();
    // Asked before the long work: a connection that stands idle is closed.
    let beside = reader.open(&format!("{at}findings.json")).await;
    let beside = beside.ok().bytes.clone();
    let sheet_path = folder.path().join("tables.xlsx");
    fs::write(&sheet_path, &sheet).unwrap();
    let zip_path = folder.path().join("data.zip");
    fs::write(&zip_path, &archive).unwrap();
    let files = unpacked(&archive);
    let open = folder.path().join("open");
    lay_out(&files, &open);

    let check = own("tests/fixtures/archive/check.py");
    let arguments = [&check, &open, &sheet_path].map(|path| path.to_str().unwrap());
    let output = python(&arguments);
    let text = said(&output);
    assert!(output.status.success(), "{text}");
    for table in [
        "specimens",
        "readings",
        "tests",
        "curves",
        "doses",
        "custody",
        "parcels",
        "amendments",
        "waivers",
        "incidents",
        "checks",
        "equipment",
        "photographs",
        "literature",
        "journal",
        "series-1",
    ] {
        assert!(text.contains(table), "no table {table}: {text}");
    }
    assert!(text.contains("licence CC-BY-4.0"), "{text}");

    let output = overwinter(&["analyse", zip_path.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(said(&output).contains("identical"), "{}", said(&output));
    let text = recomputes(&archive);
    assert!(
        text.contains("0 differ") && text.contains("entries"),
        "{text}"
    );

    // Each of these tables has something in it: the story holds a case of each. Where the machine's files
    // lie is in the table of curves.
    for name in [
        "parcels",
        "amendments",
        "waivers",
        "incidents",
        "checks",
        "equipment",
        "literature",
    ] {
        assert!(!rows_of(&files, name).is_empty(), "{name} is empty");
    }
    let curves = rows_of(&files, "curves");
    let pieces = rows_of(&files, "tests").len();
    assert_eq!(curves.len(), pieces - 1, "all but the one that slipped");
    for row in &curves {
        let (_, bytes) = files.iter().find(|(n, _)| *n == row["file"]).unwrap();
        let hash: String = Sha256::digest(bytes)
            .iter()
            .map(|b| format!("{b:02x}"))
            .collect();
        assert_eq!(hash, row["file_sha256"]);
    }

    // The findings of the archive are those of the page.
    let inside = files.iter().find(|(n, _)| n == "findings.json").unwrap();
    assert_eq!(inside.1, beside);

    let (load, other) = a_load(&files);
    let forged = changed(&files, "data/specimens.csv", &load, &other);
    let forged_path = folder.path().join("forged.zip");
    packed(&forged, &forged_path);
    let output = overwinter(&["analyse", forged_path.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(4), "{}", said(&output));
    let text = said(&output);
    assert!(
        text.contains("max_load_n") && text.contains("data/specimens.csv"),
        "{text}"
    );
    let forged_folder = folder.path().join("forged");
    lay_out(&forged, &forged_folder);
    let output = python(&[forged_folder.join("recompute.py").to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));

    // One letter of the journal, and the chain does not hold.
    let forged = changed(
        &files,
        "data/journal.csv",
        ",reading_taken,",
        ",reading_token,",
    );
    lay_out(&forged, &forged_folder);
    let output = python(&[forged_folder.join("recompute.py").to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(
        said(&output).contains("journal: hash of entry"),
        "{}",
        said(&output)
    );
}

/// The options of `analyse` for a case's wishes.
fn options(wishes: &Value) -> Vec<String> {
    let names = [
        ("spreads", "--spreads"),
        ("margin_percent", "--margin"),
        ("covariate", "--covariate"),
        ("primary", "--primary"),
        ("primary_stage_days", "--stage"),
    ];
    let mut options = Vec::new();
    for (key, value) in wishes.as_object().unwrap() {
        let (_, option) = names.iter().find(|(name, _)| name == key).unwrap();
        options.push((*option).to_owned());
        options.push(
            value
                .as_str()
                .map_or_else(|| value.to_string(), str::to_owned),
        );
    }
    options
}

#[test]
fn the_three_studies_are_recomputed_by_the_script_of_their_archives() {
    let folder = TempDir::new().unwrap();
    let text = fs::read_to_string(own("tests/fixtures/studies/expected.json")).unwrap();
    let expected: Value = serde_json::from_str(&text).unwrap();
    let mut told = 0;
    for case in expected["cases"].as_array().unwrap() {
        let file = own("tests/fixtures/studies").join(case["file"].as_str().unwrap());
        let out = folder.path().join("out.zip");
        let mut arguments = vec!["analyse", file.to_str().unwrap()];
        arguments.extend(["--archive", out.to_str().unwrap()]);
        let options = options(&case["wishes"]);
        arguments.extend(options.iter().map(String::as_str));
        let output = overwinter(&arguments);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        let archive = fs::read(&out).unwrap();
        let text = recomputes(&archive);
        assert!(text.contains("0 differ"), "{} {text}", case["wishes"]);
        told += text.matches("; ").count();
        let output = overwinter(&["analyse", out.to_str().unwrap()]);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    }
    assert!(told >= 13, "{told} comparisons");
}

#[test]
fn what_is_no_archive_of_ours_is_told_in_a_sentence() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("x.zip");
    fs::write(&path, b"PK\x03\x04 and nothing more").unwrap();
    let output = overwinter(&["analyse", path.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(3));
    assert!(
        said(&output).contains("cannot be opened"),
        "{}",
        said(&output)
    );
    packed(&[("a.txt".to_owned(), b"a".to_vec())], &path);
    let output = overwinter(&["analyse", path.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(3));
    assert!(
        said(&output).contains("datapackage.json"),
        "{}",
        said(&output)
    );
    let output = overwinter(&["analyse", path.to_str().unwrap(), "--json"]);
    assert_eq!(output.status.code(), Some(1));
}
