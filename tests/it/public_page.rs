//! The public page as a reader meets it: on every screen, by keyboard alone, in forced colours, on paper,
//! without scripts; checked by engines that are not ours.

use crate::house::camera::photographed_of;
use crate::house::half::Half;
use crate::house::ready::Wanted;
use crate::house::sheet::Sheet;
use crate::house::{Browser, Look, TestServer, axe, html, told};
use crate::who_may::filled;
use fantoccini::Locator;
use overwinter::study::entry::Entry;
use overwinter::study::photograph::{Motif, View};
use overwinter::web::routes::{Answer, Who, table};
use serde_json::{Value, json};
use std::process::Command;

const EDITION: &str = "/studies/fleece-pegs/editions/1/";

/// The narrowest screen, and a desk's at 400 %.
const NARROW: Look = Look {
    size: (320, 640),
    ..Look::PHONE
};

#[test]
fn the_checker_sees_what_is_wrong() {
    let bad = "<!doctype html><html lang=en><head><title>x</title></head><body><p><ul></p><i id=a></i><b id=a></b>";
    let found = html::faults(&[("/bad".to_owned(), bad.to_owned())]).join("\n");
    assert!(
        found.contains("/bad:1") && found.contains("no-dup-id"),
        "{found}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn every_public_page_and_the_pages_of_desk_and_lab_are_html() {
    let (server, steward) = told::served().await;
    let reader = server.stranger();
    let mut pages = Vec::new();
    let others = self::pages(&server).await;
    let others = others.iter().map(String::as_str);
    for path in ["/sign-in", "/nowhere", "/api", "/s/KT"]
        .into_iter()
        .chain(others)
    {
        pages.push((path.to_owned(), reader.open(path).await.body()));
    }
    let edition = reader.open(EDITION).await.ok().body();
    assert!(
        edition.len() < 100_000,
        "{} bytes before photographs",
        edition.len()
    );
    let first = edition.split("view-2").nth(1).unwrap_or_default();
    assert!(
        first.contains("<svg class=\"chart\""),
        "the figure that decides is drawn on the page"
    );
    let named = edition.matches("<title>KT").count();
    assert!(named > 20, "{named} points name their piece");
    // What stands where an edition was withdrawn.
    let list = "/desk/fleece-pegs/editions";
    let withdraw = format!("{list}/1/withdraw");
    let form = format!("form[action='{withdraw}']");
    let sheet = Sheet::of(&steward.open(list).await, &form).with("reason", "A court asks it.");
    sheet.send(&steward, &withdraw).await.is(303);
    let gone = reader.open(EDITION).await;
    assert_eq!(gone.status, 410);
    pages.push((format!("{EDITION} withdrawn"), gone.body()));

    let half = Half::set_up().await;
    half.script
        .say(Entry::MadePublic {})
        .await
        .expect("is public");
    let record = half.record().await;
    let (link, token) = (half.open.0.to_string(), half.open.1.clone());
    let tester = half.server.stranger();
    tester
        .open(&format!("/lab/{link}/enter/{token}"))
        .await
        .is(303);
    for route in table() {
        if route.method != "GET" || route.answer != Answer::Page {
            continue;
        }
        let who = match route.who {
            Who::LabLink => &tester,
            Who::Signed | Who::StudySteward => &half.steward,
            _ => &tester,
        };
        let path = filled(&route, &record, &link, &token);
        let shown = who.open(&path).await;
        if shown.header("content-type").starts_with("text/html") && !shown.bytes.is_empty() {
            pages.push((path, shown.body()));
        }
    }
    assert!(pages.len() > 40, "only {} pages", pages.len());
    let found = html::faults(&pages);
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// The pages of a public study with results, of one without, and the list of both.
async fn pages(server: &TestServer) -> [String; 5] {
    let wanted = Wanted {
        is_public: true,
        ..Wanted::small()
    };
    let ready = wanted.ready(server, "ada").await;
    let whole = photographed_of(&ready.script, &Motif::Whole, View::Whole).await;
    let released = Entry::PhotographReleased {
        photograph: whole,
        shows_no_piece: true,
    };
    ready.script.say(released).await.expect("released");
    [
        EDITION.to_owned(),
        format!("{EDITION}tables.html"),
        format!("{EDITION}photographs.html"),
        format!("/studies/{}", ready.slug),
        "/".to_owned(),
    ]
}

/// Opens a page with everything on it unfolded.
async fn unfolded(browser: &Browser, page: &str) {
    browser.goto(page).await;
    browser.find("h1").await;
    browser
        .run("for (const one of document.querySelectorAll('details')) one.open = true")
        .await;
}

#[tokio::test]
async fn the_page_fits_every_screen_and_offends_no_engine() {
    let (server, _steward) = told::served().await;
    let pages = pages(&server).await;
    for look in [NARROW.dark(), Look::PHONE, Look::DESK] {
        let browser = Browser::open(&server.base, look).await;
        for page in &pages {
            unfolded(&browser, page).await;
            browser.fits_the_screen().await;
            axe::finds_nothing(&browser).await;
        }
        browser.picture(&format!("edition-{}", look.size.0)).await;
        if look == Look::DESK {
            enlarged(&browser, &pages).await;
            by_keyboard(&browser).await;
            in_forced_colours(&browser).await;
            nothing_moves(&browser).await;
            on_paper(&browser).await;
        }
        browser.close().await;
    }
}

/// A desk's 1280 × 900 at 200 % and 400 % (WCAG 2.2, 1.4.4 and 1.4.10), which are 640 × 450 and 320 × 225 of the
/// page's own pixels; and a phone with letters of twice the size.
async fn enlarged(browser: &Browser, pages: &[String]) {
    const METRICS: &str = "Emulation.setDeviceMetricsOverride";
    for (width, height, times) in [(640, 450, 2), (320, 225, 4)] {
        let zoom = json!({ "width": width, "height": height, "deviceScaleFactor": times, "mobile": false });
        browser.command(METRICS, zoom).await;
        for page in pages {
            unfolded(browser, page).await;
            assert_eq!(browser.number("innerWidth").await, f64::from(width));
            browser.fits_the_screen().await;
            assert_eq!(browser.run(CUT_OFF).await, json!([]), "{page} × {times}");
            // At four times it is the narrowest screen, which the engine has seen.
            if times == 2 {
                axe::finds_nothing(browser).await;
            }
        }
    }
    let phone = json!({ "width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": true });
    browser.command(METRICS, phone).await;
    for page in pages {
        unfolded(browser, page).await;
        browser
            .run("document.documentElement.style.fontSize = '200%'")
            .await;
        browser.fits_the_screen().await;
        assert_eq!(
            browser.run(CUT_OFF).await,
            json!([]),
            "{page}, large letters"
        );
    }
    let clear = "Emulation.clearDeviceMetricsOverride";
    browser.command(clear, json!({})).await;
}

/// What reaches beyond the screen outside of a table that scrolls by itself, or of a figure.
const CUT_OFF: &str = "
    const width = document.documentElement.clientWidth;
    return [...document.querySelectorAll('main *, header *, footer *')]
        .filter((one) => !one.closest('.wide, svg') && one.checkVisibility())
        .filter((one) => one.getBoundingClientRect().right > width + 1)
        .map((one) => one.outerHTML.slice(0, 100));";

/// The switch is reached by Tab and turned by the arrow keys.
async fn by_keyboard(browser: &Browser) {
    browser.goto(EDITION).await;
    let at = "document.activeElement.id";
    for _ in 0..30 {
        browser.type_keys("\t").await;
        if browser.run(&format!("return {at}")).await == json!("view-1") {
            break;
        }
    }
    assert_eq!(browser.run(&format!("return {at}")).await, json!("view-1"));
    let focused = browser.page.active_element().await.expect("the switch");
    focused
        .send_keys("\u{e014}")
        .await
        .expect("the right arrow");
    assert_eq!(browser.run(&format!("return {at}")).await, json!("view-2"));
    assert!(
        is_shown(browser, ".view-2 .chart").await && !is_shown(browser, ".view-1 .chart").await
    );
}

/// By its place alone: a page without scripts answers no other question.
async fn is_shown(browser: &Browser, selector: &str) -> bool {
    let found = browser.page.find(Locator::Css(selector)).await;
    let place = found.expect("it is there").rectangle().await;
    let (_, _, width, height) = place.expect("its place");
    width > 0.0 && height > 0.0
}

/// A tap at a place, by the browser itself: the driver's own tap needs scripts.
async fn tap(browser: &Browser, selector: &str) {
    let place = browser.find(selector).await.rectangle().await;
    let (left, top, width, height) = place.expect("its place");
    for event in ["mousePressed", "mouseReleased"] {
        let at = json!({
            "type": event, "x": left + width / 2.0, "y": top + height / 2.0,
            "button": "left", "clickCount": 1,
        });
        browser.command("Input.dispatchMouseEvent", at).await;
    }
}

/// Every mark has the reader's own colour, none that only the page knows.
async fn in_forced_colours(browser: &Browser) {
    let forced = json!({ "features": [{ "name": "forced-colors", "value": "active" }] });
    browser.command("Emulation.setEmulatedMedia", forced).await;
    let other = browser
        .run(
            "const ink = getComputedStyle(document.body).color;
            const marks = [...document.querySelectorAll('.chart g[class^=f], .chart g[class^=s]')];
            return marks.filter((one) => {
                const style = getComputedStyle(one);
                return one.classList[0][0] === 'f' ? style.fill !== ink : style.stroke !== ink;
            }).map((one) => one.classList[0]);",
        )
        .await;
    assert_eq!(other, json!([]));
    browser
        .command("Emulation.setEmulatedMedia", json!({ "features": [] }))
        .await;
}

async fn nothing_moves(browser: &Browser) {
    let moving = browser
        .run(
            "return [...document.querySelectorAll('*')].filter((one) => {
                const style = getComputedStyle(one);
                return style.animationName !== 'none' || parseFloat(style.transitionDuration) > 0;
            }).length + (getComputedStyle(document.documentElement).scrollBehavior === 'smooth' ? 1 : 0);",
        )
        .await;
    assert_eq!(moving, json!(0));
}

