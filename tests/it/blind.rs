//! Promise 5: the tester is blind, and the world with them. A crawler starts from the lab link, from
//! the first page and from every printed code, follows every link and sends every form that it
//! meets, and searches every header and body; and neither order nor codes tell a group.

use crate::house::camera::{photographed, photographed_of, try_photograph};
use crate::house::program::token;
use crate::house::ready::{DAYS, Ready, Wanted, at_the_lab};
use crate::house::{Person, Program, Shown, TestServer};
use overwinter::clock::Clock;
use overwinter::study::code::Code;
use overwinter::study::consignment::{Contents, Label, Packed, ToPack, blind};
use overwinter::study::entry::Entry;
use overwinter::study::photograph::{Motif, View};
use overwinter::study::record::StudyRecord;
use overwinter::web::routes::{Who, table};
use reqwest::Method;
use scraper::{ElementRef, Html, Selector};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// Whether a text holds a word that stands by itself, in any case.
fn holds(text: &str, word: &str) -> bool {
    let (text, word) = (text.to_lowercase(), word.to_lowercase());
    let is_edge = |c: Option<char>| c.is_none_or(|c| !c.is_alphanumeric());
    text.match_indices(&word).any(|(at, found)| {
        is_edge(text[..at].chars().next_back()) && is_edge(text[at + found.len()..].chars().next())
    })
}

/// Which of these an answer gives away, in a header or in its body.
fn leaks<'s>(shown: &Shown, secrets: &'s [String]) -> Vec<&'s str> {
    let mut text: String = shown.body();
    for (name, value) in &shown.headers {
        let value = String::from_utf8_lossy(value.as_bytes());
        let value = percent_encoding::percent_decode_str(&value).decode_utf8_lossy();
        text.push_str(&format!("\n{name}: {value}"));
    }
    // What a pyranometer's logger may measure (ISO 80000-7), among the columns that a file can have.
    let text = text.replace("radiant exposure", "");
    let given = secrets.iter().filter(|secret| holds(&text, secret));
    given.map(String::as_str).collect()
}

/// The fields of a form as they are sent.
type Sent = Vec<(String, String)>;

/// Something to ask for: a path, and the fields when it is a form.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Asked {
    path: String,
    fields: Option<Sent>,
}

/// Follows everything that a person can reach from here.
struct Crawler<'a> {
    person: &'a Person,
    /// What no page may give away.
    secrets: Vec<String>,
    /// What no page of the lab's face may give away besides.
    at_the_lab: Vec<String>,
    /// Hidden fields with fresh ids would make every form a new one.
    seen: BTreeSet<String>,
    /// Whether it sends forms too, or only looks.
    sends: bool,
    waiting: Vec<Asked>,
    asked: usize,
    /// Addresses that answered 200 to a look.
    shown: BTreeSet<String>,
}

impl<'a> Crawler<'a> {
    fn new(person: &'a Person, secrets: Vec<String>) -> Self {
        Self {
            person,
            secrets,
            at_the_lab: Vec::new(),
            seen: BTreeSet::new(),
            sends: true,
            waiting: Vec::new(),
            asked: 0,
            shown: BTreeSet::new(),
        }
    }

    /// A tester: on the lab's own pages nothing of the study, elsewhere what the world may not know.
    /// A page that is not there leads home, and a public study stands there for everybody.
    fn tester(person: &'a Person, world: &World) -> Self {
        Self {
            at_the_lab: lab_secrets(&world.ready),
            ..Self::new(person, world.codes())
        }
    }

    fn add(&mut self, path: &str, fields: Option<Sent>) {
        let path = path.split('#').next().unwrap_or_default().to_owned();
        if !path.starts_with('/') || path.starts_with("//") {
            return;
        }
        let shape = fields.as_ref().map(|fields| {
            let told = fields
                .iter()
                .filter(|(name, _)| name != "entry" && name != "supersedes");
            told.cloned().collect::<Vec<_>>()
        });
        if self.seen.insert(format!("{path} {shape:?}")) {
            self.waiting.push(Asked { path, fields });
        }
    }

    /// Asks for everything that waits, and for what turns up on the way.
    async fn crawl(&mut self, from: &[&str]) {
        for path in from {
            self.add(path, None);
        }
        while let Some(asked) = self.waiting.pop() {
            self.asked += 1;
            assert!(self.asked < 3000, "it has no end: {asked:?}");
            let shown = match &asked.fields {
                None => self.person.open(&asked.path).await,
                Some(fields) => {
                    let fields: Vec<_> = fields
                        .iter()
                        .map(|(name, value)| (name.as_str(), value.as_str()))
                        .collect();
                    self.person.submit(&asked.path, &fields).await
                }
            };
            assert!(shown.status.as_u16() < 500, "{asked:?}");
            if asked.fields.is_none() && shown.status == 200 {
                let path = asked.path.split('?').next().unwrap_or_default();
                self.shown.insert(path.to_owned());
            }
            let mut given = leaks(&shown, &self.secrets);
            if asked.path.starts_with("/lab/") {
                given.extend(leaks(&shown, &self.at_the_lab));
            }
            assert!(given.is_empty(), "{asked:?} gives away {given:?}");
            self.follow(&asked, &shown);
        }
    }

