//! A year at the desk without a pointer: the measuring round, putting out, taking in, drying, labels and a
//! logger's file, with Tab, Enter and Space alone, and the focus in sight at every stop (WCAG 2.2, 2.1.1,
//! 2.4.7 and 2.4.11).

use crate::house::desk::{Desk, PIECES, SLUG, small_plan};
use crate::house::{Browser, Look, PASSWORD};
use fantoccini::key::Key;
use overwinter::study::code::Code;
use overwinter::study::plan::{DryingPlan, DryingRule};
use overwinter::study::record::EventKind;
use serde_json::json;

/// Whether the focus is on what fits, and what is wrong with it: nothing of its ring, or not in sight. Nothing has
/// it where Tab leaves the page.
const FOCUS: &str = "const one = document.activeElement;
    if (!one || one === document.body || one.matches('main')) return [false, ''];
    const isThere = one.matches(arguments[0]);
    const style = getComputedStyle(one), box = one.getBoundingClientRect();
    const strip = document.querySelector('.strip')?.getBoundingClientRect().top ?? innerHeight;
    const cover = one.closest('.strip') ? innerHeight : strip;
    const isRinged = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2;
    const isInSight = box.bottom > 0 && box.top < cover;
    const seen = `${style.outlineStyle} ${style.outlineWidth} ${box.top} to ${box.bottom} of ${cover}`;
    return [isThere, isRinged && isInSight ? '' : `${seen}: ${one.outerHTML.slice(0, 160)}`];";

struct Keys<'d> {
    desk: &'d Desk,
    browser: Browser,
}

