//! What a phone recorded reaches the journal exactly once, under the right piece, with the time at
//! which it was taken: the real scripts in a real browser, against the real server, over a line that
//! breaks, while the server is killed, the tab closed and the cookie removed.

use crate::house::bench::{Bench, laid_out};
use crate::house::{Browser, ChildServer, Line, Look, overwinter};
use fantoccini::Locator;
use overwinter::store::{Hold, Store};
use overwinter::study::record::StudyRecord;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tempfile::TempDir;

/// A phone, the line to its server, and what is on the bench.
struct Phone {
    browser: Browser,
    line: Line,
    server: Option<ChildServer>,
    bench: Bench,
    folder: PathBuf,
    _home: TempDir,
}

impl Phone {
    /// Signed in, with a page of the steward's open.
    async fn ready(pieces: usize) -> Self {
        Self::with_room(pieces, None).await
    }

    /// The same on a phone with so many bytes of room for this site.
    async fn with_room(pieces: usize, room: Option<u64>) -> Self {
        let home = tempfile::tempdir().expect("a folder");
        let folder = home.path().join("data");
        let bench = laid_out(&folder, pieces).await;
        let server = ChildServer::start(&folder);
        let line = Line::to(server.address()).await;
        let browser = Browser::open(&line.base, Look::PHONE).await;
        let phone = Self {
            browser,
            line,
            server: Some(server),
            bench,
            folder,
            _home: home,
        };
        if let Some(bytes) = room {
            // Before the first write: the browser remembers for a while how much room there is.
            let quota = json!({ "origin": phone.line.base, "quotaSize": bytes });
            phone
                .browser
                .command("Storage.overrideQuotaForOrigin", quota)
                .await;
        }
        phone.browser.goto("/sign-in").await;
        phone.sign_in().await;
        phone.opens().await;
        phone
    }

    /// Opens a page with the strip; again when a connection from the noisy time before died on a script.
    async fn opens(&self) {
        for _ in 0..4 {
            self.browser.goto("/account").await;
            let wait = self.browser.page.wait();
            let wait = wait.at_most(Duration::from_secs(8));
            if wait.for_element(Locator::Css(".strip")).await.is_ok() {
                return;
            }
        }
        panic!("no strip on four pages");
    }

    /// Gives the browser the session's cookie, as the sign-in form would.
    async fn sign_in(&self) {
        let script = format!("document.cookie = '{}; path=/'", self.bench.cookie);
        self.browser.run(&script).await;
    }

    async fn sign_out(&self) {
        let script = "document.cookie = 'session=; path=/; max-age=0'";
        self.browser.run(script).await;
    }

    /// Records readings through the page's own outbox; their ids with what was recorded.
    async fn record(&self, numbers: std::ops::Range<usize>) -> Vec<Value> {
        let entries: Vec<Value> = numbers
            .map(|n| {
                let reading = self.bench.reading(n);
                let code = reading["body"]["reading"]["specimen"].clone();
                json!({
                    "study": reading["study"], "kind": reading["kind"], "body": reading["body"],
                    "about": [code], "words": format!("{code}: mass 8.4 g"),
                })
            })
            .collect();
        let script = format!(
            "const known = [];
            for (const entry of {}) {{
                const row = await overwinter.outbox.queue(entry);
                known.push({{ id: row.id, specimen: row.about[0], taken_at: row.taken_at }});
            }}
            return known;",
            json!(entries)
        );
        let known = self.browser.run_async(&script).await;
        known.as_array().expect("a list").clone()
    }

    /// Power cut and restart, on the same folder.
    fn restart(&mut self) {
        if let Some(server) = self.server.take() {
            server.kill();
        }
        let server = ChildServer::start(&self.folder);
        self.line.lead_to(server.address());
        self.server = Some(server);
    }

    async fn send(&self) {
        self.browser.run_async("await overwinter.send.now();").await;
    }

    async fn all_sent(&self) {
        self.browser
            .until("document.querySelector('.strip').dataset.waiting === '0'")
            .await;
    }

    /// Stops the server and reads everything on record.
    async fn record_on_disk(&mut self) -> Arc<StudyRecord> {
        drop(self.server.take());
        let store = Store::open(&self.folder, Hold::Alone).await.expect("opens");
        let record = store.study_record("fleece-pegs").await.expect("reads");
        store.close().await.expect("closes");
        record.expect("the study is there")
    }