    fn follow(&mut self, asked: &Asked, shown: &Shown) {
        let location = shown.header("location").to_owned();
        self.add(&location, None);
        if !shown.header("content-type").starts_with("text/html") {
            return;
        }
        let page = Html::parse_document(&shown.body());
        let mut found: Vec<(String, Option<Sent>)> = Vec::new();
        for name in ["href", "src", "action"] {
            let selector = Selector::parse(&format!("[{name}]")).expect("a selector");
            let paths = page
                .select(&selector)
                .filter_map(|element| element.value().attr(name));
            found.extend(paths.map(|path| (path.to_owned(), None)));
        }
        let forms = Selector::parse("form").expect("a selector");
        for form in page.select(&forms) {
            let action = form
                .value()
                .attr("action")
                .unwrap_or(&asked.path)
                .to_owned();
            let fields = fields_of(form);
            let emptied = fields.iter().map(|(name, _)| (name.clone(), String::new()));
            let emptied: Vec<_> = emptied.filter(|(name, _)| name != "act").collect();
            found.push((action.clone(), Some(fields)));
            found.push((action, Some(emptied)));
        }
        found.retain(|(_, fields)| self.sends || fields.is_none());
        for (path, fields) in found {
            self.add(&path, fields);
        }
    }
}

/// The fields of a form as a browser would send them, empty ones filled with something that passes.
fn fields_of(form: ElementRef<'_>) -> Sent {
    let controls = Selector::parse("input, select, textarea, button[name]").expect("a selector");
    let option = Selector::parse("option").expect("a selector");
    let mut fields = Vec::new();
    for control in form.select(&controls) {
        let value = control.value();
        let Some(name) = value.attr("name") else {
            continue;
        };
        let text = match value.name() {
            "select" => {
                let options: Vec<_> = control.select(&option).collect();
                let chosen = options
                    .iter()
                    .find(|one| one.value().attr("selected").is_some());
                let chosen = chosen
                    .or(options.last())
                    .and_then(|one| one.value().attr("value"));
                chosen.unwrap_or_default().to_owned()
            }
            "textarea" => control.text().collect(),
            _ => value.attr("value").unwrap_or_default().to_owned(),
        };
        let filled = if text.is_empty() {
            "7".to_owned()
        } else {
            text
        };
        fields.push((name.to_owned(), filled));
    }
    fields
}

/// A public study with its stage and its baseline set packed and both links made.
struct World {
    server: TestServer,
    ready: Ready,
    links: [String; 2],
}

impl World {
    async fn packed() -> Self {
        let server = TestServer::start().await;
        let wanted = Wanted {
            is_public: true,
            ..Wanted::small()
        };
        let ready = wanted.ready(&server, "ada").await;
        let stage = ready
            .pack(&format!("stage-{DAYS}"), &ready.of_stage(DAYS))
            .await;
        let baseline = ready.pack("baseline", &ready.baseline()).await;
        let links = [ready.link(&stage).await, ready.link(&baseline).await];
        Self {
            server,
            ready,
            links,
        }
    }

    async fn record(&self) -> std::sync::Arc<StudyRecord> {
        let record = self.server.app.store.study_record(&self.ready.slug).await;
        record.unwrap().unwrap()
    }

    async fn blind_codes(&self) -> Vec<String> {
        let record = self.record().await;
        let pieces = record.consignments.iter().flat_map(|one| &one.pieces);
        pieces.map(|piece| piece.blind.to_string()).collect()
    }

    async fn blind_codes_of_the_stage(&self) -> Vec<String> {
        let record = self.record().await;
        let stage = record
            .consignments
            .iter()
            .filter(|one| one.contents != Contents::Baseline);
        let pieces = stage.flat_map(|one| &one.pieces);
        pieces.map(|piece| piece.blind.to_string()).collect()
    }

    /// The steward's codes.
    fn codes(&self) -> Vec<String> {
        self.ready.places.keys().map(Code::to_string).collect()
    }

    fn id(&self) -> String {
        self.server.app.clock.new_id().to_string()
    }
}

/// Words that would tell what a consignment holds.
const TRADE: [&str; 5] = [
    "baseline",
    "stage",
    "storage",
    "storage control",
    "exposure",
];

/// What nobody on the lab's face may read: also the study's own name, and what a consignment holds.
fn lab_secrets(ready: &Ready) -> Vec<String> {
    let mut secrets = ready.secrets();
    let others = ["bent hooks", "bent-hooks", "ada"].iter().chain(&TRADE);
    secrets.extend(others.map(|word| (*word).to_owned()));
    secrets
}

#[tokio::test]
async fn the_search_finds_what_a_page_gives_away() {
    let world = World::packed().await;
    let desk = format!("/desk/{}/consignments", world.ready.slug);
    let secrets = lab_secrets(&world.ready);
    let shown = world.ready.person.open(&desk).await;
    let given = leaks(shown.ok(), &secrets);
    assert!(
        given.contains(&"7331") && given.contains(&"baseline"),
        "{given:?}"
    );
    assert!(!holds("0a7331ff", "7331") && holds("after 7331 days", "7331"));
    assert!(holds("x: KWC4A", "kwc4a"));
}

#[tokio::test]
async fn nothing_that_a_lab_link_reaches_tells_a_group() {
    let world = World::packed().await;
    for way_in in &world.links {
        let mut looked_at = BTreeSet::new();
        let (tester, path) = at_the_lab(&world.server, way_in).await;
        // As it arrives, without a set-up: every page, every form empty and as it stands.
        let mut crawler = Crawler::tester(&tester, &world);
        crawler.crawl(&[&path, way_in]).await;
        assert!(crawler.asked > 12, "only {} were asked", crawler.asked);
        looked_at.append(&mut crawler.shown);
        // Set up, half tested, with errors of every kind.
        let logger = set_up_and_test(&world, &tester, &path).await;
        let mut prying = prying(&world, &path).await;
        prying.push(logger);
        // First all there is to see, then every form: one of them ends the work.
        let mut crawler = Crawler::tester(&tester, &world);
        crawler.sends = false;
        let from: Vec<&str> = prying.iter().map(String::as_str).collect();
        crawler.crawl(&from).await;
        looked_at.append(&mut crawler.shown);
        let mut crawler = Crawler::tester(&tester, &world);
        let prying: Vec<&str> = prying.iter().map(String::as_str).collect();
        crawler.crawl(&prying).await;
        assert!(crawler.asked > 60, "only {} were asked", crawler.asked);
        looked_at.append(&mut crawler.shown);
        finish(&world, &tester, &path).await;
        let mut crawler = Crawler::tester(&tester, &world);
        let receipt = format!("{path}/receipt");
        crawler.crawl(&[&path, &receipt]).await;
        looked_at.append(&mut crawler.shown);
        every_address_was_looked_at(Who::LabLink, &looked_at);
    }
}

