//! `overwinter analyse` and `overwinter plan` by the real binary: an edition's own files give the findings
//! of its page, wrong files are told all at once, and the page stands alone.

use crate::findings_schema::Schema;
use crate::house::ChildServer;
use crate::house::child::overwinter;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;
use tempfile::TempDir;

fn fixture(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/studies");
    folder.join(name).to_string_lossy().into_owned()
}

fn said(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("text")
}

fn complained(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).expect("text")
}

fn write(folder: &TempDir, name: &str, text: &str) -> PathBuf {
    let path = folder.path().join(name);
    fs::write(&path, text).expect("written");
    path
}

/// What a file cannot tell, or tells otherwise; everything else must be the same, number by number.
const NOT_IN_THE_FILE: [&str; 4] = [
    // The journal's head against the file's hash; the margin's origin; sessions and machines.
    "study", "notes", "answer", "sessions",
];

/// Takes out of the findings what the file does not hold: instruments and repeats behind each mean, and
/// pieces that never belonged to a set.
fn comparable(findings: &mut Value) {
    for key in NOT_IN_THE_FILE {
        findings.as_object_mut().unwrap().remove(key);
    }
    for count in ["made", "rejected", "spares", "unallocated"] {
        findings["accounting"]
            .as_object_mut()
            .unwrap()
            .remove(count);
    }
    for piece in findings["specimens"].as_array_mut().unwrap() {
        for pair in piece["pairs"].as_array_mut().unwrap() {
            for when in ["before", "after"] {
                if let Some(measured) = pair[when].as_object_mut() {
                    for key in ["readings", "readability", "uncertainty", "instrument"] {
                        measured.remove(key);
                    }
                }
            }
        }
    }
}

/// The words of the answer, without where the margin comes from.
fn answer(findings: &Value) -> String {
    let mut text = String::new();
    for sentence in findings["answer"].as_array().unwrap() {
        for span in sentence.as_array().unwrap() {
            text.push_str(span["text"].as_str().unwrap());
        }
        text.push('\n');
    }
    text.replace("given with the file", "set beforehand")
}

#[tokio::test]
async fn an_editions_file_gives_the_findings_of_its_page() {
    let folder = TempDir::new().unwrap();
    let demo = ChildServer::demo(&folder.path().join("demo"));
    let reader = demo.stranger();
    let at = "/studies/fleece-pegs/editions/1/";
    let page = reader.open(at).await.ok().body();
    let file = async |name: &str| reader.open(&format!("{at}{name}")).await.ok().body();
    // The plan that holds: the last amendment, or the sealed one.
    let holds = (2..20).rev().map(|n| format!("plan-{n}.json"));
    let holds = holds.into_iter().find(|name| page.contains(name.as_str()));
    let holds = holds.unwrap_or_else(|| "plan.json".to_owned());
    let plan = write(&folder, &holds, &file(&holds).await);
    let data = write(&folder, "specimens.csv", &file("specimens.csv").await);
    let mut published: Value = serde_json::from_str(&file("findings.json").await).unwrap();
    assert_eq!(Schema::new().faults(&published), "");
    let arguments = [
        "analyse",
        data.to_str().unwrap(),
        "--json",
        "--plan",
        plan.to_str().unwrap(),
    ];
    let output = overwinter(&arguments);
    assert_eq!(output.status.code(), Some(0), "{}", complained(&output));
    let mut found: Value = serde_json::from_str(&said(&output)).unwrap();
    assert!(published["primary"]["judged"].as_array().unwrap().len() > 1);
    assert_eq!(answer(&found), answer(&published));
    // Sets that are still out: the file has none of their pieces, the page their number.
    let cells = published["accounting"]["cells"].as_array().unwrap().clone();
    for (at, cell) in cells
        .iter()
        .enumerate()
        .filter(|(_, cell)| cell["closed"] != 0)
    {
        for key in ["allocated", "put_out", "closed"] {
            found["accounting"]["cells"][at][key] = cell[key].clone();
        }
    }
    // What the design can see takes a second; a page may leave it out, the command never does.
    for key in ["rule", "rule_found"] {
        if published[key].is_null() {
            found[key] = Value::Null;
        }
    }
    comparable(&mut published);
    comparable(&mut found);
    for (key, of_page) in published.as_object().unwrap() {
        assert_eq!(&found[key], of_page, "{key}");
    }
    assert_eq!(
        found.as_object().unwrap().len(),
        published.as_object().unwrap().len()
    );
}

#[test]
fn a_wrong_file_is_told_all_at_once_and_nothing_is_written() {
    let folder = TempDir::new().unwrap();
    let data = write(
        &folder,
        "data.csv",
        "specimen,condition,role,stage_days,max_load_n\nA,c,stored,9,3\nB,c,exposed,nine,x\n",
    );
    let page = folder.path().join("page.html");
    let output = overwinter(&[
        "analyse",
        data.to_str().unwrap(),
        "--html",
        page.to_str().unwrap(),
    ]);
    let told = complained(&output);
    assert_eq!(output.status.code(), Some(3), "{told}");
    for place in [
        "line 2, column 3 (role)",
        "line 3, column 4 (stage_days)",
        "line 3, column 5 (max_load_n)",
    ] {
        assert!(told.contains(place), "{place} {told}");
    }
    assert!(output.stdout.is_empty() && !page.exists());
}

