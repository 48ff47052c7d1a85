//! The reference harness: every case of `tests/reference/*.json`, or of the folder named by
//! `REFERENCE_DIR`, against the statistics of this crate.
//!
//! It prints one line per file (cases run, worst relative error, failures), then the misses, then
//! `N passed, N failed`; it fails on any miss, on a file it does not know and on a file without a
//! case. A case is never looked up by its id, and an expected field that no method returns is a
//! miss. How a file is answered stands in `tests/reference_cases/`, the layout of the files in
//! `tests/reference/README.md`.

#[path = "reference_cases/compare.rs"]
mod compare;
#[path = "reference_cases/expression.rs"]
mod expression;
#[path = "reference_cases/files.rs"]
mod files;
#[path = "reference_cases/input.rs"]
mod input;
#[path = "reference_cases/tolerance.rs"]
mod tolerance;

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// What came of one file.
#[derive(Default)]
struct Tally {
    run: usize,
    worst: f64,
    misses: Vec<String>,
    failed: usize,
}

fn main() -> ExitCode {
    // A test runner that asks for a list gets an empty one: the cases run when the target is run.
    if std::env::args().any(|argument| argument == "--list") {
        return ExitCode::SUCCESS;
    }
    let named = std::env::var_os("REFERENCE_DIR").map(PathBuf::from);
    let own = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference");
    let folder = named.clone().unwrap_or(own);
    let (mut passed, mut failed) = (0, 0);
    let mut misses = Vec::new();
    let present = match json_files(&folder) {
        Ok(present) => present,
        Err(sentence) => {
            println!("{sentence}");
            println!("0 passed, 1 failed");
            return ExitCode::FAILURE;
        }
    };
    for path in &present {
        let name = path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        let tally = run_file(path, &name);
        println!(
            "{name:40} {:4} run, worst relative error {:8.1e}, {:3} failed",
            tally.run, tally.worst, tally.failed
        );
        passed += tally.run - tally.failed.min(tally.run);
        failed += tally.failed;
        misses.extend(tally.misses);
    }
    if named.is_none() {
        for missing in files::METHODS
            .iter()
            .filter(|m| !present.iter().any(|p| p.ends_with(m.0)))
        {
            misses.push(format!("{}: the file is missing", missing.0));
            failed += 1;
        }
    }
    misses.iter().for_each(|miss| println!("{miss}"));
    println!("{passed} passed, {failed} failed");
    if failed == 0 && passed > 0 {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// Every file of the folder except notes in Markdown, in order of name.
fn json_files(folder: &Path) -> Result<Vec<PathBuf>, String> {
    let unreadable = |e: std::io::Error| format!("{}: {e}", folder.display());
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if path.is_file() && path.extension().is_none_or(|e| e != "md") {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

fn run_file(path: &Path, name: &str) -> Tally {
    let mut tally = Tally::default();
    let mut fail = |sentence: String| {
        tally.failed += 1;
        tally.misses.push(format!("{name}: {sentence}"));
    };
    let Some((_, method)) = files::METHODS.iter().find(|m| m.0 == name) else {
        fail("no method answers this file".into());
        return tally;
    };
    let cases = std::fs::read_to_string(path).map_err(|e| e.to_string());
    let cases = cases.and_then(|text| serde_json::from_str(&text).map_err(|e| e.to_string()));
    let cases: Vec<Value> = match cases {
        Ok(cases) => cases,
        Err(sentence) => {
            fail(sentence);
            return tally;
        }
    };
    if cases.is_empty() {
        fail("no case was run".into());
    }
    for (index, case) in cases.iter().enumerate() {
        tally.run += 1;
        let label = case.get("id").and_then(Value::as_str).unwrap_or("unnamed");
        let outcome = compare::run_case(case, *method);
        tally.worst = tally.worst.max(outcome.worst);
        if !outcome.misses.is_empty() {
            tally.failed += 1;
            let told = outcome
                .misses
                .iter()
                .map(|m| format!("{name} #{index} {label}: {m}"));
            tally.misses.extend(told);
        }
    }
    tally
}