/// Whether an address is one of a row's, whatever stands in its braces.
fn is_of(row: &str, path: &str) -> bool {
    let (row, path): (Vec<&str>, Vec<&str>) = (row.split('/').collect(), path.split('/').collect());
    let is_part = |(own, other): (&&str, &&str)| own.starts_with('{') || own == other;
    row.len() == path.len() && row.iter().zip(&path).all(is_part)
}

/// A page that is never opened is never searched: each row of the table was, and answered with its content. A
/// new row fails here until something on the way leads to it.
fn every_address_was_looked_at(who: Who, shown: &BTreeSet<String>) {
    let rows = table().into_iter();
    let missed: Vec<&str> = rows
        .filter(|row| row.who == who && row.method == Method::GET)
        // A row's own address only leads on to the grid.
        .filter(|row| row.name != "lab-test")
        .filter(|row| !shown.iter().any(|path| is_of(row.path, path)))
        .map(|row| row.path)
        .collect();
    assert!(missed.is_empty(), "never opened: {missed:?}");
}

/// Paths that a curious tester would try.
async fn prying(world: &World, path: &str) -> Vec<String> {
    let mut paths = vec![path.to_owned(), format!("{path}/receipt.txt")];
    let codes = world.ready.places.keys().map(Code::to_string);
    for code in codes.chain(world.blind_codes().await) {
        for page in ["", "/correct"] {
            paths.push(format!("{path}/tests/{code}{page}"));
        }
        paths.push(format!("{path}?at={code}"));
        paths.push(format!("/s/{code}"));
    }
    let record = world.record().await;
    for consignment in &record.consignments {
        paths.push(format!("{path}/{}", consignment.id));
        paths.push(format!("/lab/{}", consignment.id));
        for link in &consignment.links {
            paths.push(format!("/lab/{}", link.id));
        }
        for shot in &consignment.custody.photographs {
            paths.push(format!(
                "{path}/parcel/photographs/{}/large.jpg",
                shot.entry
            ));
        }
    }
    for item in &record.equipment {
        for file in ["", "/paper", "/picture/large.jpg"] {
            paths.push(format!("{path}/equipment/{}{file}", item.entry));
        }
    }
    // The crawler's own answer must not echo what it asks for, so 404s are searched as well.
    paths
}

/// Every answer to a tester's program: all addresses, with everything that a curious one would try, good
/// entries and wrong ones, before, during and after the tests; and the same without a token.
#[tokio::test]
async fn nothing_that_a_testers_token_reaches_tells_a_group() {
    let world = World::packed().await;
    for way_in in &world.links {
        let (tester, path) = at_the_lab(&world.server, way_in).await;
        let token = token(&tester, &format!("{path}/tokens"), true).await;
        let program = Program::new(&world.server.base, &token);
        let stranger = Program::new(&world.server.base, "none");
        let (mut asked, mut shown) = (0, BTreeSet::new());
        for stage in 0..3 {
            match stage {
                1 => drop(set_up_and_test(&world, &tester, &path).await),
                2 => finish(&world, &tester, &path).await,
                _ => {}
            }
            for who in [&program, &stranger] {
                asked += pry(&world, who, &mut shown).await;
            }
        }
        assert!(asked > 300, "only {asked} were asked");
        for who in [Who::Token, Who::TesterToken] {
            every_address_was_looked_at(who, &shown);
        }
    }
}

