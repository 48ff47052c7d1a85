//! Every page of the steward's, checked by axe-core and by keyboard: on a phone by day and by night, and at
//! twice the size.

use crate::custody::LOGGER;
use crate::house::desk::{Desk, SLUG};
use crate::house::half::Half;
use crate::house::{Browser, Look, PASSWORD, Person, axe, parcel};
use crate::study_brought::{looked, unequal};
use crate::who_may::filled;
use overwinter::web::routes::{Answer, Who, table};
use serde_json::json;

#[tokio::test]
async fn the_engine_sees_what_is_wrong() {
    let desk = Desk::ready().await;
    let browser = Browser::open(&desk.server.base, Look::PHONE).await;
    browser.goto("/sign-in").await;
    axe::finds_nothing(&browser).await;
    let spoil = "document.querySelector('label').remove(); document.documentElement.lang = '';";
    browser.page.execute(spoil, Vec::new()).await.unwrap();
    let found = axe::violations(&browser).await.join("\n");
    assert!(
        found.contains("label") && found.contains("html-has-lang"),
        "{found}"
    );
    browser.close().await;
}

/// What is wrong with the page that is open: on a phone in light and dark, by keyboard, with letters of
/// twice the size, and on a desk's 1280 × 900 at 200 %, which are 640 × 450 of its own pixels.
async fn faults(browser: &Browser, page: &str) -> Vec<String> {
    phone(browser).await;
    browser.goto(page).await;
    // Only who is signed in has a strip.
    browser
        .until("document.querySelector('.strip') || !document.body.dataset.account")
        .await;
    browser.find("h1").await;
    let mut found = axe::violations(browser).await;
    if browser.run(HERE_UNSEEN).await == json!(true) {
        found.push("the name of the page that is open is out of sight".into());
    }
    prefers(browser, "dark").await;
    found.extend(axe::contrast(browser).await);
    prefers(browser, "light").await;
    found.extend(reached(browser, "phone").await);
    letters(browser, "200%").await;
    found.extend(reached(browser, "phone, letters twice as large").await);
    letters(browser, "").await;
    let twice = json!({ "width": 640, "height": 450, "deviceScaleFactor": 2, "mobile": false });
    browser
        .command("Emulation.setDeviceMetricsOverride", twice)
        .await;
    found.extend(reached(browser, "desk, twice as large").await);
    phone(browser).await;
    found
        .into_iter()
        .map(|one| format!("{page}: {one}"))
        .collect()
}

async fn phone(browser: &Browser) {
    let phone = json!({ "width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": true });
    browser
        .command("Emulation.setDeviceMetricsOverride", phone)
        .await;
}

async fn prefers(browser: &Browser, scheme: &str) {
    let scheme = json!([{ "name": "prefers-color-scheme", "value": scheme }]);
    let media = json!({ "features": scheme });
    browser.command("Emulation.setEmulatedMedia", media).await;
    let dark = browser
        .run("return matchMedia('(prefers-color-scheme: dark)').matches")
        .await;
    assert_eq!(dark, json!(scheme[0]["value"] == "dark"));
}

async fn letters(browser: &Browser, size: &str) {
    let set = format!("document.documentElement.style.fontSize = '{size}'");
    browser.run(&set).await;
}

/// What the keyboard does not reach, what the strip hides, and whether the page is wider than the screen.
async fn reached(browser: &Browser, look: &str) -> Vec<String> {
    // The strip measures itself when a frame is drawn.
    let drawn =
        "await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));";
    browser.run_async(drawn).await;
    let hidden = browser.run(HIDDEN_FOCUS).await;
    let hidden = hidden.as_array().expect("a list").clone();
    hidden.iter().map(|one| format!("{look}: {one}")).collect()
}

pub async fn signed_in(base: &str, name: &str) -> Browser {
    let browser = Browser::open(base, Look::PHONE).await;
    browser.goto("/sign-in").await;
    browser.type_keys(&format!("{name}\t{PASSWORD}\n")).await;
    browser.find("a[href='/account']").await;
    browser
}

