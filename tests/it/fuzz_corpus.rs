//! What the fuzzer kept (`tests/fuzz/corpus`): every file goes through its reader without a panic, in every run of
//! the tests, so that nothing it once found comes back.

#[path = "../fuzz/readers.rs"]
mod readers;

use std::path::{Path, PathBuf};

/// The corpus is part of the repository, and stays small: 1.5 MB.
const MOST_BYTES: usize = 1_500_000;

fn corpus() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus")
}

/// The files of a folder, by name.
fn files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let entries = std::fs::read_dir(folder).unwrap_or_else(|_| panic!("no {}", folder.display()));
    let mut files: Vec<(String, Vec<u8>)> = entries
        .map(|entry| {
            let path = entry.expect("an entry").path();
            let name = path
                .file_name()
                .expect("a name")
                .to_string_lossy()
                .into_owned();
            (name, std::fs::read(&path).expect("readable"))
        })
        .collect();
    files.sort();
    files
}

#[test]
fn every_file_that_the_fuzzer_kept_goes_through_its_reader() {
    let (mut bytes, mut shut) = (0, Vec::new());
    for (name, _) in readers::ALL {
        let read = readers::by_name(name);
        let mut is_any_read = false;
        for (file, content) in files(&corpus().join(name)) {
            bytes += content.len();
            let outcome = std::panic::catch_unwind(|| read(&content));
            is_any_read |= outcome.unwrap_or_else(|_| panic!("{name}/{file}"));
        }
        if !is_any_read {
            shut.push(name);
        }
    }
    assert!(
        shut.is_empty(),
        "no file of the corpus gets through {shut:?}"
    );
    assert!(bytes < MOST_BYTES, "the corpus has {bytes} bytes");
}

/// A reader without a target would never be fuzzed, a folder without a reader never be replayed.
#[test]
fn every_reader_has_a_target_and_every_folder_a_reader() {
    let names: Vec<&str> = readers::ALL.iter().map(|(name, _)| *name).collect();
    let manifest = include_str!("../fuzz/Cargo.toml");
    for name in &names {
        assert!(
            manifest.contains(&format!("path = \"targets/{name}.rs\"")),
            "{name}"
        );
        let target = corpus()
            .with_file_name("targets")
            .join(format!("{name}.rs"));
        let text = std::fs::read_to_string(&target).expect("a target");
        assert!(text.contains(&format!("by_name(\"{name}\")")), "{name}");
    }
    for entry in std::fs::read_dir(corpus()).expect("the corpus") {
        let folder = entry
            .expect("an entry")
            .file_name()
            .to_string_lossy()
            .into_owned();
        assert!(names.contains(&folder.as_str()), "{folder}");
    }
}
