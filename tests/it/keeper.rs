//! The keeper's commands against the real binary: one server per folder, no database from the
//! future, accounts beside a running server, health, stopping without losing what was accepted.

use crate::house::{ChildServer, overwinter, run_sql};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::Output;
use std::time::Duration;
use tempfile::TempDir;

fn said(output: &Output) -> String {
    let both = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
    String::from_utf8_lossy(&both).into_owned()
}

fn data(folder: &TempDir) -> std::path::PathBuf {
    folder.path().join("data")
}

/// The arguments with the data folder behind them.
fn on(folder: &Path, arguments: &[&str]) -> Output {
    let folder = folder.to_str().unwrap();
    overwinter(&[arguments, &["--data", folder]].concat())
}

#[tokio::test]
async fn the_first_run_through_the_real_binary_with_the_code_from_its_terminal() {
    let folder = TempDir::new().unwrap();
    let server = ChildServer::start(&data(&folder));
    let fields = [
        ("code", server.code()),
        ("display_name", "Ada K."),
        ("name", "ada"),
        ("password", "long enough a word"),
    ];
    let ada = server.stranger();
    ada.submit("/first-run", &fields)
        .await
        .redirects_to("/desk");
    ada.open("/account").await.ok();
    server.kill();
    let server = ChildServer::start(&data(&folder));
    assert!(
        !server.greeting.contains("one-time code"),
        "{}",
        server.greeting
    );
    server
        .stranger()
        .sign_in("ada", "long enough a word")
        .await
        .redirects_to("/desk");
}

#[tokio::test]
async fn a_folder_that_a_server_holds_is_refused_in_one_line() {
    let folder = TempDir::new().unwrap();
    let server = ChildServer::start(&data(&folder));
    let second = on(&data(&folder), &["serve", "--listen", "127.0.0.1:0"]);
    assert!(!second.status.success());
    let line = said(&second);
    assert!(
        line.contains("is held by another running overwinter"),
        "{line}"
    );
    assert_eq!(line.trim().lines().count(), 1, "{line}");
    server.kill();
    ChildServer::start(&data(&folder))
        .stranger()
        .open("/healthz")
        .await
        .ok();
}

#[tokio::test]
async fn a_database_from_a_newer_version_is_refused_and_left_as_it_was() {
    let folder = TempDir::new().unwrap();
    ChildServer::start(&data(&folder)).kill();
    let database = data(&folder).join("overwinter.db");
    let from_the_future = "insert into _sqlx_migrations
        (version, description, success, checksum, execution_time)
        values (9999, 'from the future', true, x'00', 0)";
    run_sql(&database, from_the_future).await;
    let before = std::fs::read(&database).unwrap();
    for arguments in [
        ["serve", "--listen", "127.0.0.1:0"].as_slice(),
        ["account", "list"].as_slice(),
    ] {
        let refused = on(&data(&folder), arguments);
        assert!(!refused.status.success());
        let line = said(&refused);
        assert!(line.contains("written by a newer overwinter"), "{line}");
        assert!(line.contains("9999"), "{line}");
    }
    assert_eq!(std::fs::read(&database).unwrap(), before);
}

#[tokio::test]
async fn accounts_are_made_reset_and_closed_beside_a_running_server() {
    let folder = TempDir::new().unwrap();
    let folder = data(&folder);
    let server = ChildServer::start(&folder);
    let added = on(
        &folder,
        &["account", "add", "ada", "--display-name", "Ada K."],
    );
    let first = password_in(&said(&added));
    let ada = server.stranger();
    ada.sign_in("ada", &first).await.redirects_to("/desk");

    let again = on(&folder, &["account", "add", "ada"]);
    assert!(!again.status.success() && said(&again).contains("is taken"));

    let second = password_in(&said(&on(&folder, &["account", "reset", "ada"])));
    ada.open("/account").await.is(303);
    ada.sign_in("ada", &first).await.refused();
    ada.sign_in("ada", &second).await.redirects_to("/desk");

    assert!(on(&folder, &["account", "close", "ada"]).status.success());
    ada.open("/account").await.is(303);
    ada.sign_in("ada", &second).await.refused();
    let listed = said(&on(&folder, &["account", "list"]));
    assert!(
        listed.contains("Ada K.") && listed.contains("closed"),
        "{listed}"
    );
    assert!(
        !on(&folder, &["account", "close", "nobody"])
            .status
            .success()
    );
}

