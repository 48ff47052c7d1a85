//! Every page of the steward's that these looks show, checked by axe-core.

use crate::house::desk::{Desk, SLUG};
use crate::house::half::Half;
use crate::house::{Browser, Look, PASSWORD, axe};
use crate::who_may::filled;
use overwinter::web::routes::{Answer, Who, table};

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

#[tokio::test]
async fn the_pages_of_the_bench_have_no_violation_in_light_and_dark() {
    let desk = Desk::ready().await;
    let round = format!(
        "round?quantity=mass&occasion=before&instrument={}&unit=g&state=conditioned",
        desk.balance
    );
    let code = desk.record().await.specimens[0].code.to_string();
    let piece = format!("specimens/{code}");
    let pages = [
        "round",
        "round?quantity=mass&occasion=before",
        &round,
        "specimens",
        &piece,
        "exposure",
        "exposure/handle",
        "instruments",
        "journal",
    ];
    for look in [Look::PHONE, Look::PHONE.dark()] {
        let browser = Browser::open(&desk.server.base, look).await;
        browser.goto("/sign-in").await;
        browser.type_keys(&format!("runa\t{PASSWORD}\n")).await;
        browser.find("a[href='/account']").await;
        let mut found = Vec::new();
        for page in [
            "/desk",
            "/account",
            "/account/calendar",
            "/account/reminders",
        ]
        .map(str::to_owned)
        .into_iter()
        .chain(pages.iter().map(|page| format!("/desk/{SLUG}/{page}")))
        {
            browser.goto(&page).await;
            browser.find("h1").await;
            let here = axe::violations(&browser).await;
            found.extend(here.into_iter().map(|one| format!("{page}: {one}")));
        }
        assert!(found.is_empty(), "{}", found.join("\n"));
        browser.close().await;
    }
}

/// Every page of the steward's that the table of routes names, on a study with everything in it.
#[tokio::test(flavor = "multi_thread")]
async fn no_page_of_the_steward_has_a_violation_on_a_phone_in_the_dark_or_at_twice_the_size() {
    let half = Half::set_up().await;
    let record = half.record().await;
    let mut pages = Vec::new();
    for route in table() {
        let is_page = route.method == "GET" && route.answer == Answer::Page;
        if !is_page || !matches!(route.who, Who::Signed | Who::StudySteward) {
            continue;
        }
        let path = filled(&route, &record, "none", "none");
        let shown = half.steward.open(&path).await;
        // What is blind has no page yet, and files are no pages.
        let is_html = shown.header("content-type").starts_with("text/html");
        if shown.status == 200 && is_html {
            pages.push(path);
        }
    }
    assert!(pages.len() > 25, "only {} pages: {pages:?}", pages.len());
    // 200 % of a desk's 1280 × 900 are 640 × 450 of its own pixels.
    let twice = Look {
        size: (640, 450),
        ..Look::DESK
    };
    let mut found = Vec::new();
    for look in [Look::PHONE.dark(), twice] {
        let browser = Browser::open(&half.server.base, look).await;
        browser.goto("/sign-in").await;
        browser.type_keys(&format!("ragna\t{PASSWORD}\n")).await;
        browser.find("a[href='/account']").await;
        for page in &pages {
            browser.goto(page).await;
            browser.find(".strip").await;
            let here = axe::violations(&browser).await;
            found.extend(
                here.into_iter()
                    .map(|one| format!("{page} at {look:?}: {one}")),
            );
            let hidden = browser.run(HIDDEN_FOCUS).await;
            let hidden = hidden.as_array().expect("a list");
            found.extend(
                hidden
                    .iter()
                    .map(|one| format!("{page} at {look:?}: {one}")),
            );
        }
        browser.close().await;
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// What the keyboard cannot reach, and what the strip hides when it has the focus (WCAG 2.2, 2.1.1 and
/// 2.4.11).
const HIDDEN_FOCUS: &str = "
    const strip = document.querySelector('.strip');
    const all = [...document.querySelectorAll('main :is(a[href], button, input, select, textarea, summary)')];
    const seen = all.filter((one) => one.type !== 'hidden' && !one.ariaHidden && !one.disabled && one.checkVisibility());
    return seen.flatMap((one) => {
        document.activeElement.blur();
        one.focus();
        const name = one.outerHTML.slice(0, 120);
        if (document.activeElement !== one || one.tabIndex < 0) return [`not by keyboard: ${name}`];
        const top = one.getBoundingClientRect().top, cover = strip.getBoundingClientRect().top;
        return top > cover - 4 ? [`hidden by the strip: ${name}`] : [];
    });";
