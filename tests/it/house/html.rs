//! Pages read by a checker of HTML that is not ours: html-validate, run by node. `tests/html` (called by
//! `tests/run`) fetches it.

use serde_json::Value;
use std::path::Path;
use std::process::Command;
use tempfile::TempDir;

/// What the standard asks, and that regions have names of their own. The checker's taste is left out.
const RULES: &str = r#"{ "root": true, "extends": ["html-validate:standard"],
    "rules": { "unique-landmark": "error", "no-redundant-role": "error", "wcag/h32": "error" } }"#;

/// What is wrong with these pages, given by their addresses: one line each.
///
/// # Panics
/// When the checker is not there or does not answer.
pub fn faults(pages: &[(String, String)]) -> Vec<String> {
    let folder = TempDir::new().expect("a folder");
    std::fs::write(folder.path().join(".htmlvalidate.json"), RULES).expect("it is written");
    for (at, (_, html)) in pages.iter().enumerate() {
        std::fs::write(folder.path().join(format!("{at}.html")), html).expect("it is written");
    }
    let there = Path::new(env!("CARGO_MANIFEST_DIR"));
    let there = there.join("target/npm-html/node_modules/html-validate/bin/html-validate.mjs");
    let said = Command::new("node")
        .arg(there)
        // Into a file: what node writes into a pipe may be cut off when it ends.
        .args(["--formatter", "json=found.json", "*.html"])
        .current_dir(folder.path())
        .output()
        .expect("node runs, and tests/html has fetched html-validate");
    let why = String::from_utf8_lossy(&said.stderr);
    let found = std::fs::read(folder.path().join("found.json"));
    let found = found.unwrap_or_else(|_| panic!("it says nothing: {why}"));
    let read: Value = serde_json::from_slice(&found).expect("JSON");
    let files = read.as_array().expect("a list");
    let of_file = |file: &Value| {
        let name = file["filePath"].as_str().unwrap_or_default();
        let name = Path::new(name).file_stem().unwrap_or_default();
        let number: usize = name.to_string_lossy().parse().expect("a number");
        let messages = file["messages"].as_array().cloned().unwrap_or_default();
        let line = move |message: Value| {
            let (rule, words) = (&message["ruleId"], &message["message"]);
            format!("{}:{}: {rule}: {words}", pages[number].0, message["line"])
        };
        messages.into_iter().map(line)
    };
    files.iter().flat_map(of_file).collect()
}
