//! The examples of the page for programs, run exactly as they are printed there: by a shell and by Python with
//! nothing but its standard library.

use crate::house::program::{Program, token};
use crate::house::ready::{Wanted, at_the_lab};
use crate::house::{TestServer, camera, told};
use overwinter::commands::demo::script::Script;
use overwinter::commands::demo::{PEGS, plan::plan};
use overwinter::study::code::Code;
use overwinter::study::entry::Entry;
use overwinter::study::entry::StudyStarted;
use overwinter::study::ids::{AccountId, InstrumentId};
use overwinter::study::reading::Instrument;
use overwinter::study::specimen::Made;
use overwinter::study::units::Dimension;
use scraper::{Html, Selector};
use serde_json::json;
use sha2::{Digest, Sha256};
use std::path::Path;
use std::process::{Command, Stdio};

/// An example as the page prints it.
async fn printed(server: &TestServer, name: &str) -> String {
    let page = server.stranger().open("/api").await;
    let html = Html::parse_document(&page.ok().body());
    let wanted = Selector::parse(&format!("#example-{name} code")).unwrap();
    let found = html
        .select(&wanted)
        .next()
        .expect("the example is on the page");
    found.text().collect()
}

/// Runs an example; what it printed.
async fn run(
    server: &TestServer,
    name: &str,
    folder: &Path,
    with: &[(&str, &str)],
    typed: &str,
) -> String {
    let example = printed(server, name).await;
    let is_python = example.starts_with("import ");
    let mut command = match is_python {
        true => Command::new("python3"),
        false => Command::new("bash"),
    };
    match is_python {
        // -I: nothing but the standard library.
        true => command.args(["-I", "-c", &example]),
        false => command.args(["-e", "-o", "pipefail", "-c", &example]),
    };
    let base = server.base.clone();
    command
        .current_dir(folder)
        .env("SERVER", base)
        .env("no_proxy", "*");
    command.envs(with.iter().copied());
    command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    let typed = typed.to_owned();
    let output = tokio::task::spawn_blocking(move || {
        use std::io::Write;
        let mut child = command.spawn().expect("it starts");
        child
            .stdin
            .take()
            .unwrap()
            .write_all(typed.as_bytes())
            .unwrap();
        child.wait_with_output().unwrap()
    });
    let output = output.await.unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let complaint = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{name}: {said}\n{complaint}");
    said
}

#[tokio::test(flavor = "multi_thread")]
async fn a_balance_sends_its_readings() {
    let server = TestServer::start().await;
    let steward = server.steward("ada").await;
    let account = server.app.store.find_account("ada").await.unwrap().unwrap();
    let started = StudyStarted {
        steward: AccountId(account.id),
        ..told::beginning(&server.app.clock)
    };
    let parts = (server.app.store.clone(), server.app.journal.clone());
    let script = Script::open(parts, server.app.clock.clone(), started)
        .await
        .unwrap();
    script
        .say(Entry::PlanWritten {
            plan: Box::new(plan()),
        })
        .await
        .unwrap();
    let instrument = Instrument {
        id: InstrumentId(script.clock.new_id()),
        name: "balance".to_owned(),
        dimension: Dimension::Mass,
        readability: 0.001,
        uncertainty: None,
    };
    script
        .say(Entry::InstrumentAdded { instrument })
        .await
        .unwrap();
    let made = Code::run(PEGS.mark, 0)
        .take(3)
        .zip(1..)
        .map(|((_, code), order)| Made {
            code,
            lot: plan().lots[0].clone(),
            build: plan().builds[0].clone(),
            order,
        });
    script
        .say(Entry::SpecimensMade {
            pieces: made.collect(),
        })
        .await
        .unwrap();
    let secret = token(&steward, &format!("/desk/{}/tokens", PEGS.slug), true).await;
    let folder = tempfile::tempdir().unwrap();
    let with = [("TOKEN", secret.as_str())];
    let said = run(&server, "expected", folder.path(), &with, "").await;
    assert!(
        said.contains("\"kind\":\"steward\"") && said.contains("\"missing\":[{"),
        "{said}"
    );
    let said = run(
        &server,
        "readings",
        folder.path(),
        &with,
        "8,402\n8.377\nheavy\n",
    )
    .await;
    let statuses: Vec<&str> = said
        .lines()
        .filter_map(|line| line.rsplit("in g: ").next())
        .collect();
    assert_eq!(said.matches("201 written").count(), 2, "{statuses:?}");
    assert!(said.contains("422") && said.contains("number"), "{said}");
    let record = server
        .app
        .store
        .study_record(PEGS.slug)
        .await
        .unwrap()
        .unwrap();
    let values: Vec<f64> = record.readings.iter().map(|r| r.reading.value).collect();
    assert_eq!(values, [8.402, 8.377]);
    off_its_siblings(&Program::new(&server.base, &secret), &script).await;
}

