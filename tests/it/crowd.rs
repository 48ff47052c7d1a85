//! For a crowd: public answers come from memory, packed beforehand, and are never of yesterday.

use crate::house::desk::{Desk, SLUG};
use crate::house::half::Half;
use crate::house::{PASSWORD, Person, TestServer};
use crate::house::{overwinter, told};
use overwinter::study::entry::Entry;
use reqwest::Method;
use std::io::Read;

/// A public study that is under way.
async fn in_public() -> Desk {
    let desk = Desk::ready().await;
    desk.script.say(Entry::MadePublic {}).await.expect("public");
    desk
}

fn page() -> String {
    format!("/studies/{SLUG}")
}

async fn ask(person: &Person, path: &str, header: (&str, &str)) -> crate::house::Shown {
    let request = person.request(Method::GET, path).header(header.0, header.1);
    person.send(request).await
}

/// Bytes of a gzip member, by the system's own gzip: no code of ours.
fn gunzip(bytes: &[u8]) -> Vec<u8> {
    use std::io::Write;
    use std::process::{Command, Stdio};
    let mut child = Command::new("gzip")
        .arg("-dc")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("gzip is on every Debian");
    let mut stdin = child.stdin.take().unwrap();
    let bytes = bytes.to_vec();
    let feeding = std::thread::spawn(move || stdin.write_all(&bytes).unwrap());
    let mut plain = Vec::new();
    child
        .stdout
        .take()
        .unwrap()
        .read_to_end(&mut plain)
        .unwrap();
    feeding.join().unwrap();
    assert!(child.wait().unwrap().success());
    plain
}

#[tokio::test]
async fn one_page_in_every_encoding_with_a_tag_of_its_own() {
    let desk = in_public().await;
    let reader = desk.server.stranger();
    let mut tags = Vec::new();
    let plain = ask(&reader, &page(), ("accept-encoding", "identity")).await;
    for (sent, encoding) in [
        ("identity", None),
        ("gzip", Some("gzip")),
        ("gzip, br", Some("br")),
    ] {
        for _twice in 0..2 {
            let shown = ask(&reader, &page(), ("accept-encoding", sent)).await;
            let given = shown
                .headers
                .get("content-encoding")
                .map(|v| v.to_str().unwrap());
            assert_eq!(given, encoding);
            assert_eq!(shown.header("cache-control"), "public, max-age=60");
            let vary: Vec<_> = shown.headers.get_all("vary").iter().collect();
            assert_eq!(vary, ["accept-encoding"]);
            assert!(
                shown
                    .header("content-security-policy")
                    .contains("default-src 'none'")
            );
            let length: usize = shown.header("content-length").parse().unwrap();
            assert_eq!(shown.bytes.len(), length);
            if encoding == Some("gzip") {
                assert_eq!(gunzip(&shown.bytes), plain.bytes);
            }
            tags.push(shown.header("etag").to_owned());
        }
    }
    assert!(tags.chunks(2).all(|pair| pair[0] == pair[1]), "{tags:?}");
    tags.dedup();
    assert_eq!(tags.len(), 3, "{tags:?}");
    for tag in tags {
        let known = ask(&reader, &page(), ("if-none-match", &tag)).await;
        assert!(known.is(304).bytes.is_empty());
    }
}

#[tokio::test]
async fn an_entry_is_seen_by_the_next_reader() {
    let desk = in_public().await;
    let reader = desk.server.stranger();
    let first = reader.open(&page()).await;
    assert_eq!(first.ok().body(), reader.open(&page()).await.body());
    let home = reader.open("/").await.body();
    assert!(home.contains(SLUG));
    desk.script
        .say(Entry::MadePrivate {})
        .await
        .expect("private");
    reader.open(&page()).await.is(404);
    assert!(!reader.open("/").await.body().contains(SLUG));
}