/// Asks for all that a program can ask for and searches the answers; how many there were.
async fn pry(world: &World, program: &Program, opened: &mut BTreeSet<String>) -> usize {
    let record = world.record().await;
    let mut things = world.blind_codes().await;
    things.extend(world.codes());
    things.extend(record.consignments.iter().map(|one| one.id.to_string()));
    let others = record.consignments[1].id;
    let mut curves = things.clone();
    for consignment in &record.consignments {
        let files = world.server.app.store.curve_files(consignment.id).await;
        curves.extend(files.expect("reads").iter().map(|file| file.id.to_string()));
    }
    let mut asked = 0;
    let mut search = |shown: Shown, mut secrets: Vec<String>, sent: &str| {
        assert!(shown.status.as_u16() < 500, "{}", shown.body());
        // What a sender wrote itself tells it nothing.
        secrets.retain(|secret| secret != sent);
        let given = leaks(&shown, &secrets);
        assert!(given.is_empty(), "{given:?} for {sent}: {}", shown.body());
        asked += 1;
    };
    for route in table()
        .into_iter()
        .filter(|route| route.path.starts_with("/api"))
    {
        // A public study's title stands on its own addresses, for everybody.
        let secrets = match route.who {
            Who::ProgramReader => world.codes(),
            _ => lab_secrets(&world.ready),
        };
        let path = route.path.replace("{study}", &world.ready.slug);
        let path = path
            .replace("{number}", "1")
            .replace("{file}", "specimens.csv");
        for thing in &curves {
            let path = path.replace("{curve}", thing);
            let shown = match route.method {
                Method::GET => program.get(&path).await,
                _ => program.file(&path, TABLE).await,
            };
            if shown.status == 200 && route.method == Method::GET {
                opened.insert(path.clone());
            }
            search(shown, secrets.clone(), thing);
            if !route.path.contains("{curve}") {
                break;
            }
        }
    }
    for thing in &things {
        let secrets = lab_secrets(&world.ready);
        let path = format!("/api/v1/curves?name={thing}.csv&piece={thing}");
        search(program.file(&path, TABLE).await, secrets.clone(), thing);
        let now = world.server.app.clock.now();
        let entry = |kind: &str, body: Value| json!({ "id": world.id(), "kind": kind, "taken_at": now, "body": body });
        let typed = json!({ "text": "3,1", "unit": "lbf" });
        let test = json!({ "blind": thing, "outcome": "valid", "mode": "opened", "typed": typed });
        let sent = json!({ "entries": [
            entry("arrived", json!({ "blind": thing, "arrival": "damaged" })),
            entry("arrived", json!({ "blind": thing, "arrival": "good", "consignment": others })),
            entry("break_tested", test),
            entry("guessed", json!({ "blind": thing, "looks": "exposed", "consignment": thing })),
            entry("break_tested", json!({ "blind": thing, "outcome": "valid", "mode": "opened", "max_load_n": 3120.0 })),
            entry("receipt_noted", json!({ "at": now, "count": 2, "seal": "broken", "seal_number": thing })),
            entry("difference_settled", json!({ "about": format!("piece:{thing}") })),
            entry("equipment_kept", json!({ "equipment": { "kind": "machine", "name": "frame" } })),
            entry("equipment_kept", json!({ "replaces": thing, "change": "since", "equipment": { "kind": "machine", "name": "frame" } })),
            entry("voided", json!({ "entry": thing })),
            entry("waived", json!({ "specimens": [thing] })),
            entry("unblinded", json!({ "consignment": others })),
        ]});
        search(program.post("/api/v1/entries", &sent).await, secrets, thing);
    }
    asked
}

/// A short curve.
const TABLE: &[u8] = b"0;0\n50;1\n100;2\n150;3\n200;4\n250;5\n300;6\n312;7\n2;8\n1;9\n";

/// Sets up, sends curves, opens the parcel and tests half of the pieces; the page of the logger's file.
async fn set_up_and_test(world: &World, tester: &Person, path: &str) -> String {
    let entry = world.id();
    let set_up = [
        ("entry", entry.as_str()),
        ("machine", "frame"),
        ("fixture", "pin"),
        ("unit", "N"),
        ("tested_on", "2026-03-02"),
    ];
    tester.submit(&format!("{path}/set-up"), &set_up).await;
    // Forms sent as they stand may have called pieces missing; those could not be tested.
    let ticked = world.id();
    let all = [("entry", ticked.as_str()), ("act", "all_whole")];
    tester.submit(&format!("{path}/box"), &all).await;
    let codes = tester.open(path).await.texts(".row-head .code");
    // Files of a machine: one named by its code, one that nobody is named in, one with several curves.
    let several = [
        &b"Load [N];Travel [mm]\nPiece one\n"[..],
        TABLE,
        b"Piece two\n",
        TABLE,
    ]
    .concat();
    let named = format!("{}.csv", codes[0]);
    let alone = [&b"Load [N];Travel [mm]\n"[..], TABLE].concat();
    let files = [
        (named.as_str(), alone.clone()),
        ("run 2.csv", [alone, b"3;9\n".to_vec()].concat()),
        ("run 3.csv", several),
    ];
    crate::lab_curves::send(tester, path, &files).await.is(303);
    let logger = open_the_parcel(world, tester, path, &codes[1]).await;
    for (n, code) in codes.iter().enumerate().take(codes.len() / 2) {
        let entry = world.id();
        let load = ["312", "318", "305"][n % 3];
        let row = [
            ("entry", entry.as_str()),
            ("load", load),
            ("outcome", "valid"),
            ("mode", "opened"),
        ];
        tester.submit(&format!("{path}/tests/{code}"), &row).await;
    }
    logger
}

/// The parcel one piece short, a photograph, a logger, and a cell with its certificate; the page of the logger's
/// file.
async fn open_the_parcel(world: &World, tester: &Person, path: &str, code: &str) -> String {
    use crate::house::camera::jpeg;
    use crate::house::parcel::{PDF, send};
    let (a, b, c) = (world.id(), world.id(), world.id());
    let receipt = [
        ("entry", a.as_str()),
        ("at", "2026-03-02"),
        ("count", "1"),
        ("seal", "broken"),
    ];
    let parcel = format!("{path}/parcel");
    tester.submit(&parcel, &receipt).await.is(303);
    let picture = jpeg(60, 40, 1);
    let shows = [("entry", b.as_str()), ("shows", code)];
    let file = [("file", "a.jpg", picture.as_slice())];
    let page = format!("{parcel}/photographs");
    send(tester, &page, &shows, &file).await.is(303);
    let item = [
        ("entry", c.as_str()),
        ("kind", "load_cell"),
        ("name", "cell"),
    ];
    let files = [
        ("paper", "cell 17.pdf", PDF),
        ("picture", "b.jpg", picture.as_slice()),
    ];
    let page = format!("{path}/equipment/new");
    send(tester, &page, &item, &files).await.is(303);
    let table = b"utc;temperature C\n2026-03-01T08:00Z;21\n2026-03-01T09:00Z;22\n";
    let file = [("logger", "t.csv", &table[..])];
    let page = format!("{parcel}/logger");
    let read = send(tester, &page, &[], &file).await;
    let page = read.is(303).header("location").to_owned();
    tester.open(&page).await;
    page
}