/// Printed by the browser, read back by poppler: the summary on one page, every page numbered, nothing cut
/// off at the right, links spelled out, heads of tables again on the next page.
async fn on_paper(browser: &Browser) {
    for (name, width, height) in [("a4", 8.27, 11.69), ("letter", 8.5, 11.0)] {
        let asked =
            json!({ "paperWidth": width, "paperHeight": height, "preferCSSPageSize": false });
        let printed = browser.command("Page.printToPDF", asked).await;
        let pages = read_back(name, &printed);
        let count = pages.len();
        assert!(count > 3, "{count} pages of {name}");
        for (at, page) in pages.iter().enumerate() {
            let number = format!("{} of {count}", at + 1);
            assert!(page.contains(&number), "{number} on {name}: {page}");
        }
        let (summary, rest) = pages.split_first().expect("a page");
        assert!(
            summary.contains("The answer") && summary.contains("outside witnesses"),
            "{summary}"
        );
        assert!(
            summary.contains("Maximum load after 180 days."),
            "the figure's caption: {summary}"
        );
        assert!(
            !summary.contains("The comparison that decides"),
            "{summary}"
        );
        let rest = rest.join("\n");
        for words in [
            "The comparison that decides",
            "(photographs.html)",
            "(plan.json)",
        ] {
            assert!(rest.contains(words), "{words} on {name}");
        }
        let heads = rest.matches("Outcome").count();
        assert!(
            heads > 1,
            "the head of the table of all pieces stands on {heads} page of {name}"
        );
    }
}

