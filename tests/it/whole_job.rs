//! The whole job over HTTP, once through on real parts: keeper, steward, tester and reader against the
//! real binary with a database of its own, from the first run to the published edition, by forms and
//! links alone. The numbers are a published example, so that the page can be held against them.

mod example;
mod reader;
mod round;
mod steward;
mod tester;

use crate::house::{ChildServer, PASSWORD, Visit, overwinter};
use example::Example;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

const SLUG: &str = "shelf-clips";

/// What the people know as the story goes on.
struct Job {
    example: Example,
    /// The piece whose width nobody read before it went out.
    unread: String,
    /// Every piece's condition, as the steward's pages tell it.
    places: BTreeMap<String, String>,
    /// The load that each piece carries, by the steward's code.
    loads: BTreeMap<String, f64>,
}

#[tokio::test]
async fn from_the_first_run_to_the_published_edition() {
    let folder = TempDir::new().unwrap();
    let data = folder.path().join("data");
    let server = ChildServer::start(&data);
    let mut job = Job {
        example: Example::blood_counts(),
        unread: String::new(),
        places: BTreeMap::new(),
        loads: BTreeMap::new(),
    };

    let mut steward = keeper_makes_the_first_account(&server).await;
    steward::opens_and_plans(&mut steward, &job.example).await;
    steward::adds_instruments(&mut steward).await;
    steward::registers(&mut steward, &job).await;
    round::measures(&mut steward, &mut job).await;
    steward::allocates(&mut steward, &mut job).await;
    let seal = steward::seals(&mut steward).await;
    steward::makes_public(&mut steward).await;
    reader::sees_the_plan_and_nothing_else(&server, &job).await;
    steward::puts_out(&mut steward, &job).await;
    steward::takes_in(&mut steward, &job).await;
    round::measures_again(&mut steward, &job).await;
    let (link, key) = steward::consigns(&mut steward, &job).await;

    let receipt = tester::works(&server, &link, &key, &job).await;

    steward::sees_counts_only(&mut steward, &job).await;
    steward::unblinds_and_publishes(&mut steward, &job).await;
    let edition = reader::reads(&server, &job).await;

    let notes = [
        ("seal.txt", seal),
        ("receipt.txt", receipt),
        ("index.html", edition),
    ];
    let notes = notes.map(|(name, text)| kept(folder.path(), name, &text));
    keeper_proves_it(&data, &notes);
    server.kill();
    keeper_proves_it(&data, &notes);
}

async fn keeper_makes_the_first_account(server: &ChildServer) -> Visit {
    let mut visit = Visit::begin(server.stranger(), &server.base, "/").await;
    visit.follow("Make the first account").await;
    visit
        .send("main form", |form| {
            form.with("code", "AAAA-AAAA-AAAA")
                .with("display_name", "Ragna")
                .with("name", "ragna")
                .with("password", PASSWORD)
        })
        .await;
    visit.page().refused();
    visit
        .send("main form", |form| {
            form.with("code", server.code()).with("password", PASSWORD)
        })
        .await
        .done();
    assert_eq!(visit.path(), "/desk");
    Visit::begin(server.stranger(), &server.base, "/first-run")
        .await
        .page()
        .is(404);
    visit
}

/// Keeps a text as a file outside the server.
fn kept(folder: &Path, name: &str, text: &str) -> PathBuf {
    let file = folder.join(name);
    std::fs::write(&file, text).expect("is written");
    file
}

/// `verify` on the folder and on a copy, by itself and against every line noted elsewhere.
fn keeper_proves_it(data: &Path, notes: &[PathBuf]) {
    let run = |arguments: &[&str], folder: &Path| {
        let folder = folder.to_str().expect("a plain path");
        let output = overwinter(&[arguments, &["--data", folder]].concat());
        let said = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
        let said = String::from_utf8_lossy(&said).into_owned();
        assert!(output.status.success(), "{arguments:?}: {said}");
        said
    };
    let against: Vec<&str> = notes
        .iter()
        .flat_map(|file| ["--against", file.to_str().expect("a plain path")])
        .collect();
    let verify = [&["verify"], against.as_slice()].concat();
    assert!(run(&["verify"], data).contains("No head noted elsewhere"));
    assert!(run(&verify, data).contains("3 heads noted elsewhere were looked up"));

    let away = TempDir::new().expect("a folder");
    let (copy, other) = (away.path().join("copy.db"), away.path().join("data"));
    run(&["backup", copy.to_str().expect("a plain path")], data);
    run(&["restore", copy.to_str().expect("a plain path")], &other);
    assert!(run(&verify, &other).contains("Everything fits"));
}