async fn finish(world: &World, tester: &Person, path: &str) {
    let box_entry = world.id();
    let all = [("entry", box_entry.as_str()), ("act", "all_whole")];
    tester.submit(&format!("{path}/box"), &all).await;
    let page = tester.open(path).await;
    let codes = page.texts(".row-head .code");
    for code in &codes {
        let entry = world.id();
        let row = [
            ("entry", entry.as_str()),
            ("load", "311"),
            ("outcome", "valid"),
            ("mode", "opened"),
            ("confirmed", "yes"),
            ("order", "yes"),
            ("reason", "as it came"),
        ];
        tester.submit(&format!("{path}/tests/{code}"), &row).await;
    }
    let entry = world.id();
    let looks: Vec<String> = codes.iter().map(|code| format!("looks-{code}")).collect();
    let mut fields = vec![
        ("entry", entry.as_str()),
        ("act", "finish"),
        ("confirmed", "yes"),
    ];
    fields.extend(looks.iter().map(|name| (name.as_str(), "exposed")));
    tester.submit(&format!("{path}/finish"), &fields).await;
    tester.open(&format!("{path}/receipt")).await.ok();
}

#[tokio::test]
async fn a_stranger_learns_a_public_studys_title_from_a_label_and_nothing_else() {
    let world = World::packed().await;
    let stranger = world.server.stranger();
    let mut secrets = world.ready.secrets();
    secrets.extend(world.blind_codes().await);
    secrets.extend(["baseline", "stage", "storage"].map(str::to_owned));
    let missing = stranger.open("/no/such/page").await;
    for code in world.ready.places.keys() {
        let shown = stranger.open(&format!("/s/{code}")).await;
        assert_eq!(shown.ok().text("h1"), "Bent hooks");
        assert_eq!(leaks(&shown, &secrets), Vec::<&str>::new());
        assert_eq!(
            world
                .ready
                .person
                .open(&format!("/s/{code}"))
                .await
                .header("location"),
            format!("/desk/{}/specimens/{code}", world.ready.slug)
        );
    }
    let unknown = Code::run("YY", 0).next().expect("a code").1;
    let nobodys = stranger.open(&format!("/s/{unknown}")).await;
    for code in world.blind_codes().await {
        let shown = stranger.open(&format!("/s/{code}")).await;
        assert_eq!(shown.is(404).bytes, nobodys.bytes);
        let shown = world.ready.person.open(&format!("/s/{code}")).await;
        assert_eq!(shown.is(404).bytes, missing.bytes);
    }
    // Signing in from a label leads back to it, whatever it is.
    for code in [&unknown, world.ready.places.keys().next().expect("a piece")] {
        let shown = stranger.open(&format!("/s/{code}?open=yes")).await;
        shown.redirects_to(&format!("/sign-in?next=%2Fs%2F{code}"));
    }
}

#[tokio::test]
async fn a_label_of_a_private_study_is_a_label_that_nobody_has() {
    let server = TestServer::start().await;
    let ready = Wanted::small().ready(&server, "ada").await;
    let eve = server.steward("eve").await;
    let stranger = server.stranger();
    for code in ready.places.keys() {
        let unknown = Code::run("YY", 0).next().expect("a code").1;
        for person in [&eve, &stranger] {
            let one = person.open(&format!("/s/{code}")).await;
            let other = person.open(&format!("/s/{unknown}")).await;
            assert_eq!(one.is(404).bytes, other.is(404).bytes);
        }
    }
}

#[tokio::test]
async fn the_world_learns_no_code_and_no_value_while_it_is_blind() {
    let world = World::packed().await;
    let (tester, path) = at_the_lab(&world.server, &world.links[0]).await;
    set_up_and_test(&world, &tester, &path).await;
    let stranger = world.server.stranger();
    // The public plan names conditions and stages; which piece is where it must not say.
    let mut secrets = world.codes();
    secrets.extend(world.blind_codes().await);
    secrets.extend(["312", "318", "305", "Fjord Testing"].map(str::to_owned));
    let mut crawler = Crawler::new(&stranger, secrets);
    let codes = world.ready.places.keys().map(|code| format!("/s/{code}"));
    let mut from: Vec<String> = codes.collect();
    from.push("/".to_owned());
    from.push(format!("/studies/{}", world.ready.slug));
    from.push(format!("/desk/{}", world.ready.slug));
    let from: Vec<&str> = from.iter().map(String::as_str).collect();
    crawler.crawl(&from).await;
    assert!(crawler.asked > from.len());
}

#[tokio::test]
async fn the_desk_shows_no_value_and_no_reason_while_it_is_blind() {
    let world = World::packed().await;
    let (tester, path) = at_the_lab(&world.server, &world.links[0]).await;
    set_up_and_test(&world, &tester, &path).await;
    let codes = tester.open(&path).await.texts(".row-head .code");
    let (state, remark) = (
        format!("state-{}", codes[8]),
        format!("remark-{}", codes[8]),
    );
    let entry = world.id();
    let arrived = [
        ("entry", entry.as_str()),
        (&state, "remark"),
        (&remark, "a chipped rim"),
    ];
    tester
        .submit(&format!("{path}/box"), &arrived)
        .await
        .is(303);
    let entry = world.id();
    let row = [
        ("entry", entry.as_str()),
        ("load", "317.25"),
        ("outcome", "invalid"),
        ("mode", "grip_slip"),
        ("looks", "exposed"),
        ("reason", "the pin wandered"),
    ];
    tester
        .submit(&format!("{path}/tests/{}", codes[4]), &row)
        .await
        .is(303);
    // How a piece arrived is no result: both sides see it, so that it can be settled.
    let told = [
        "317.25",
        "305",
        "318",
        "the pin wandered",
        "slipped in the grip",
    ];
    let told = told.map(str::to_owned).to_vec();
    assert_eq!(
        leaks(&tester.open(&path).await, &told).len(),
        5,
        "the tester sees them"
    );
    let mut crawler = Crawler::new(&world.ready.person, told.clone());
    crawler.sends = false;
    let desk = format!("/desk/{}", world.ready.slug);
    let labels = world.ready.places.keys().map(|code| format!("/s/{code}"));
    let from: Vec<String> = labels.chain([desk.clone()]).collect();
    let from: Vec<&str> = from.iter().map(String::as_str).collect();
    crawler.crawl(&from).await;
    assert!(
        crawler.asked > 2 * from.len(),
        "only {} were asked",
        crawler.asked
    );
    let journal = world.ready.person.open(&format!("{desk}/journal")).await;
    assert!(journal.ok().body().contains("not shown before unblinding"));
    unblinded(&world, &told).await;
}