#[test]
fn the_exit_code_tells_what_is_wrong() {
    let folder = TempDir::new().unwrap();
    let data = fixture("plant_growth.csv");
    let code = |arguments: &[&str]| overwinter(arguments).status.code();
    let none = folder.path().join("none.csv");
    assert_eq!(code(&["analyse", &data]), Some(0));
    assert_eq!(code(&["analyse", none.to_str().unwrap()]), Some(1));
    assert_eq!(code(&["analyse", &data, "--spreads", "own"]), Some(2));
    assert_eq!(
        code(&["analyse", &data, "--margin", "-3"]),
        Some(2),
        "clap takes it for an option"
    );
    assert_eq!(code(&["analyse", &data, "--margin=-3"]), Some(3));
    let slip = write(&folder, "plan.toml", "primry = \"max_load\"\n");
    let output = overwinter(&["analyse", &data, "--plan", slip.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(3));
    assert!(
        complained(&output).contains("line 1"),
        "{}",
        complained(&output)
    );
    let half = write(&folder, "plan.json", "{\"question\": \"?\"}");
    assert_eq!(
        code(&["analyse", &data, "--plan", half.to_str().unwrap()]),
        Some(3)
    );
    assert_eq!(
        code(&["plan", "--cv", "5", "--pieces", "2", "--growth", "1"]),
        Some(0)
    );
    assert_eq!(code(&["plan"]), Some(2));
    assert_eq!(code(&["plan", "--cv", "5", "--pieces", "1"]), Some(3));
}

#[test]
fn the_page_stands_alone_and_the_data_are_never_written_over() {
    let folder = TempDir::new().unwrap();
    let data = write(
        &folder,
        "my study.csv",
        &fs::read_to_string(fixture("unequal.csv")).unwrap(),
    );
    let page = folder.path().join("page.html");
    let write_to = |page: &Path| {
        let arguments = [
            "analyse",
            data.to_str().unwrap(),
            "--html",
            page.to_str().unwrap(),
        ];
        overwinter(&arguments)
    };
    let output = write_to(&page);
    assert_eq!(output.status.code(), Some(0), "{}", complained(&output));
    let html = fs::read_to_string(&page).unwrap();
    assert!(html.contains("<h1>my study</h1>") && html.contains("<svg class=\"chart\""));
    assert!(html.contains("Not for certifying, rating or approving"));
    for outside in [
        "<script",
        "src=\"",
        "href=\"http",
        "href=\"edition.css",
        "href=\"specimens.csv",
    ] {
        assert!(!html.contains(outside), "{outside}");
    }
    let text = said(&output);
    let place = |words: &str| {
        text.find(words)
            .unwrap_or_else(|| panic!("{words} in {text}"))
    };
    assert!(
        place("After 365 days") < place("The comparison that decides"),
        "words first"
    );
    assert!(
        place("valid values only") < place("Each set by itself"),
        "three countings"
    );
    let output = write_to(&data);
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(
        fs::read(&data).unwrap(),
        fs::read(fixture("unequal.csv")).unwrap()
    );
}

#[test]
fn the_same_file_gives_the_same_bytes() {
    let data = fixture("holders.tsv");
    let json = || said(&overwinter(&["analyse", &data, "--json"]));
    assert_eq!(json(), json());
}

/// practice.md §3.5 (simulated there, pooled): three conditions, n 6, ±10 %: CV 5 % .63, CV 8 % .03.
#[test]
fn the_number_of_pieces_comes_as_a_table_and_as_json() {
    let ask = |cv: &str, more: &[&str]| {
        let mut arguments = vec![
            "plan",
            "--conditions",
            "3",
            "--pieces",
            "6",
            "--growth",
            "1",
            "--pooled",
            "--cv",
            cv,
        ];
        arguments.extend(more);
        said(&overwinter(&arguments))
    };
    for (cv, chance) in [("5", 0.63), ("8", 0.03)] {
        let found: Value = serde_json::from_str(&ask(cv, &["--json"])).unwrap();
        let line = &found["lines"][0];
        let unchanged = line["unchanged"]["unchanged"].as_f64().unwrap();
        assert!((unchanged - chance).abs() < 0.015, "{line}");
        assert_eq!(line["all_pieces"], 24);
        let text = ask(cv, &[]);
        let shown = format!("{:.0} %", unchanged * 100.0);
        assert!(text.contains(&shown), "{shown} {text}");
        assert_eq!(text.contains("hardly within reach"), chance < 0.2);
    }
}
