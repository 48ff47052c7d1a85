//! The demo by its real binary: it prints its three addresses, everything that can be reached from
//! them answers, what issue and README promise is really there, and a second start serves the same.

use crate::house::visit::links;
use crate::house::{ChildServer, Person, Shown};
use reqwest::{Method, Url};
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::path::Path;
use tempfile::TempDir;

/// Most pages that a crawl opens; the demo has fewer, so a crawl that goes in circles fails.
const MOST: usize = 1700;

/// A running demo and what it printed.
struct Demo {
    server: ChildServer,
    public: String,
    password: String,
    lab: String,
}

impl Demo {
    fn start(folder: &Path) -> Self {
        let server = ChildServer::demo(folder);
        let after = |label: &str| {
            let mut lines = server.greeting.lines().map(str::trim);
            let line = lines.find_map(|line| line.strip_prefix(label));
            line.unwrap_or_else(|| panic!("no {label} in {}", server.greeting))
                .trim()
                .to_owned()
        };
        let steward = after("steward");
        assert!(steward.starts_with(&format!("{}/sign-in", server.base)));
        assert!(steward.contains("name steward"), "{steward}");
        let (_, password) = steward.split_once("password ").expect("a password");
        let (password, public, lab) =
            (password.to_owned(), after("public page"), after("lab link"));
        Self {
            public,
            password,
            lab,
            server,
        }
    }

    /// The path of a printed address.
    fn path(&self, address: &str) -> String {
        let path = address.strip_prefix(&self.server.base);
        path.unwrap_or_else(|| panic!("{address} is not of this server"))
            .to_owned()
    }

    /// Signed in with what was printed.
    async fn steward(&self) -> Person {
        let steward = self.server.stranger();
        steward.sign_in("steward", &self.password).await.is(303);
        steward
    }

    /// Opens everything that can be reached from here by links; pages by their path.
    async fn crawl(&self, person: &Person, from: &str) -> BTreeMap<String, Shown> {
        let base = Url::parse(&self.server.base).expect("an address");
        let mut waiting = VecDeque::from([base.join(from).expect("an address")]);
        let mut known: BTreeSet<String> = BTreeSet::new();
        let mut found = BTreeMap::new();
        while let Some(at) = waiting.pop_front() {
            let path = at.as_str().trim_start_matches(&self.server.base).to_owned();
            if !known.insert(path.clone()) {
                continue;
            }
            assert!(known.len() < MOST, "the crawl does not end: {path}");
            let shown = person.send(person.request(Method::GET, &path)).await;
            let status = shown.status.as_u16();
            assert!(matches!(status, 200 | 303), "{status} at {path}");
            let mut next: Vec<String> = vec![shown.header("location").to_owned()];
            if shown.header("content-type").starts_with("text/html") {
                next.extend(links(&shown).into_iter().map(|(_, href)| href));
            }
            let next = next.iter().filter(|href| !href.is_empty());
            let next = next.map(|href| at.join(href).expect("an address"));
            waiting.extend(next.filter(|to| to.origin() == base.origin()).map(bare));
            found.insert(path, shown);
        }
        found
    }
}

/// Without the part after `#`.
fn bare(mut address: Url) -> Url {
    address.set_fragment(None);
    address
}

