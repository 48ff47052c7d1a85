//! A copy made while the server writes, and putting it back.

use crate::house::{ChildServer, overwinter, run_sql};
use std::path::Path;
use std::process::Output;
use tempfile::TempDir;

fn said(output: &Output) -> String {
    let both = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
    String::from_utf8_lossy(&both).into_owned()
}

fn run(arguments: &[&str], data: &Path) -> Output {
    overwinter(&[arguments, &["--data", data.to_str().unwrap()]].concat())
}

fn accounts(data: &Path) -> String {
    said(&run(&["account", "list"], data))
}

fn added(name: &str, data: &Path) {
    let output = run(&["account", "add", name], data);
    assert!(output.status.success(), "{}", said(&output));
}

#[test]
fn a_copy_taken_beside_a_running_server_holds_what_was_there_then() {
    let folder = TempDir::new().unwrap();
    let (data, copy) = (folder.path().join("data"), folder.path().join("copy.db"));
    let server = ChildServer::start(&data);
    added("before", &data);
    let made = run(&["backup", copy.to_str().unwrap()], &data);
    assert!(made.status.success(), "{}", said(&made));
    added("after", &data);
    let again = run(&["backup", copy.to_str().unwrap()], &data);
    assert!(
        !again.status.success(),
        "an earlier copy is not overwritten"
    );

    let held = run(&["restore", "--overwrite", copy.to_str().unwrap()], &data);
    assert!(
        !held.status.success() && said(&held).contains("is held by another"),
        "{}",
        said(&held)
    );
    server.kill();

    let refused = run(&["restore", copy.to_str().unwrap()], &data);
    assert!(!refused.status.success() && said(&refused).contains("--overwrite"));
    assert!(accounts(&data).contains("after"), "nothing was changed");

    let done = run(&["restore", "--overwrite", copy.to_str().unwrap()], &data);
    assert!(done.status.success(), "{}", said(&done));
    let now = accounts(&data);
    assert!(now.contains("before") && !now.contains("after"), "{now}");
    let kept = data.join("overwinter.db.before-restore-1");
    assert!(
        said(&done).contains(kept.to_str().unwrap()),
        "{}",
        said(&done)
    );
    let old = folder.path().join("old");
    std::fs::create_dir(&old).unwrap();
    assert!(
        run(&["restore", kept.to_str().unwrap()], &old)
            .status
            .success()
    );
    assert!(accounts(&old).contains("after"), "the old one is whole");
}

#[test]
fn the_log_of_a_killed_server_is_not_read_into_the_restored_database() {
    let folder = TempDir::new().unwrap();
    let (data, copy) = (folder.path().join("data"), folder.path().join("copy.db"));
    let server = ChildServer::start(&data);
    added("before", &data);
    assert!(
        run(&["backup", copy.to_str().unwrap()], &data)
            .status
            .success()
    );
    added("after", &data);
    server.kill();
    let log = std::fs::metadata(data.join("overwinter.db-wal")).expect("a log was left");
    assert!(log.len() > 0, "the kill left something in it");
    let done = run(&["restore", "--overwrite", copy.to_str().unwrap()], &data);
    assert!(done.status.success(), "{}", said(&done));
    let now = accounts(&data);
    assert!(now.contains("before") && !now.contains("after"), "{now}");
}

#[test]
fn a_restored_copy_serves() {
    let folder = TempDir::new().unwrap();
    let (data, fresh) = (folder.path().join("data"), folder.path().join("fresh"));
    ChildServer::start(&data).kill();
    added("ada", &data);
    let copies = folder.path().join("copies");
    std::fs::create_dir(&copies).unwrap();
    assert!(
        run(&["backup", copies.to_str().unwrap()], &data)
            .status
            .success()
    );
    let copy = std::fs::read_dir(&copies)
        .unwrap()
        .next()
        .unwrap()
        .unwrap()
        .path();
    assert!(
        run(&["restore", copy.to_str().unwrap()], &fresh)
            .status
            .success()
    );
    let server = ChildServer::start(&fresh);
    assert!(
        !server.greeting.contains("one-time code"),
        "the account came with it"
    );
}

#[tokio::test]
async fn what_is_no_sound_database_of_ours_is_not_restored() {
    let folder = TempDir::new().unwrap();
    let (data, copy) = (folder.path().join("data"), folder.path().join("copy.db"));
    ChildServer::start(&data).kill();
    added("ada", &data);
    assert!(
        run(&["backup", copy.to_str().unwrap()], &data)
            .status
            .success()
    );

    let text = folder.path().join("text.db");
    std::fs::write(
        &text,
        "not a database at all, but long enough to have a header of 100 bytes. \
                           It goes on for a while, and then it ends here.",
    )
    .unwrap();
    let torn = folder.path().join("torn.db");
    let whole = std::fs::read(&copy).unwrap();
    std::fs::write(&torn, &whole[..whole.len() / 2]).unwrap();
    let foreign = folder.path().join("foreign.db");
    std::fs::copy(&copy, &foreign).unwrap();
    run_sql(&foreign, "pragma application_id = 7").await;
    let missing = folder.path().join("missing.db");
    for wrong in [&text, &torn, &foreign, &missing] {
        let refused = run(&["restore", "--overwrite", wrong.to_str().unwrap()], &data);
        assert!(!refused.status.success(), "{}", wrong.display());
        assert!(accounts(&data).contains("ada"), "{}", wrong.display());
    }
    let names: Vec<_> = std::fs::read_dir(&data)
        .unwrap()
        .map(|f| f.unwrap().file_name())
        .collect();
    assert!(
        !names
            .iter()
            .any(|name| name.to_string_lossy().contains("before-restore")),
        "{names:?}"
    );
}