/// A photograph of the study as a whole may be public while everything is blind, once the steward said that it
/// tells no piece; not before, and not past the page. Words that name a piece do not stand beside it.
async fn the_whole_may_be_seen(world: &World) {
    let (ready, stranger) = (&world.ready, world.server.stranger());
    let page = format!("/studies/{}", ready.slug);
    let shots = async || stranger.open(&page).await.ok().texts(".shots small");
    let whole = photographed_of(&ready.script, &Motif::Whole, View::Whole).await;
    let public = format!("{page}/photographs/{whole}/large.jpg");
    stranger.open(&public).await.is(404);
    let said = |shows_no_piece| Entry::PhotographReleased {
        photograph: whole,
        shows_no_piece,
    };
    assert!(ready.script.say(said(false)).await.is_err());
    assert!(shots().await.is_empty());
    ready.script.say(said(true)).await.expect("released");
    assert_eq!(shots().await.len(), 1);
    let shown = stranger.open(&public).await;
    assert_eq!(shown.ok().header("content-type"), "image/jpeg");
    // Attached to a piece it is no photograph of the whole, and of none it is no other.
    for (motif, view) in [
        (Motif::Whole, View::Before),
        (Motif::Piece(ready.of_stage(DAYS)[0].clone()), View::Whole),
        (Motif::Holder("c1h0".to_owned()), View::Whole),
    ] {
        let taken = try_photograph(&ready.script, &motif, view, None).await;
        assert!(taken.is_err(), "{view:?} of {motif:?}");
    }
    // A remark that names a piece of the stage, by either code, is not shown.
    let blind = world.blind_codes_of_the_stage().await;
    for code in [ready.of_stage(DAYS)[0].to_string(), blind[0].to_lowercase()] {
        let words = format!("the bench, {code} in front");
        let taken = try_photograph(&ready.script, &Motif::Whole, View::Whole, Some(&words)).await;
        let photograph = taken.expect("the journal takes it");
        let released = Entry::PhotographReleased {
            photograph,
            shows_no_piece: true,
        };
        ready.script.say(released).await.expect("released");
        let body = stranger.open(&page).await.ok().body();
        assert!(!body.to_lowercase().contains(&code.to_lowercase()));
    }
    // Taken back it is gone at once, whatever was kept for the crowd.
    let withheld = Entry::PhotographWithheld { photograph: whole };
    ready.script.say(withheld).await.expect("withheld");
    assert_eq!(shots().await.len(), 2);
    stranger.open(&public).await.is(404);
}

/// What a steward can release, and what leaves the desk at a secret address, while the stage is blind: the
/// baseline set's photograph goes out with an edition, no picture that shows where a piece of the stage has
/// been does, and the calendar names no piece.
#[tokio::test]
async fn released_photographs_and_the_calendar_tell_no_group() {
    let world = World::packed().await;
    let (ready, stranger) = (&world.ready, world.server.stranger());
    let stage = ready.of_stage(DAYS);
    let hidden = photographed(&ready.script, stage[0], View::InPlace).await;
    let holder = Motif::Holder("c1h0".to_owned());
    let holder = photographed_of(&ready.script, &holder, View::InPlace).await;
    let baseline = photographed(&ready.script, ready.baseline()[0], View::Before).await;
    test_and_unblind(&world).await;
    for (photo, is_refused) in [(hidden, true), (holder, true), (baseline, false)] {
        let entry = world.id();
        let fields = [("entry", entry.as_str()), ("act", "release")];
        let path = format!("/desk/{}/photographs/{photo}", ready.slug);
        let shown = ready.person.submit(&path, &fields).await;
        shown.is(if is_refused { 422 } else { 303 });
        let released = Entry::PhotographReleased {
            photograph: photo,
            shows_no_piece: false,
        };
        let past_the_page = ready.script.say(released).await;
        assert!(
            past_the_page.is_err(),
            "{photo}: refused, or released before"
        );
    }
    the_whole_may_be_seen(&world).await;
    let entry = world.id();
    let editions = format!("/desk/{}/editions", ready.slug);
    ready
        .person
        .submit(&editions, &[("entry", &entry), ("licence", "CC-BY-4.0")])
        .await
        .redirects_to(&editions);
    let album = format!("/studies/{}/editions/1/photographs.html", ready.slug);
    assert_eq!(
        stranger.open(&album).await.ok().texts(".shots a").len(),
        3,
        "the baseline's, and two of the study as a whole"
    );

    let mut secrets: Vec<String> = stage.iter().map(ToString::to_string).collect();
    secrets.extend(world.blind_codes_of_the_stage().await);
    let mut crawler = Crawler::new(&stranger, secrets.clone());
    let labels = ready.places.keys().flat_map(|code| {
        let small = code.to_string().to_lowercase();
        [format!("/s/{code}"), format!("/s/{small}")]
    });
    let desk =
        [hidden, holder].map(|photo| format!("/desk/{}/photographs/{photo}/large.jpg", ready.slug));
    let from: Vec<String> = labels.chain(desk).chain([album, "/".to_owned()]).collect();
    crawler
        .crawl(&from.iter().map(String::as_str).collect::<Vec<_>>())
        .await;
    assert!(
        crawler.asked > from.len() + 10,
        "only {} were asked",
        crawler.asked
    );

    let shown = ready.person.submit("/account/calendar", &[]).await;
    let address = shown.ok().text("#f-address");
    let path = address.strip_prefix(&world.server.base).expect("ours");
    let feed = stranger.open(path).await;
    assert!(
        feed.ok().body().contains("BEGIN:VEVENT"),
        "something is due"
    );
    // Long lines are folded (RFC 5545 §3.1): a code could hide in two of them.
    let unfolded = feed.body().replace("\r\n ", "");
    secrets.extend(world.codes());
    let given: Vec<&String> = secrets
        .iter()
        .filter(|secret| holds(&unfolded, secret))
        .collect();
    assert!(given.is_empty(), "{given:?} in {unfolded}");
}