/// A mass ten times its siblings' is asked about as on the desk's page, and is kept with its mark once confirmed.
async fn off_its_siblings(program: &Program, script: &Script) {
    let listed = program.get("/api/v1/pieces").await.ok().json();
    let mut missing = listed["pieces"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|piece| {
            let all = piece["missing"].as_array().unwrap().iter();
            all.map(move |one| (piece, one))
        });
    let found = missing.find(|(_, one)| one["quantity"] == "mass");
    let (piece, wanted) = found.expect("one is not weighed");
    let mut reading = wanted.clone();
    reading.as_object_mut().unwrap().remove("count");
    reading["specimen"] = piece["code"].clone();
    let mut instruments = listed["instruments"].as_array().unwrap().iter();
    let balance = instruments.find(|one| one["dimension"] == json!("mass"));
    reading["instrument"] = balance.expect("a balance")["id"].clone();
    reading["typed"] = json!({ "text": "84,02", "unit": "g" });
    let mut entry = json!({ "id": script.clock.new_id(), "kind": "reading_taken",
        "taken_at": script.clock.now(), "body": { "reading": reading } });
    let asked = program.entry(&entry).await;
    assert_eq!(asked["problem"]["mend"], "confirm", "{asked}");
    let why = asked["problem"]["detail"].as_str().unwrap();
    assert!(
        why.contains("times what was expected") && why.contains("is_confirmed_doubt"),
        "{why}"
    );
    entry["body"]["reading"]["is_confirmed_doubt"] = json!(true);
    let taken = program.entry(&entry).await;
    assert_eq!(taken["status"], 201, "{taken}");
    assert_eq!(program.entry(&entry).await["status"], 200);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_machine_sends_its_tests_and_curves() {
    let server = TestServer::start().await;
    // The example says that its tests are of today, by the computer's own calendar.
    let behind = chrono::Utc::now() - server.app.clock.now();
    server
        .app
        .clock
        .advance(behind.max(chrono::TimeDelta::zero()));
    let ready = Wanted::small().ready(&server, "ada").await;
    let consignment = ready.pack("baseline", &ready.baseline()).await;
    let (tester, lab) = at_the_lab(&server, &ready.link(&consignment).await).await;
    let secret = token(&tester, &format!("{lab}/tokens"), true).await;
    let program = Program::new(&server.base, &secret);
    let pieces = program.get("/api/v1/pieces").await.ok().json();
    let count = pieces["pieces"].as_array().unwrap().len();
    let piece = pieces["pieces"][0]["code"].as_str().unwrap().to_owned();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("run 1.csv");
    std::fs::write(&file, crate::lab_curves::curve("Weg [mm];Kraft [N]", 312.0)).unwrap();
    let file = file.to_str().unwrap().to_owned();
    let shot = folder.path().join("box.jpg");
    std::fs::write(&shot, camera::jpeg(64, 48, 1)).unwrap();
    let with = [
        ("TOKEN", secret.as_str()),
        ("CURVE", file.as_str()),
        ("PIECE", piece.as_str()),
        ("PICTURE", shot.to_str().unwrap()),
    ];
    let said = run(&server, "photograph", folder.path(), &with, "").await;
    assert!(
        said.contains("\"status\":201") && said.contains("\"status\":200"),
        "{said}"
    );
    let said = run(&server, "curve", folder.path(), &with, "").await;
    assert!(
        said.contains("\"needs_a_look\":false") && said.contains(&piece),
        "{said}"
    );
    let said = run(
        &server,
        "tests",
        folder.path(),
        &with,
        &"312\n".repeat(count),
    )
    .await;
    assert!(said.contains("session_set 201 written"), "{said}");
    assert_eq!(
        said.matches("break_tested 201 written").count(),
        count,
        "{said}"
    );
    let said = run(&server, "expected", folder.path(), &with, "").await;
    assert!(
        said.contains("\"kind\":\"tester\"") && !said.contains("\"is_tested\":false"),
        "{said}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_reader_takes_a_published_edition() {
    let (server, _) = told::served().await;
    let folder = tempfile::tempdir().unwrap();
    let said = run(
        &server,
        "edition",
        folder.path(),
        &[("STUDY", PEGS.slug)],
        "",
    )
    .await;
    let findings = std::fs::read(folder.path().join("findings.json")).unwrap();
    let hash: String = Sha256::digest(&findings)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    // Once as the list gives it, once as sha256sum finds it.
    assert_eq!(said.matches(&hash).count(), 2, "{said}");
    assert!(said.contains("specimens.csv"), "{said}");
    serde_json::from_slice::<serde_json::Value>(&findings).unwrap();
    // Withdrawn, it is gone for programs as well.
    let missing = server
        .stranger()
        .open(&format!("/api/v1/studies/{}/editions/2", PEGS.slug))
        .await;
    missing.problem(404);
}
