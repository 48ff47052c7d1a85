//! The container's description: its syntax, and what it must say. The engine itself is not run
//! here.

use serde_norway::Value;

fn compose() -> Value {
    let text = include_str!("../../docker-compose.yml");
    serde_norway::from_str(text).expect("it is YAML")
}

#[test]
fn the_service_is_built_here_and_runs_with_little_to_break() {
    let compose = compose();
    let service = &compose["services"]["overwinter"];
    assert_eq!(service["read_only"], Value::Bool(true));
    let user = service["user"].as_str().expect("a user");
    assert!(
        !user.is_empty() && !user.starts_with('0') && user != "root",
        "{user}"
    );
    assert_eq!(service["cap_drop"][0], "ALL");
    assert_eq!(service["security_opt"][0], "no-new-privileges:true");
    let volume = service["volumes"][0].as_str().expect("a volume");
    let (name, path) = volume.split_once(':').expect("a name and a path");
    assert!(
        compose["volumes"].get(name).is_some(),
        "{name} is not declared"
    );
    assert_eq!(service["environment"]["OVERWINTER_DATA"], path);
}

#[test]
fn the_health_check_asks_our_own_command() {
    let test = compose()["services"]["overwinter"]["healthcheck"]["test"].clone();
    let words: Vec<_> = test
        .as_sequence()
        .expect("a list")
        .iter()
        .map(|w| w.as_str())
        .collect();
    assert_eq!(words, [Some("CMD"), Some("overwinter"), Some("health")]);
}

#[test]
fn the_image_is_built_in_two_stages_and_ends_without_the_compiler() {
    let compose = compose();
    let text = compose["services"]["overwinter"]["build"]["dockerfile_inline"].as_str();
    let text = text.expect("an inline file");
    let stages: Vec<&str> = text
        .lines()
        .filter(|line| line.starts_with("FROM "))
        .collect();
    assert_eq!(stages.len(), 2, "{stages:?}");
    assert!(
        stages[0].contains("rust:") && stages[0].ends_with(" AS build"),
        "{stages:?}"
    );
    assert!(
        stages[1].contains("debian:") && stages[1].contains("slim"),
        "{stages:?}"
    );
    // The same Debian on both sides, or the C library of the one may be newer than the other's.
    let release = |stage: &str| {
        ["trixie", "bookworm"]
            .into_iter()
            .find(|name| stage.contains(name))
    };
    assert!(
        release(stages[0]).is_some() && release(stages[0]) == release(stages[1]),
        "{stages:?}"
    );
    let manifest = include_str!("../../Cargo.toml");
    let (_, needed) = manifest
        .split_once("rust-version = \"")
        .expect("a rust-version");
    let needed = needed.split('"').next().expect("a version");
    let used = stages[0]
        .trim_start_matches("FROM rust:")
        .split('-')
        .next()
        .expect("a version");
    let number = |version: &str| {
        version
            .split('.')
            .map(|part| part.parse::<u32>().expect("a number"))
            .collect::<Vec<_>>()
    };
    assert!(
        number(used) >= number(needed),
        "built with {used}, which is older than {needed}"
    );
    assert!(
        text.lines().any(|line| line.starts_with("USER ")),
        "it runs as root"
    );
    assert!(text.contains("--locked"), "it builds what was tested");
}

#[test]
fn the_replica_is_optional_and_streams_the_database_of_the_same_volume() {
    let compose = compose();
    let (server, replica) = (
        &compose["services"]["overwinter"],
        &compose["services"]["replica"],
    );
    assert!(
        server.get("profiles").is_none(),
        "the server itself always starts"
    );
    assert_eq!(replica["profiles"][0], "replica");
    assert_eq!(replica["volumes"], server["volumes"]);
    // SQLite's files belong to the one who made them.
    assert_eq!(replica["user"], server["user"]);
    assert_eq!(replica["cap_drop"][0], "ALL");
    let database = replica["command"][1].as_str().expect("a database");
    let folder = server["environment"]["OVERWINTER_DATA"].as_str();
    let file = overwinter::store::DATABASE_FILE;
    assert_eq!(
        Some(database),
        folder.map(|at| format!("{at}/{file}")).as_deref()
    );
    let image = replica["image"].as_str().expect("an image");
    assert!(!image.contains("latest") && image.contains(':'), "{image}");
    for secret in ["LITESTREAM_ACCESS_KEY_ID", "LITESTREAM_SECRET_ACCESS_KEY"] {
        let value = replica["environment"][secret].as_str().expect("a variable");
        assert!(value.starts_with("${OVERWINTER_REPLICA_"), "{value}");
    }
}