    /// The same, of readings: entry → piece and moment.
    async fn journal(&mut self) -> BTreeMap<String, (String, String)> {
        let record = self.record_on_disk().await;
        let of = |r: &overwinter::study::record::ReadingRecord| {
            let taken = overwinter::store::moment_to_text(r.taken_at);
            (r.entry.to_string(), (r.reading.specimen.to_string(), taken))
        };
        let readings: Vec<_> = record.readings.iter().map(of).collect();
        let count = readings.len();
        let found: BTreeMap<_, _> = readings.into_iter().collect();
        assert_eq!(found.len(), count, "no id twice");
        found
    }

    async fn says(&self, words: &str) {
        let page = format!("document.body.innerText.includes({words:?})");
        self.browser.until(&page).await;
    }

    /// Another tab instead of this one.
    async fn changes_tabs(&self) {
        let page = &self.browser.page;
        let old = page.window().await.unwrap();
        let new = page.new_window(true).await.unwrap();
        page.switch_to_window(old).await.unwrap();
        page.close_window().await.unwrap();
        page.switch_to_window(new.handle).await.unwrap();
    }
}

/// Every recorded entry is there once, about its piece, with its time, and nothing else is.
fn holds_exactly(journal: &BTreeMap<String, (String, String)>, known: &[Value]) {
    assert_eq!(journal.len(), known.len(), "as many as were recorded");
    for entry in known {
        let id = entry["id"].as_str().expect("an id");
        let (specimen, taken_at) = journal.get(id).unwrap_or_else(|| panic!("{id} is missing"));
        assert_eq!(entry["specimen"], specimen.as_str());
        assert_eq!(entry["taken_at"], taken_at.as_str());
    }
}