fn password_in(said: &str) -> String {
    let (_, rest) = said
        .split_once("shown only now: ")
        .unwrap_or_else(|| panic!("{said}"));
    rest.trim().to_owned()
}

#[test]
fn a_command_beside_no_database_says_so() {
    let folder = TempDir::new().unwrap();
    let refused = on(&data(&folder), &["account", "list"]);
    assert!(!refused.status.success());
    assert!(
        said(&refused).contains("there is no database at"),
        "{}",
        said(&refused)
    );
    assert!(!data(&folder).exists(), "and makes nothing");
}

#[tokio::test]
async fn health_succeeds_while_the_server_runs_and_fails_afterwards() {
    let folder = TempDir::new().unwrap();
    let server = ChildServer::start(&data(&folder));
    let address = server.address().to_owned();
    assert_eq!(server.stranger().open("/healthz").await.ok().body(), "ok\n");
    assert!(
        overwinter(&["health", "--listen", &address])
            .status
            .success()
    );
    // A slim container has no certificates, and needs none to ask itself.
    let bare = std::process::Command::new(env!("CARGO_BIN_EXE_overwinter"))
        .args(["health", "--listen", &address])
        .envs([("SSL_CERT_FILE", "/nowhere"), ("SSL_CERT_DIR", "/nowhere")])
        .output()
        .expect("it runs");
    assert!(bare.status.success(), "{}", said(&bare));
    server.kill();
    let refused = overwinter(&["health", "--listen", &address]);
    assert!(!refused.status.success());
    assert!(
        said(&refused).contains("no server answers"),
        "{}",
        said(&refused)
    );
}

#[test]
fn a_stopping_server_finishes_the_request_it_has_accepted() {
    let folder = TempDir::new().unwrap();
    let mut server = ChildServer::start(&data(&folder));
    let body = "name=ada&password=not+the+password";
    let mut line = TcpStream::connect(server.address()).unwrap();
    write!(
        line,
        "POST /sign-in HTTP/1.1\r\nHost: {}\r\nContent-Length: {}\r\nContent-Type: \
         application/x-www-form-urlencoded\r\n\r\n{}",
        server.address(),
        body.len(),
        &body[..10]
    )
    .unwrap();
    // Half of it is on its way when the server is told to stop.
    std::thread::sleep(Duration::from_millis(300));
    server.tell_to_stop();
    std::thread::sleep(Duration::from_millis(300));
    assert!(
        TcpStream::connect(server.address()).is_err(),
        "nothing new is accepted"
    );
    line.write_all(&body.as_bytes()[10..]).unwrap();
    let mut answer = String::new();
    line.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 422"), "{answer}");
    assert!(
        answer.ends_with("</html>\n") || answer.ends_with("</html>"),
        "{answer}"
    );
    assert!(server.wait(), "it ended well");
}

#[test]
fn help_names_every_setting_and_its_environment_variable() {
    let help = said(&overwinter(&["serve", "--help"]));
    for setting in ["data", "listen", "public-url", "trusted-proxy", "log"] {
        let variable = setting.to_uppercase().replace('-', "_");
        assert!(help.contains(&format!("--{setting}")), "{help}");
        assert!(help.contains(&format!("OVERWINTER_{variable}")), "{help}");
    }
}

#[test]
fn the_log_names_routes_and_never_paths() {
    let folder = TempDir::new().unwrap();
    let server = ChildServer::start(&data(&folder));
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let secret = "5ec12e7".repeat(9);
    let path = format!("/lab/{secret}/enter/{secret}");
    runtime.block_on(server.stranger().open(&path)).is(404);
    server.kill();
    let log = std::fs::read_to_string(data(&folder).with_extension("log")).unwrap();
    assert!(log.contains("lab-door"), "{log}");
    assert!(!log.contains(&secret[..14]), "{log}");
}