#[tokio::test]
async fn everything_reachable_from_the_printed_addresses_answers() {
    let folder = TempDir::new().unwrap();
    let demo = Demo::start(&folder.path().join("demo"));
    let steward = demo.steward().await;
    let desk = demo.crawl(&steward, "/desk").await;
    for page in [
        "plan",
        "round",
        "exposure",
        "consignments",
        "analysis",
        "editions",
        "journal",
    ] {
        assert!(
            desk.contains_key(&format!("/desk/fleece-pegs/{page}")),
            "{page}"
        );
        assert!(
            desk.contains_key(&format!("/desk/coat-hooks/{page}")),
            "{page}"
        );
    }
    let public = demo
        .crawl(&demo.server.stranger(), &demo.path(&demo.public))
        .await;
    let edition = "/studies/fleece-pegs/editions/1/";
    for file in [
        "",
        "specimens.csv",
        "comparisons.csv",
        "findings.json",
        "plan.json",
    ] {
        assert!(public.contains_key(&format!("{edition}{file}")), "{file}");
    }
    assert!(
        !public.keys().any(|path| path.starts_with("/desk/")),
        "nothing of the desk"
    );

    let home = demo.crawl(&demo.server.stranger(), "/").await;
    for page in [
        "/studies/coat-hooks",
        "/studies/coat-hooks/plan.json",
        edition,
    ] {
        assert!(home.contains_key(page), "{page} from the list of studies");
    }

    let tester = demo.server.stranger();
    let lab = demo.crawl(&tester, &demo.path(&demo.lab)).await;
    let pages: Vec<&str> = ["/box", "/set-up", "/finish"]
        .into_iter()
        .filter(|page| lab.keys().any(|path| path.ends_with(page)))
        .collect();
    assert_eq!(pages.len(), 3, "{:?}", lab.keys());
}

#[tokio::test]
async fn it_holds_every_case_that_it_promises() {
    let folder = TempDir::new().unwrap();
    let demo = Demo::start(&folder.path().join("demo"));
    let reader = demo.server.stranger();
    let edition = reader.open("/studies/fleece-pegs/editions/1/").await;
    let body = edition.ok().body();
    assert!(
        !edition.texts("p.verdict").is_empty(),
        "a finished stage with results"
    );
    for (case, words) in [
        ("a piece lost", "not where the plot's map shows it"),
        ("an invalid test", "crept out of the jaws"),
        ("a correction", "one place too far right"),
        ("a waiver", "the rack was already hung"),
        ("an amendment", "dug over for leeks"),
        ("an incident", "frozen over"),
        ("a drying rule", "kept room-dry for 14 days or more"),
        ("a logger with a gap", "Grey: 1 stretch without a value"),
        ("doses", "for the exact time that its pieces were out"),
    ] {
        assert!(plain(&body).contains(words), "{case}: {words}");
    }
    let steward = demo.steward().await;
    let exposure = steward.open("/desk/fleece-pegs/exposure").await;
    let out = exposure.ok().texts("table tbody tr").join("\n");
    assert!(out.contains("365 d"), "a stage still out: {out}");
    let hooks = steward.open("/desk/coat-hooks/consignments").await;
    assert!(
        hooks.ok().text(".list li").contains("3 of 6"),
        "{}",
        hooks.text(".list li")
    );
}

/// A page's words without what HTML escapes.
fn plain(body: &str) -> String {
    body.replace("&#39;", "'")
        .replace("&#x27;", "'")
        .replace('\n', " ")
}

#[tokio::test]
async fn a_second_start_serves_the_same_studies_with_a_new_password_and_link() {
    let folder = TempDir::new().unwrap();
    let data = folder.path().join("demo");
    let first = Demo::start(&data);
    let page = |demo: &Demo| demo.path(&demo.public) + "/editions/1/";
    let before = first.server.stranger().open(&page(&first)).await;
    let (old_password, old_lab) = (first.password.clone(), first.path(&first.lab));
    first.server.tell_to_stop();
    let mut ended = first;
    assert!(ended.server.wait(), "it stops tidily");
    drop(ended);

    let second = Demo::start(&data);
    assert!(
        !second.server.greeting.contains("Filling"),
        "{}",
        second.server.greeting
    );
    let after = second.server.stranger().open(&page(&second)).await;
    assert_eq!(
        after.ok().bytes,
        before.ok().bytes,
        "the same edition, byte for byte"
    );
    second.steward().await.open("/desk").await.ok();
    let stranger = second.server.stranger();
    stranger.sign_in("steward", &old_password).await.refused();
    stranger.open(&old_lab).await.is(404);
    stranger.open(&second.path(&second.lab)).await.is(303);
}