impl Keys<'_> {
    async fn sign_in(&self) {
        self.browser.goto("/sign-in").await;
        self.browser.type_keys(&format!("runa\t{PASSWORD}\n")).await;
        self.browser.find("a[href='/account']").await;
    }

    /// Opens a page and, where nothing has the focus, goes past its head as the first link offers.
    async fn opens(&self, page: &str) {
        self.browser.goto(&format!("/desk/{SLUG}/{page}")).await;
        self.browser.find("main h1").await;
        self.browser.find(".strip").await;
        let is_free = "return document.activeElement === document.body";
        if self.browser.run(is_free).await == json!(true) {
            self.tab_to(".skip").await;
            self.press("\n").await;
        }
    }

    async fn press(&self, key: &str) {
        self.browser.type_keys(key).await;
    }

    /// The key itself: typed into a file's field, a driver would take it for a path.
    async fn tab(&self) {
        for kind in ["keyDown", "keyUp"] {
            let key = json!({
                "type": kind, "key": "Tab", "code": "Tab", "windowsVirtualKeyCode": 9,
            });
            self.browser.command("Input.dispatchKeyEvent", key).await;
        }
    }

    /// Presses Tab until the focus is on what fits; at every stop it must be seen.
    async fn tab_to(&self, selector: &str) {
        for _ in 0..150 {
            let found = self.browser.page.execute(FOCUS, vec![json!(selector)]);
            let found = found.await.expect("it is looked at");
            assert_eq!(found[1], json!(""), "the focus is not seen");
            if found[0] == json!(true) {
                return;
            }
            self.tab().await;
        }
        panic!("Tab never reaches {selector}");
    }

    async fn says(&self, words: &str) {
        let page = format!("document.body.innerText.includes({words:?})");
        self.browser.until(&page).await;
    }

    async fn events(&self, what: impl Fn(&EventKind) -> bool) -> Vec<Code> {
        let record = self.desk.record().await;
        let events = record.events.iter().filter(|event| what(&event.what));
        events.map(|event| event.specimen.clone()).collect()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_year_at_the_desk_needs_no_pointer() {
    let mut plan = small_plan();
    plan.drying = Some(DryingPlan {
        rule: DryingRule::usual(),
        is_before_too: false,
    });
    let desk = Desk::planned(plan).await.with_pieces(PIECES).await;
    let desk = desk.measured_but(&[0]).await.drawn().await.sealed().await;
    let browser = Browser::open(&desk.server.base, Look::DESK).await;
    // The window that a person looks at has the focus; a headless one may lose it with a page.
    let focused = json!({ "enabled": true });
    let command = "Emulation.setFocusEmulationEnabled";
    browser.command(command, focused).await;
    let keys = Keys {
        desk: &desk,
        browser,
    };
    keys.sign_in().await;
    measures(&keys).await;
    puts_out(&keys).await;
    desk.wait(180).await;
    keys.sign_in().await;
    takes_in(&keys).await;
    dries(&keys).await;
    prints_labels(&keys).await;
    sends_a_logger(&keys).await;
    keys.browser.close().await;
}

/// The settings of a round by keyboard, then its one piece: nothing but Enter beyond the digits.
async fn measures(keys: &Keys<'_>) {
    keys.opens("round").await;
    keys.tab_to("main a[href*='quantity=mass']").await;
    keys.press("\n").await;
    keys.browser
        .until("location.search.includes('quantity=mass')")
        .await;
    keys.browser.find("main form").await;
    if keys
        .browser
        .run("return !document.querySelector('[data-round]')")
        .await
        == json!(true)
    {
        keys.tab_to("main form button").await;
        keys.press("\n").await;
    }
    keys.browser
        .until("document.querySelector('[data-ready]')")
        .await;
    assert_eq!(keys.browser.focused_field().await, "value");
    keys.press("8.41\n").await;
    keys.says("Every piece of this round has its readings.")
        .await;
    keys.browser.has_sent(1).await;
}

async fn puts_out(keys: &Keys<'_>) {
    keys.opens("exposure/out").await;
    keys.tab_to("input[value='condition:c3']").await;
    keys.press(" ").await;
    keys.tab_to("form[data-put-out] .actions button").await;
    keys.press(" ").await;
    keys.says("put out: recorded.").await;
    keys.browser.has_sent(2).await;
    let out = keys.events(|what| *what == EventKind::PutOut).await;
    assert!(out.len() >= 3, "{out:?}");
}

/// One is found damaged: an arrow key in its list.
async fn takes_in(keys: &Keys<'_>) {
    keys.opens("exposure/in?stage=180&condition=").await;
    keys.tab_to("select[name^=state-]").await;
    keys.press(&Key::Down.to_string()).await;
    keys.tab_to("form[data-take-in] .actions button").await;
    keys.press("\n").await;
    keys.says("taken in: recorded.").await;
    keys.browser.has_sent(3).await;
}

/// A weighing, the rule overridden with a reason, the mass taken.
async fn dries(keys: &Keys<'_>) {
    let back = keys
        .events(|what| matches!(what, EventKind::TakenIn { .. }))
        .await;
    keys.opens("drying").await;
    keys.tab_to("#f-code").await;
    keys.press(back[0].as_str()).await;
    keys.tab_to("#f-value").await;
    keys.press("8.4\n").await;
    keys.says("drying, 8.4 g: recorded; weigh again after")
        .await;
    keys.tab_to("[data-early] summary").await;
    keys.press("\n").await;
    keys.tab_to("#f-early").await;
    keys.press("it goes to the lab today").await;
    keys.tab_to("[data-early] button").await;
    keys.press(" ").await;
    keys.says("The rule is overridden").await;
    keys.tab_to("[data-take]").await;
    keys.press(" ").await;
    keys.says("dry mass 8.4 g: recorded.").await;
    keys.browser.has_sent(6).await;
}

async fn prints_labels(keys: &Keys<'_>) {
    keys.opens("labels").await;
    keys.tab_to("select[name=stock]").await;
    keys.tab_to("input[name=content]").await;
    keys.press(&Key::Down.to_string()).await;
    keys.tab_to("main form .actions button").await;
    keys.press("\n").await;
    keys.browser
        .until("location.pathname.endsWith('/labels/sheets')")
        .await;
    keys.browser.find("svg").await;
}

/// The file's field opens a window of the system's own: here it is given its file, as a driver does.
async fn sends_a_logger(keys: &Keys<'_>) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("logger.csv");
    let rows =
        "Time;Temp (°C)\n01.03.2026 01:00;10,0\n01.03.2026 02:00;10,5\n01.03.2026 03:00;9,5\n";
    std::fs::write(&file, rows).expect("a file");
    keys.opens("environment/new").await;
    keys.tab_to("#f-file").await;
    keys.press(file.to_str().expect("a path")).await;
    keys.tab_to("main form button").await;
    keys.press("\n").await;
    keys.browser
        .until("location.pathname.endsWith('/environment/read')")
        .await;
    keys.says("What was guessed").await;
    keys.tab_to("#f-name").await;
    keys.press("blue logger").await;
    keys.tab_to("#f-place").await;
    keys.press(&Key::Down.to_string()).await;
    keys.tab_to("main form .actions button:not([name])").await;
    keys.press("\n").await;
    keys.browser
        .until("!location.pathname.endsWith('/environment/read')")
        .await;
    keys.says("blue logger").await;
}
