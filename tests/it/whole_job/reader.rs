//! The reader's part: the public pages and the data.

use super::example::{CONDITIONS, RATIO_CRITICAL, RATIOS};
use super::{Job, SLUG};
use crate::house::{ChildServer, Visit};

/// Before there are results: the question and the seal, and no piece's place.
pub async fn sees_the_plan_and_nothing_else(server: &ChildServer, job: &Job) {
    let mut visit = Visit::begin(server.stranger(), &server.base, "/").await;
    visit.follow("Shelf clips").await.done();
    let page = visit.page().body();
    assert!(page.contains("Do the clips carry less"));
    assert_eq!(
        visit.page().text("code.hash").len(),
        64,
        "the plan's SHA-256"
    );
    assert!(page.contains("notice board"), "the witness is named");
    for code in job.loads.keys() {
        assert!(!page.contains(code), "{code} shows");
    }
    visit.follow("plan.json").await.done();
    visit.go(&format!("/studies/{SLUG}/editions/1/")).await;
    visit.page().is(404);
}

/// Reads the edition and its data against the published numbers; gives the page back to be kept.
pub async fn reads(server: &ChildServer, job: &Job) -> String {
    let mut visit = Visit::begin(server.stranger(), &server.base, "/").await;
    visit.follow("Shelf clips").await.done();
    if !visit.path().contains("/editions/1/") {
        visit.go(&format!("/studies/{SLUG}/editions/1/")).await;
    }
    let page = visit.page().ok().clone();
    page_says_the_published_limits(&page.texts("#decides ~ .wide tbody tr"), job);
    answers_in_words(&page.texts("p.verdict"));
    let sizes: Vec<String> = job
        .example
        .loads
        .iter()
        .map(|loads| loads.len().to_string())
        .collect();
    let first_table = "#groups ~ .wide:first-of-type tbody tr";
    assert_eq!(
        page.texts(&format!("{first_table} td:nth-of-type(1)")),
        sizes
    );
    assert_eq!(
        page.texts("figure svg").len().min(1),
        1,
        "a figure drawn by the server"
    );
    let body = page.body();
    for words in [
        "battery was flat",
        "one place too far right",
        "15 allocated and 1 rejected before the allocation",
    ] {
        assert!(body.contains(words), "{words} is not accounted for");
    }
    let scripts = body.matches("<script").count();
    let data = body
        .matches("<script type=\"application/ld+json\">")
        .count();
    assert_eq!(scripts, data, "the page needs no scripts");
    visit.follow("comparisons.csv").await;
    comparisons_hold_the_reference(&rows(&visit.page().ok().bytes), job);
    visit.go("./").await.follow("specimens.csv").await;
    specimens_hold_what_was_typed(&rows(&visit.page().ok().bytes), job);
    visit.go("./").await.follow("data.zip").await;
    let recomputed = crate::archive::recomputes(&visit.page().ok().bytes);
    assert!(recomputed.contains("0 differ"), "{recomputed}");
    body
}

/// The answer, by the ratio and its limits in [`RATIOS`]: the second condition excludes no change and
/// reaches into the margin, the first holds no change and both sides of the margin.
fn answers_in_words(verdicts: &[String]) {
    let [first, second] = verdicts else {
        panic!("one sentence for each condition, not {verdicts:?}");
    };
    for words in [
        "4 clips",
        "8 % more load",
        "(95 % interval 14 % less to 34 % more). Not settled",
    ] {
        assert!(first.contains(words), "{words}: {first}");
    }
    for words in [
        "5 clips",
        "32 % more load",
        "(95 % interval 9 to 60 % more). Changed",
    ] {
        assert!(second.contains(words), "{words}: {second}");
    }
}

/// The difference limits to the digits that are printed.
fn page_says_the_published_limits(lines: &[String], job: &Job) {
    assert_eq!(lines.len(), 2, "{lines:?}");
    for ((line, expected), name) in lines
        .iter()
        .zip(&job.example.expected)
        .zip(&CONDITIONS[1..])
    {
        assert!(line.starts_with(name), "{line}");
        for field in ["diff", "ci_two_lower", "ci_two_upper"] {
            let value = expected[field].as_f64().expect("a number");
            let shown = format!("{value:.2}").replace('-', "−");
            assert!(line.contains(&shown), "{field} {shown} is not in {line}");
        }
    }
}

type Row = std::collections::BTreeMap<String, String>;

fn rows(bytes: &[u8]) -> Vec<Row> {
    let mut reader = csv::Reader::from_reader(bytes);
    reader
        .deserialize()
        .map(|row| row.expect("a row"))
        .collect()
}

#[track_caller]
fn near(row: &Row, column: &str, expected: f64) {
    let found: f64 = row[column].parse().expect("a number");
    let away = (found - expected).abs() / expected.abs().max(1e-9);
    assert!(away < 1e-8, "{column}: {found} is not {expected}");
}

/// Every figure of the deciding comparisons to 1e-8 (the tolerance that the reference states).
fn comparisons_hold_the_reference(rows: &[Row], job: &Job) {
    let decide: Vec<&Row> = rows.iter().filter(|row| row["rank"] == "primary").collect();
    assert_eq!(decide.len(), 2);
    for (at, row) in decide.into_iter().enumerate() {
        assert_eq!(row["condition"], CONDITIONS[at + 1]);
        assert_eq!(row["spreads"], "pooled");
        assert_eq!(row["unit_of_replication"], "pieces");
        assert_eq!(row["pieces"], job.example.loads[at + 1].len().to_string());
        assert_eq!(
            row["reference_pieces"],
            job.example.loads[0].len().to_string()
        );
        near(row, "difference_critical", job.example.critical);
        near(row, "difference_df", job.example.df);
        for (column, field) in [
            ("difference", "diff"),
            ("difference_se", "se"),
            ("difference_t", "t"),
            ("difference_lower", "ci_two_lower"),
            ("difference_upper", "ci_two_upper"),
        ] {
            let expected = job.example.expected[at][field].as_f64();
            near(row, column, expected.expect("a number"));
        }
        near(row, "ratio", RATIOS[at][0]);
        near(row, "ratio_lower", RATIOS[at][1]);
        near(row, "ratio_upper", RATIOS[at][2]);
        near(row, "ratio_critical", RATIO_CRITICAL);
    }
}

/// Each piece carries what was typed for it under its blind code.
fn specimens_hold_what_was_typed(rows: &[Row], job: &Job) {
    let tested: Vec<&Row> = rows
        .iter()
        .filter(|row| !row["max_load_n"].is_empty())
        .collect();
    assert_eq!(tested.len(), job.example.pieces());
    for row in tested {
        let load: f64 = row["max_load_n"].parse().expect("a number");
        assert_eq!(load, job.loads[&row["specimen"]], "{}", row["specimen"]);
        assert!(job.places[&row["specimen"]].contains(&row["condition"]));
        assert_eq!(row["outcome"], "valid");
    }
}
