//! A folder of a machine's files sent at once, in a real browser over a line that breaks in between: how far
//! it is shows, every file arrives once, and none is lost.

use crate::house::ready::{DAYS, Wanted};
use crate::house::{Browser, Line, Look, TestServer};
use serde_json::json;
use std::collections::BTreeSet;
use std::fmt::Write;
use std::path::Path;
use std::time::Duration;

/// As many as the folder holds.
const FILES: usize = 200;

/// A curve of some hundred points, each file's its own.
fn file(n: usize) -> String {
    let mut text = "Load [N];Travel [mm]\n".to_owned();
    for point in 0..400 {
        let travel = f64::from(point) * 0.02;
        let load = travel * (30.0 + n as f64 * 0.1);
        writeln!(text, "{load:.3};{travel:.3}").expect("text takes it");
    }
    text.push_str("2.0;8.1\n1.0;8.2\n");
    text
}

/// Writes the folder; the paths as a field for several files takes them.
fn folder(path: &Path) -> String {
    let paths = (1..=FILES).map(|n| {
        let path = path.join(format!("run-{n:03}.csv"));
        std::fs::write(&path, file(n)).expect("it is written");
        path.to_str().expect("a plain path").to_owned()
    });
    paths.collect::<Vec<_>>().join("\n")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_folder_arrives_whole_and_once_over_a_line_that_breaks_three_times() {
    let server = TestServer::start().await;
    let ready = Wanted::small().ready(&server, "ada").await;
    let desk = ready
        .pack(&format!("stage-{DAYS}"), &ready.of_stage(DAYS))
        .await;
    let way_in = ready.link(&desk).await;
    let address = server.base.trim_start_matches("http://").to_owned();
    let line = Line::to(&address).await;
    let browser = Browser::open(&line.base, Look::PHONE).await;
    browser.goto(&way_in).await;
    browser.find("h1").await;
    let lab = browser.path().await;
    let lab = lab.split(['?', '#']).next().expect("a path").to_owned();
    browser.goto(&format!("{lab}/curves")).await;
    let files = tempfile::tempdir().expect("a folder");
    let field = browser.find("#f-files").await;
    field
        .send_keys(&folder(files.path()))
        .await
        .expect("it takes files");
    browser
        .run("document.querySelector('#curve-upload button').click()")
        .await;
    let sent = "document.querySelector('#upload-progress').value";
    for reached in [20, 90, 160] {
        browser.until(&format!("{sent} >= {reached}")).await;
        line.cut();
        browser.until("document.querySelector('#upload-state').textContent.includes('Waiting for the line')").await;
        browser.picture("lab-upload-cut").await;
        let stands = browser.number(sent).await;
        tokio::time::sleep(Duration::from_millis(100)).await;
        assert!(
            (browser.number(sent).await - stands).abs() < 0.5,
            "nothing passes a cut line"
        );
        line.lead_to(&address);
    }
    // When all are there the page comes anew with its list.
    browser
        .until(&format!(
            "document.querySelectorAll('main section li').length === {FILES}"
        ))
        .await;
    let record = server.app.store.study_record(&ready.slug).await;
    let consignment = record.expect("reads").expect("there").consignments[0].id;
    let kept = server
        .app
        .store
        .curve_files(consignment)
        .await
        .expect("reads");
    let names: BTreeSet<&str> = kept.iter().map(|file| file.name.as_str()).collect();
    assert_eq!((kept.len(), names.len()), (FILES, FILES), "each once");
    for file in kept.iter().step_by(37) {
        let n: usize = file.name[4..7].parse().expect("its number");
        assert_eq!(
            file.sha256,
            overwinter_sha256(self::file(n).as_bytes()),
            "{}",
            file.name
        );
    }
    drops_the_folder(&browser, files.path()).await;
    let kept = server
        .app
        .store
        .curve_files(consignment)
        .await
        .expect("reads");
    assert_eq!(kept.len(), FILES + 2, "of the known files none came twice");
    for (name, n) in [("ABC DEF/run-901.csv", 901), ("run-902.csv", 902)] {
        let found = kept.iter().find(|file| file.name == name);
        let found = found.unwrap_or_else(|| panic!("no {name}"));
        assert_eq!(
            found.sha256,
            overwinter_sha256(file(n).as_bytes()),
            "{name}"
        );
    }
    browser.close().await;
}

/// The same folder again, dragged in beside a single file, with one file more three folders deep. The browser
/// gives a folder's files a hundred at a time; all must have been asked for.
async fn drops_the_folder(browser: &Browser, folder: &Path) {
    let deep = folder.join("later/ABC DEF");
    std::fs::create_dir_all(&deep).expect("folders");
    std::fs::write(deep.join("run-901.csv"), file(901)).expect("it is written");
    std::fs::write(folder.join(".hidden"), "not a curve").expect("it is written");
    let beside = tempfile::tempdir().expect("a folder");
    let single = beside.path().join("run-902.csv");
    std::fs::write(&single, file(902)).expect("it is written");
    browser.find("#curve-upload").await;
    // How many were found is noted beside the page, which comes anew when all are sent.
    let noted = "const bar = document.querySelector('#upload-progress');
        const note = () => { sessionStorage.most = bar.max; };
        new MutationObserver(note).observe(bar, { attributes: true });
        document.querySelector('#curve-upload').scrollIntoView();";
    browser.run(noted).await;
    let middle = "(() => { const box = document.querySelector('#curve-upload').getBoundingClientRect(); \
                  return box.top + box.height / 2; })()";
    let y = browser.number(middle).await;
    for kind in ["dragEnter", "dragOver", "drop"] {
        let event = json!({
            "type": kind,
            "x": 150,
            "y": y,
            "data": { "items": [], "files": [folder, single], "dragOperationsMask": 1 },
        });
        browser.command("Input.dispatchDragEvent", event).await;
    }
    let all = FILES + 2;
    let listed = format!("document.querySelectorAll('main section li').length === {all}");
    browser.until(&listed).await;
    assert_eq!(
        browser.number("Number(sessionStorage.most)").await,
        all as f64
    );
}

fn overwinter_sha256(bytes: &[u8]) -> [u8; 32] {
    use sha2::{Digest, Sha256};
    Sha256::digest(bytes).into()
}