/// Pages that the table of routes does not show as they are when something is chosen on them.
#[tokio::test]
async fn the_pages_of_the_bench_have_no_violation() {
    let desk = Desk::ready().await;
    desk.put_out("c3").await;
    let round = format!(
        "round?quantity=mass&occasion=before&instrument={}&unit=g&state=conditioned",
        desk.balance
    );
    let pages = [
        "round",
        "round?quantity=mass&occasion=before",
        &round,
        "exposure/out",
        "exposure/in?stage=180&condition=",
        "exposure/handle?what=damaged",
        "holders/c3h1",
        "instruments",
        "journal",
    ];
    let browser = signed_in(&desk.server.base, "runa").await;
    let mut found = Vec::new();
    let others = [
        "/desk",
        "/account",
        "/account/calendar",
        "/account/reminders",
        "/desk/waiting",
    ];
    let own = pages.iter().map(|page| format!("/desk/{SLUG}/{page}"));
    for page in others.map(str::to_owned).into_iter().chain(own) {
        found.extend(faults(&browser, &page).await);
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
    browser.close().await;
}

/// Pages that are opened on a set-up of their own, by the test named beside each.
const ELSEWHERE: [(&str, &str); 7] = [
    (
        "break-test-correct",
        "lab_browser::the_whole_consignment_by_keyboard_alone",
    ),
    (
        "drying-piece",
        "steward_drying::the_pages_of_drying_have_no_violation",
    ),
    (
        "series-read",
        "environment::the_pages_of_the_exposure_record_have_no_violation",
    ),
    (
        "weather",
        "environment::the_pages_of_the_exposure_record_have_no_violation",
    ),
    (
        "label-sheets",
        "labels::a_photographed_sheet_is_read_from_the_screen_and_the_pages_pass_in_every_look",
    ),
    (
        "lab-curve",
        "lab_browser::every_page_of_a_consignment_fits_a_phone_and_a_desk_in_light_and_dark",
    ),
    (
        "lab-receipt",
        "lab_browser::the_whole_consignment_by_keyboard_alone",
    ),
];

/// Each of these tests is there and walks its pages as this file does.
#[test]
fn what_is_walked_elsewhere_is_walked() {
    for (route, test) in ELSEWHERE {
        let (module, name) = test.split_once("::").expect("module::test");
        let file = format!("{}/tests/it/{module}.rs", env!("CARGO_MANIFEST_DIR"));
        let source = std::fs::read_to_string(&file).expect("a module of tests");
        assert!(
            source.contains(&format!("async fn {name}()")),
            "{route}: {test}"
        );
        assert!(source.contains("accessible::walked("), "{route}: {module}");
    }
}

/// Rows that open no page: files that this study does not have, and an address that leads to another page's.
const NO_PAGE: [&str; 6] = [
    "specimen-curve",
    "environment-file",
    "lab-curve-original",
    "lab-curve-plot",
    "lab-receipt-text",
    "lab-test",
];

/// The pages of the table for these people, as they open on this study for this person; what the table names
/// beyond that and what opens no page must be in `known`.
async fn pages(
    half: &Half,
    (whose, person, link): (&[Who], &Person, &str),
    own: &[(&str, String)],
) -> Vec<String> {
    let record = half.record().await;
    let (mut pages, mut left) = (Vec::new(), Vec::new());
    for route in table() {
        let is_page = route.method == "GET" && route.answer == Answer::Page;
        if !is_page || !whose.contains(&route.who) {
            continue;
        }
        let special = own.iter().find(|(name, _)| *name == route.name);
        let path = special.map_or_else(
            || filled(&route, &record, link, "none"),
            |(_, path)| path.clone(),
        );
        let shown = person.open(&path).await;
        let is_html = shown.header("content-type").starts_with("text/html");
        match (shown.status.as_u16(), is_html) {
            (200, true) => pages.push(path),
            // Files are no pages.
            (200, false) => {}
            _ if ELSEWHERE.iter().any(|(name, _)| *name == route.name) => {}
            _ if NO_PAGE.contains(&route.name) => {}
            (status, _) => left.push(format!("{} {path} {status}", route.name)),
        }
    }
    assert!(left.is_empty(), "not walked: {}", left.join("\n"));
    pages
}

/// Asserts that none of these pages has a fault in any look; the browser is a phone afterwards.
pub async fn walked(browser: &Browser, pages: &[String]) {
    let mut found = Vec::new();
    for page in pages {
        found.extend(faults(browser, page).await);
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// Every page of the steward's that the table of routes names, on a study with everything in it: every second
/// one from this place on, so that two tests share them.
async fn steward_walked(from: usize) {
    let half = Half::set_up().await;
    let (look, _) = looked(&half.steward, "unequal.csv", unequal()).await;
    let whose = [Who::Signed, Who::StudySteward];
    let own = [("study-look", look)];
    let pages = pages(&half, (&whose, &half.steward, "none"), &own).await;
    assert!(pages.len() > 25, "only {} pages: {pages:?}", pages.len());
    let browser = signed_in(&half.server.base, "ragna").await;
    let own: Vec<String> = pages.into_iter().skip(from).step_by(2).collect();
    walked(&browser, &own).await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn no_page_of_the_steward_has_a_violation_by_day_by_night_by_keyboard_or_at_twice_the_size() {
    steward_walked(0).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn nor_has_any_other_page_of_the_steward() {
    steward_walked(1).await;
}

/// Every page of the tester's, the look at a logger's file among them.
#[tokio::test(flavor = "multi_thread")]
async fn no_page_of_the_tester_has_a_violation_by_day_by_night_by_keyboard_or_at_twice_the_size() {
    let half = Half::set_up().await;
    let (link, token) = (half.open.0.to_string(), half.open.1.clone());
    let tester = half.tester(&half.open).await;
    let logger = format!("/lab/{link}/parcel/logger");
    let files: [(&str, &str, &[u8]); 1] = [("logger", "t.csv", LOGGER.as_bytes())];
    let sent = parcel::send(&tester, &logger, &[], &files).await;
    let look = sent.is(303).header("location").to_owned();
    let record = half.record().await;
    let broken = &record.consignments[0].tests[0].test.blind;
    let correct = format!("/lab/{link}/tests/{broken}/correct");
    let own = [("lab-logger", look), ("lab-correct", correct)];
    let pages = pages(&half, (&[Who::LabLink], &tester, &link), &own).await;
    assert!(pages.len() > 12, "only {} pages: {pages:?}", pages.len());
    let browser = Browser::open(&half.server.base, Look::PHONE).await;
    browser.goto(&format!("/lab/{link}/enter/{token}")).await;
    browser.find("h1").await;
    walked(&browser, &pages).await;
    browser.close().await;
}

/// Whether the line of a study's pages hides the one that is open.
const HERE_UNSEEN: &str = "
    const here = document.querySelector('nav.study [aria-current]')?.getBoundingClientRect();
    return Boolean(here) && (here.left < 0 || here.right > innerWidth);";

/// Whether the page is wider than the screen, what the keyboard cannot reach, and what the strip hides when it has the focus (WCAG 2.2, 2.1.1 and
/// 2.4.11).
const HIDDEN_FOCUS: &str = "
    const strip = document.querySelector('.strip');
    const root = document.documentElement;
    const wide = root.scrollWidth > root.clientWidth ? [`${root.scrollWidth} wide on ${root.clientWidth}`] : [];
    const all = [...document.querySelectorAll('main :is(a[href], button, input, select, textarea, summary)')];
    const seen = all.filter((one) => one.type !== 'hidden' && !one.ariaHidden && !one.disabled && one.checkVisibility());
    return wide.concat(seen.flatMap((one) => {
        document.activeElement.blur();
        one.focus();
        const name = one.outerHTML.slice(0, 120);
        if (document.activeElement !== one || one.tabIndex < 0) return [`not by keyboard: ${name}`];
        const top = one.getBoundingClientRect().top, cover = strip ? strip.getBoundingClientRect().top : innerHeight;
        return top > cover - 4 ? [`hidden by the strip: ${name}`] : [];
    }));";