fn verifies(folder: &Path) {
    let output = overwinter(&["verify", "--data", folder.to_str().expect("a plain path")]);
    assert!(output.status.success(), "{output:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_thousand_entries_over_random_cuts_arrive_exactly_once() {
    let mut phone = Phone::ready(60).await;
    let mut known = Vec::new();
    for round in 0..20 {
        phone.line.set_noise(true);
        known.extend(phone.record(round * 50..round * 50 + 50).await);
        // Not waited for: on a busy machine a pass takes longer than a script may.
        for _ in 0..4 {
            phone.browser.run("overwinter.send.now();").await;
            tokio::time::sleep(Duration::from_millis(120)).await;
        }
        // Sending goes on while these happen.
        match round % 5 {
            0 => phone.restart(),
            1 => {
                phone.line.cut();
                tokio::time::sleep(Duration::from_millis(40)).await;
                let address = phone.server.as_ref().expect("runs").address().to_owned();
                phone.line.lead_to(&address);
            }
            2 => phone.changes_tabs().await,
            3 => phone.sign_out().await,
            _ => {}
        }
        phone.line.set_noise(false);
        if round % 5 >= 2 {
            phone.browser.goto("/sign-in").await;
            phone.sign_in().await;
            phone.opens().await;
        }
        if round % 5 == 4 {
            phone.browser.run("overwinter.send.now();").await;
            phone.all_sent().await;
        }
    }
    // The same queue once more, from two tabs at once, without the lock that keeps them apart.
    phone
        .browser
        .run_async(
            "Object.defineProperty(navigator, 'locks', { value: undefined });
            const rows = await overwinter.outbox.inState('sent');
            await overwinter.outbox.change(rows.map((row) => [row.n, { state: 'waiting' }]));
            overwinter.send.now(), overwinter.send.now();",
        )
        .await;
    phone.browser.has_sent(1000).await;
    assert!(phone.line.cuts() > 15, "only {} cuts", phone.line.cuts());
    let refused = phone
        .browser
        .run("return document.querySelector('.strip').dataset.refused");
    assert_eq!(refused.await, "0");
    holds_exactly(&phone.journal().await, &known);
    assert_eq!(known.len(), 1000);
    verifies(&phone.folder);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_phone_says_so_and_loses_nothing() {
    let phone = Phone::with_room(5, Some(5_000_000)).await;
    phone.line.cut();
    let known = phone.record(0..3).await;
    let said = phone
        .browser
        .run_async(
            "let note = '';
            for (let n = 0; n < 140; n += 1) {
                note += String.fromCharCode(...crypto.getRandomValues(new Uint16Array(32000)));
            }
            try {
                await overwinter.outbox.queue({ study: '', kind: 'handled', body: {}, note });
            } catch (error) { return overwinter.outbox.sentence(error); }
            return 'saved';",
        )
        .await;
    let said = said.as_str().unwrap().to_owned();
    assert!(
        said.contains("storage is full") && said.contains("not saved"),
        "{said}"
    );
    phone
        .browser
        .until("document.querySelector('.strip').dataset.waiting === '3'")
        .await;
    let rows = phone
        .browser
        .run_async("return overwinter.outbox.all();")
        .await;
    let ids: Vec<&Value> = rows
        .as_array()
        .unwrap()
        .iter()
        .map(|row| &row["id"])
        .collect();
    assert_eq!(
        ids,
        known.iter().map(|entry| &entry["id"]).collect::<Vec<_>>()
    );
    // Before it comes to that, where the browser says how much room there is (this one never does).
    phone
        .browser
        .run_async(
            "navigator.storage.estimate = async () => ({ quota: 30e6, usage: 15e6 });
            overwinter.send.now();",
        )
        .await;
    let strip = "document.querySelector('.strip').textContent";
    phone
        .browser
        .until(&format!("{strip}.includes('storage is nearly full')"))
        .await;
    phone.browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_put_back_to_an_earlier_day_gets_again_what_it_had_acknowledged() {
    let mut phone = Phone::ready(12).await;
    let mut known = phone.record(0..6).await;
    phone.send().await;
    phone.all_sent().await;
    // A backup of this moment.
    drop(phone.server.take());
    let copy = phone.folder.with_extension("copy");
    std::fs::create_dir(&copy).unwrap();
    let database = |folder: &Path| folder.join(overwinter::store::DATABASE_FILE);
    std::fs::copy(database(&phone.folder), database(&copy)).unwrap();
    phone.restart();
    known.extend(phone.record(6..12).await);
    phone.send().await;
    phone.all_sent().await;
    // The disk is lost, the backup put back.
    drop(phone.server.take());
    for file in std::fs::read_dir(&phone.folder).unwrap() {
        std::fs::remove_file(file.unwrap().path()).unwrap();
    }
    std::fs::copy(database(&copy), database(&phone.folder)).unwrap();
    phone.restart();
    phone.send().await;
    phone.all_sent().await;
    phone
        .browser
        .until("overwinter.send.status.word === 'idle'")
        .await;
    holds_exactly(&phone.journal().await, &known);
    verifies(&phone.folder);
}

const NAMELESS: &str = "/desk/fleece-pegs/exposure/nameless";

/// Fills the form for a piece without its mark and saves it; the mark for its bag.
async fn finds_one(phone: &Phone, state: &str) -> String {
    phone.browser.goto(NAMELESS).await;
    let list = phone.browser.find("#f-state").await;
    list.select_by_value(state).await.expect("a state");
    let save = "document.querySelector('form[data-nameless] button').click()";
    let at = "document.querySelector('#f-at')";
    let ahead = format!("window.before = {at}.value; {at}.value = '2099-01-01T10:00'; {save}");
    phone.browser.run(&ahead).await;
    phone.says("This lies in the future").await;
    phone
        .browser
        .run(&format!("{at}.value = window.before; {save}"))
        .await;
    phone.says("Its code follows").await;
    let said = phone.browser.text("[data-bag]").await;
    let mark = said.split_whitespace().nth(1).expect("a mark").to_owned();
    assert!(mark.starts_with('?') && mark.len() == 6, "{said}");
    mark
}

/// Mark → code, as the device knows them.
async fn known_codes(phone: &Phone) -> BTreeMap<String, String> {
    let rows = "return Object.fromEntries((await overwinter.outbox.all())
        .map((row) => [overwinter.outbox.markOf(row.id), row.code]));";
    let rows = phone.browser.run_async(rows).await;
    serde_json::from_value(rows).expect("a code for each mark")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_piece_without_its_mark_gets_one_code_however_often_it_is_sent() {
    let mut phone = Phone::ready(3).await;
    let kept = "document.documentElement.dataset.kept";
    phone
        .browser
        .until(&format!(
            "{kept} && {kept}.split(' of ')[0] === {kept}.split(' of ')[1]"
        ))
        .await;
    phone.line.cut();
    let marks = [
        finds_one(&phone, "damaged").await,
        finds_one(&phone, "fragments").await,
    ];
    phone.browser.fits_the_screen().await;
    phone.browser.picture("nameless-offline").await;
    phone.changes_tabs().await;
    phone.browser.goto(NAMELESS).await;
    phone.says("2 wait on this device").await;
    // Over a bad line, from two at once without the lock that keeps them apart; the server is killed.
    phone.line.set_noise(true);
    let address = phone.server.as_ref().expect("runs").address().to_owned();
    phone.line.lead_to(&address);
    let both = "Object.defineProperty(navigator, 'locks', { value: undefined });
        overwinter.send.now(), overwinter.send.now();";
    phone.browser.run(both).await;
    phone.restart();
    phone.line.set_noise(false);
    phone.opens().await;
    phone.browser.run("overwinter.send.now();").await;
    phone.browser.has_sent(2).await;
    phone.says("2 codes to write on bags").await;
    let codes = known_codes(&phone).await;
    assert_eq!(codes.keys().collect::<Vec<_>>(), sorted(&marks));
    // A device that never heard the answer, and one that did, ask again.
    let again = "const rows = await overwinter.outbox.all();
        await overwinter.outbox.change(rows.map((row, n) =>
            [row.n, { state: 'waiting', code: n === 0 ? null : row.code }]));
        overwinter.send.now();";
    phone.browser.run_async(again).await;
    phone.browser.has_sent(2).await;
    assert_eq!(known_codes(&phone).await, codes);
    let third = mends_a_refused_one(&phone).await;
    let codes = known_codes(&phone).await;
    writes_the_codes(&phone, &codes).await;
    let record = phone.record_on_disk().await;
    let found = record.specimens.iter().filter(|piece| piece.is_nameless);
    let found: Vec<&str> = found.map(|piece| piece.code.as_str()).collect();
    let mut expected: Vec<&String> = codes.values().collect();
    expected.sort_by_key(|code| found.iter().position(|one| one == code));
    assert_eq!(found, expected, "each once");
    assert!(codes.contains_key(&third) && found.len() == 3);
    verifies(&phone.folder);
}

fn sorted(marks: &[String]) -> Vec<&String> {
    let mut marks: Vec<&String> = marks.iter().collect();
    marks.sort();
    marks
}

/// One of a holder that the plan does not know any more: refused, and put right in its form.
async fn mends_a_refused_one(phone: &Phone) -> String {
    let study = &phone.bench.study;
    let queue = format!(
        "const id = overwinter.outbox.newId();
        await overwinter.outbox.queue({{ id, study: '{study}', slug: 'fleece-pegs', kind: 'nameless_found',
            words: 'found', note: 'on the path', body: {{ condition: 'c3', holder: 'gone', stage_days: 180,
            recovery: 'damaged', at: new Date().toISOString() }} }});
        overwinter.send.now();
        return overwinter.outbox.markOf(id);"
    );
    let mark = phone.browser.run_async(&queue).await;
    let refused = "document.querySelector('.strip')?.dataset.refused";
    phone.browser.until(&format!("{refused} === '1'")).await;
    phone.browser.goto("/desk/waiting").await;
    phone.says("Put it right in its form").await;
    phone.browser.fits_the_screen().await;
    phone.browser.picture("nameless-refused").await;
    phone
        .browser
        .run("document.querySelector('[data-form]').click()")
        .await;
    phone.says("The server did not take it").await;
    let note = phone.browser.find("#f-note").await.prop("value").await;
    assert_eq!(note.unwrap().as_deref(), Some("on the path"));
    let save = "document.querySelector('form[data-nameless] button').click()";
    phone.browser.run(save).await;
    phone.browser.has_sent(3).await;
    phone.says("from today: write").await;
    phone.browser.picture("nameless-coded").await;
    mark.as_str().expect("a mark").to_owned()
}

/// The list of codes on the device, until each is said to be written; the piece's page knows its mark.
async fn writes_the_codes(phone: &Phone, codes: &BTreeMap<String, String>) {
    phone.browser.goto("/desk/waiting").await;
    for (mark, code) in codes {
        phone.says(&format!("{mark} is {code}")).await;
    }
    phone.browser.fits_the_screen().await;
    phone.browser.picture("nameless-codes").await;
    for left in (0..codes.len()).rev() {
        phone
            .browser
            .run("document.querySelector('[data-list=codes] button').click()")
            .await;
        phone
            .browser
            .until(&format!(
                "document.querySelectorAll('[data-list=codes] li').length === {left}"
            ))
            .await;
    }
    let (mark, code) = codes.first_key_value().expect("codes");
    phone
        .browser
        .goto(&format!("/desk/fleece-pegs/specimens/{code}"))
        .await;
    phone.says(mark).await;
}