#[tokio::test]
async fn a_page_that_counts_days_is_not_kept_for_long() {
    let desk = in_public().await;
    let pieces: Vec<String> = desk
        .placed("c3", 180)
        .await
        .iter()
        .map(ToString::to_string)
        .collect();
    let mut fields: Vec<(&str, &str)> = pieces
        .iter()
        .map(|piece| ("piece", piece.as_str()))
        .collect();
    let now = desk
        .server
        .app
        .clock
        .now()
        .format("%Y-%m-%dT%H:%M")
        .to_string();
    fields.push(("at", &now));
    desk.submit("exposure/out", &fields).await.is(303);
    let reader = desk.server.stranger();
    assert!(reader.open(&page()).await.ok().body().contains("0 of 180"));
    desk.server.app.clock.advance(chrono::TimeDelta::days(30));
    let later = reader.open(&page()).await;
    assert!(later.body().contains("30 of 180"), "{}", later.body());
    assert!(later.body().contains("in 150 days"), "{}", later.body());
}

#[tokio::test]
async fn what_a_steward_sees_is_never_kept_for_others() {
    let half = Half::set_up().await;
    let record = half.record().await;
    let path = format!("/studies/{}", record.slug);
    half.steward.open(&path).await.ok();
    half.server.stranger().open(&path).await.is(404);
    half.steward.open("/").await.ok();
    let home = half.server.stranger().open("/").await;
    assert!(!home.ok().body().contains("ragna"));
}

/// What is served from memory is answered while nobody can read the database.
#[tokio::test]
async fn what_is_kept_needs_no_database() {
    let desk = in_public().await;
    let reader = desk.server.stranger();
    let first = reader.open(&page()).await;
    desk.server
        .app
        .store
        .clone()
        .close()
        .await
        .expect("it closes");
    assert_eq!(reader.open(&page()).await.ok().body(), first.body());
    reader.open("/studies/another").await.is(500);
}

#[tokio::test]
async fn spellings_of_an_address_do_not_fill_the_memory() {
    let server = TestServer::start().await;
    server
        .with_account("ada")
        .await
        .sign_in("ada", PASSWORD)
        .await
        .is(303);
    let reader = server.stranger();
    assert_eq!(
        reader.open("/").await.header("cache-control"),
        "public, max-age=60"
    );
    assert_eq!(
        reader.open("/?a=1").await.header("cache-control"),
        "private, no-cache"
    );
}

/// The exported files are the served bytes, their links lead somewhere, and nothing is overwritten.
#[tokio::test]
async fn an_edition_is_exported_as_the_bytes_that_are_served() {
    let (server, _steward) = told::served().await;
    let data = server.app.store.folder().display().to_string();
    let target = tempfile::tempdir().unwrap();
    let into = target.path().display().to_string();
    let export = |edition: &str| overwinter(&["export", "--data", &data, edition, &into]);
    let done = export("fleece-pegs/1");
    assert!(done.status.success(), "{done:?}");
    let edition = target.path().join("studies/fleece-pegs/editions/1");
    let reader = server.stranger();
    let mut count = 0;
    for file in std::fs::read_dir(&edition).unwrap() {
        let name = file.unwrap().file_name().into_string().unwrap();
        let served = reader
            .open(&format!("/studies/fleece-pegs/editions/1/{name}"))
            .await;
        assert_eq!(
            served.ok().bytes,
            std::fs::read(edition.join(&name)).unwrap(),
            "{name}"
        );
        count += 1;
    }
    assert!(count > 5, "{count} files");
    for page in [
        edition.join("index.html"),
        target.path().join("studies/fleece-pegs/index.html"),
    ] {
        let html = std::fs::read_to_string(&page).unwrap();
        let found = crate::house::html::faults(&[(page.display().to_string(), html.clone())]);
        assert!(found.is_empty(), "{}", found.join("\n"));
        let links = scraper::Html::parse_document(&html);
        let any = scraper::Selector::parse("[href], [src]").unwrap();
        for element in links.select(&any) {
            let link = element
                .attr("href")
                .or_else(|| element.attr("src"))
                .unwrap();
            let path = link.split('#').next().unwrap();
            let leads = page.parent().unwrap().join(path);
            let is_elsewhere = link.starts_with("https://");
            assert!(
                is_elsewhere || leads.exists(),
                "{link} on {}",
                page.display()
            );
        }
    }
    assert!(
        export("fleece-pegs").status.success(),
        "the latest, over the same bytes"
    );
    std::fs::write(edition.join("edition.css"), "body{}").unwrap();
    let refused = export("fleece-pegs/1");
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(
        !refused.status.success() && said.contains("edition.css"),
        "{said}"
    );
    assert!(!export("fleece-pegs/7").status.success() && !export("no-such").status.success());
}