/// The baseline set is tested and unblinded, so that there is something to publish.
async fn test_and_unblind(world: &World) {
    let (tester, path) = at_the_lab(&world.server, &world.links[1]).await;
    set_up_and_test(world, &tester, &path).await;
    finish(world, &tester, &path).await;
    let record = world.record().await;
    let baseline = record
        .consignments
        .iter()
        .find(|one| one.contents == Contents::Baseline);
    let id = baseline.expect("the baseline set").id;
    let desk = format!("/desk/{}/consignments/{id}", world.ready.slug);
    let entry = world.id();
    let fields = [("entry", entry.as_str()), ("reason", "it is tested")];
    world
        .ready
        .person
        .submit(&format!("{desk}/unblind"), &fields)
        .await
        .redirects_to(&desk);
}

/// Afterwards the same pages show them: so the search was not blind itself.
async fn unblinded(world: &World, told: &[String]) {
    let record = world.record().await;
    let stage = record.consignments.iter().find(|one| one.pieces.len() == 9);
    let id = stage.expect("the stage").id;
    let desk = format!("/desk/{}/consignments/{id}", world.ready.slug);
    let entry = world.id();
    let fields = [("entry", entry.as_str()), ("reason", "a look")];
    let person = &world.ready.person;
    person
        .submit(&format!("{desk}/unblind"), &fields)
        .await
        .redirects_to(&desk);
    let shown = person.open(&desk).await;
    assert!(
        leaks(shown.ok(), told).len() == told.len(),
        "{:?}",
        leaks(&shown, told)
    );
}

// ---- order and codes ----

/// One consignment as the test of chance sees it: the group of each piece, and its rank.
#[derive(Clone)]
struct Ranked {
    groups: Vec<usize>,
    ranks: Vec<f64>,
}

/// The sums of ranks of each group, beyond what equal shares would give, with the group's size.
fn beyond(ranked: &Ranked) -> BTreeMap<usize, (f64, f64)> {
    let middle = (ranked.ranks.len() as f64 + 1.0) / 2.0;
    let mut sums: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for (group, rank) in ranked.groups.iter().zip(&ranked.ranks) {
        let sum = sums.entry(*group).or_default();
        *sum = (sum.0 + rank - middle, sum.1 + 1.0);
    }
    sums
}

/// Groups that stand apart within consignments, each in its own way: the sum over consignments and
/// groups of n · (mean rank − middle rank)², the numerator of Kruskal and Wallis' H (1952).
fn apart(all: &[Ranked]) -> f64 {
    let groups = all.iter().flat_map(|ranked| beyond(ranked).into_values());
    groups.map(|(sum, n)| sum * sum / n).sum()
}

/// Groups that lean the same way in all consignments: the same, of the sums over consignments.
fn leaning(all: &[Ranked]) -> f64 {
    let mut sums: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for (group, (sum, n)) in all.iter().flat_map(beyond) {
        let total = sums.entry(group).or_default();
        *total = (total.0 + sum, total.1 + n);
    }
    sums.values().map(|(sum, n)| sum * sum / n).sum()
}

/// The test's own randomness: Steele, Lea and Flood's SplitMix64 (2014), with a fixed seed.
struct SplitMix(u64);

impl SplitMix {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) % n as u64) as usize
    }

    fn shuffle(&mut self, groups: &mut [usize]) {
        for last in (1..groups.len()).rev() {
            groups.swap(last, self.below(last + 1));
        }
    }
}

/// Chance of a figure at least as large, and at least as small, when the groups are dealt out at
/// random within each consignment: 999 Monte-Carlo permutations (Phipson and Smyth 2010 for the + 1).
fn chances(mut all: Vec<Ranked>, figure: fn(&[Ranked]) -> f64) -> (f64, f64) {
    let found = figure(&all);
    let mut random = SplitMix(11);
    let (mut above, mut below) = (1.0, 1.0);
    for _ in 0..999 {
        for ranked in &mut all {
            random.shuffle(&mut ranked.groups);
        }
        let drawn = figure(&all);
        above += f64::from(u8::from(drawn >= found));
        below += f64::from(u8::from(drawn <= found));
    }
    (above / 1000.0, below / 1000.0)
}