/// The pages of a PDF as text, by pdftotext. Kept for a person to look at, when `OVERWINTER_SHOTS` names a
/// folder.
fn read_back(name: &str, printed: &Value) -> Vec<String> {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("printed.pdf");
    let encoded = printed["value"]["data"].as_str().expect("a PDF in base64");
    std::fs::write(folder.path().join("printed.b64"), encoded).expect("it is written");
    let decoded = Command::new("base64")
        .arg("-d")
        .arg(folder.path().join("printed.b64"))
        .output()
        .expect("base64 is on every Debian");
    std::fs::write(&file, &decoded.stdout).expect("it is written");
    if let Ok(shots) = std::env::var("OVERWINTER_SHOTS") {
        std::fs::copy(&file, format!("{shots}/edition-{name}.pdf")).expect("it is kept");
    }
    let text = Command::new("pdftotext")
        .arg("-layout")
        .arg(&file)
        .arg("-")
        .output();
    let text = text.expect("tests/run has installed poppler-utils");
    let text = String::from_utf8_lossy(&text.stdout).into_owned();
    let pages: Vec<&str> = text.trim_end_matches('\u{c}').split('\u{c}').collect();
    pages.into_iter().map(str::to_owned).collect()
}

#[tokio::test]
async fn the_switch_works_without_scripts() {
    let (server, _steward) = told::served().await;
    // High enough that nothing has to be scrolled.
    let look = Look {
        size: (320, 2600),
        ..NARROW.without_scripts()
    };
    let browser = Browser::open(&server.base, look).await;
    browser.goto(EDITION).await;
    assert!(
        is_shown(&browser, ".view-1 .chart").await && !is_shown(&browser, ".view-3 .chart").await
    );
    tap(&browser, "label:has(#view-3)").await;
    assert!(
        is_shown(&browser, ".view-3 .chart").await && !is_shown(&browser, ".view-1 .chart").await
    );
    browser.picture("edition-320-mass").await;
    browser.close().await;
}