/// Ranks of the pieces by something that the tester sees.
fn ranked<K: Ord>(
    packed: &[Packed],
    group: impl Fn(&Code) -> usize,
    key: impl Fn(usize, &Packed) -> K,
) -> Ranked {
    let mut order: Vec<(usize, &Packed)> = packed.iter().enumerate().collect();
    order.sort_by_key(|(position, piece)| key(*position, piece));
    Ranked {
        groups: order
            .iter()
            .map(|(_, piece)| group(&piece.specimen))
            .collect(),
        ranks: (1..=order.len()).map(|rank| rank as f64).collect(),
    }
}

#[track_caller]
fn looks_like_chance(all: Vec<Ranked>, what: &str) {
    for figure in [apart, leaning] {
        let (above, below) = chances(all.clone(), figure);
        assert!(
            above > 0.002 && below > 0.002,
            "{what}: {above} above, {below} below"
        );
    }
}

/// 200 consignments of 24 pieces in four groups, packed by the function that the page calls.
fn many() -> (Vec<Vec<Packed>>, impl Fn(&Code) -> usize + Clone) {
    let codes: Vec<Code> = Code::run("KT", 0).take(24).map(|(_, code)| code).collect();
    let clock = Clock::set_at(crate::house::server::start_of_tests(), 3);
    let pack = |_| {
        let pieces = codes
            .iter()
            .map(|code| ToPack {
                specimen: code.clone(),
                label: Label::Removed,
                retest_of: None,
            })
            .collect();
        blind(pieces, &BTreeSet::new(), &clock.random(), || clock.random())
    };
    let numbers: BTreeMap<Code, usize> = codes.iter().cloned().zip(0..).collect();
    ((0..200).map(pack).collect(), move |code: &Code| {
        numbers[code] / 6
    })
}

#[test]
fn order_and_codes_carry_no_information_about_the_group() {
    let (all, group) = many();
    let by_position = |packed: &Vec<Packed>| ranked(packed, &group, |position, _| position);
    let by_code = |packed: &Vec<Packed>| ranked(packed, &group, |_, piece| piece.blind.clone());
    looks_like_chance(all.iter().map(by_position).collect(), "order");
    looks_like_chance(all.iter().map(by_code).collect(), "codes");
    // Nor does a code tell its place in the order.
    let halves = |packed: &Vec<Packed>| {
        let place: BTreeMap<Code, usize> = packed
            .iter()
            .map(|piece| piece.specimen.clone())
            .zip(0..)
            .collect();
        ranked(
            packed,
            |code| place[code] / 12,
            |_, piece| piece.blind.clone(),
        )
    };
    looks_like_chance(all.iter().map(halves).collect(), "codes by place");
    let codes: BTreeSet<_> = all[0].iter().map(|piece| piece.blind.clone()).collect();
    assert_eq!(codes.len(), 24);
}

#[test]
fn the_test_of_chance_sees_a_packer_that_cheats() {
    let (all, group) = many();
    let sorted = |packed: &Vec<Packed>| ranked(packed, &group, |_, piece| piece.specimen.clone());
    let (above, _) = chances(all.iter().map(sorted).collect(), apart);
    assert!(above < 0.002, "in the order of making");
    // One piece of the first group slipped to the front in every second consignment.
    let slipped = all.iter().enumerate().map(|(n, packed)| {
        let mut packed = packed.clone();
        let first = packed.iter().rposition(|piece| group(&piece.specimen) == 0);
        if n % 2 == 0 {
            packed.swap(0, first.expect("one"));
        }
        ranked(&packed, &group, |position, _| position)
    });
    let (above, _) = chances(slipped.collect(), leaning);
    assert!(above < 0.002, "one at the front: {above}");
    // Groups dealt out evenly along the order, as a well-meaning person would.
    let dealt = all.iter().map(|packed| {
        let mut packed = packed.clone();
        packed.sort_by_key(|piece| piece.specimen.clone());
        let even: Vec<Packed> = (0..24)
            .map(|n| packed[(n % 4) * 6 + n / 4].clone())
            .collect();
        ranked(&even, &group, |position, _| position)
    });
    let (_, below) = chances(dealt.collect(), apart);
    assert!(below < 0.002, "too even to be chance");
}

#[tokio::test]
async fn the_page_draws_order_and_codes_like_that_and_never_twice_the_same() {
    let server = TestServer::start().await;
    let stages: Vec<u32> = (1..=24).map(|n| n * 10).collect();
    let wanted = Wanted {
        stages: stages.clone(),
        ..Wanted::small()
    };
    let ready = wanted.ready(&server, "ada").await;
    for days in &stages {
        ready
            .pack(&format!("stage-{days}"), &ready.of_stage(*days))
            .await;
    }
    let record = server
        .app
        .store
        .study_record(&ready.slug)
        .await
        .unwrap()
        .unwrap();
    let group = |code: &Code| ready.condition(code).expect("exposed");
    let packed: Vec<Vec<Packed>> = record
        .consignments
        .iter()
        .map(|one| {
            let pieces = one.pieces.iter().map(|piece| Packed {
                specimen: piece.specimen.clone(),
                blind: piece.blind.clone(),
                label: piece.label,
                retest_of: None,
            });
            pieces.collect()
        })
        .collect();
    assert_eq!(packed.len(), 24);
    let by_position = |packed: &Vec<Packed>| ranked(packed, group, |position, _| position);
    let by_code = |packed: &Vec<Packed>| ranked(packed, group, |_, piece| piece.blind.clone());
    looks_like_chance(packed.iter().map(by_position).collect(), "order");
    looks_like_chance(packed.iter().map(by_code).collect(), "codes");
    let codes: BTreeSet<String> = packed
        .iter()
        .flatten()
        .map(|piece| piece.blind.to_string())
        .collect();
    assert_eq!(codes.len(), 24 * 9, "no code is used twice in a study");
}
