//! The job in a real browser, against the real binary and its demo: the steward measures on a phone by
//! keys and taps, the tester finishes a consignment by keyboard alone, the reader has scripting off.

use crate::house::{Browser, ChildServer, Look};
use tempfile::TempDir;

/// What the demo printed after this label.
fn printed<'s>(server: &'s ChildServer, label: &str) -> &'s str {
    let (_, rest) = server.greeting.split_once(label).expect("it is printed");
    rest.lines().next().unwrap_or_default().trim()
}

/// The value that stands in a field.
async fn value(browser: &Browser, selector: &str) -> String {
    let field = browser.find(selector).await;
    field.prop("value").await.unwrap().unwrap_or_default()
}

/// Presses Tab until the focus is on what fits.
async fn tab_to(browser: &Browser, selector: &str) {
    let is_there = format!("document.activeElement.matches({selector:?}) ? 1 : 0");
    for _ in 0..200 {
        if browser.number(&is_there).await > 0.5 {
            return;
        }
        browser.type_keys("\t").await;
    }
    panic!("Tab never reaches {selector}");
}

#[tokio::test]
async fn the_steward_registers_and_weighs_on_a_phone() {
    let folder = TempDir::new().unwrap();
    let server = ChildServer::demo(&folder.path().join("demo"));
    let browser = Browser::open(&server.base, Look::PHONE).await;
    browser.goto("/desk/coat-hooks/specimens/new").await;
    let password = printed(&server, "password ");
    browser.type_keys(&format!("steward\t{password}\n")).await;
    browser.find("#f-count").await;
    assert_eq!(browser.focused_field().await, "count");
    browser.type_keys("4\n").await;
    browser.find("table tbody").await;

    browser.goto("/desk/coat-hooks/round").await;
    tap(&browser, "ul.rounds a").await;
    browser.find("#f-instrument").await;
    assert_eq!(browser.focused_field().await, "instrument");
    tap(&browser, "main form button").await;
    browser.find("form[data-round]").await;
    let mut codes = Vec::new();
    for _ in 0..3 {
        assert_eq!(
            browser.focused_field().await,
            "value",
            "ready for the number"
        );
        let code = value(&browser, "#f-code").await;
        browser.type_keys("8,41").await;
        browser.fits_the_screen().await;
        // Enter for two of them, the thumb for the third.
        if codes.len() == 2 {
            tap(&browser, "form[data-round] button").await;
        } else {
            browser.type_keys("\n").await;
        }
        let said = format!("{code}: 8,41 g recorded.");
        until_said(&browser, &said).await;
        assert!(!codes.contains(&code), "on to the next piece");
        codes.push(code);
    }
    let last = value(&browser, "#f-code").await;
    browser.type_keys("84.1\n").await;
    browser.find("#e-confirmed").await;
    assert_eq!(browser.focused_field().await, "confirmed");
    assert_eq!(value(&browser, "#f-value").await, "84.1", "as it was typed");
    browser.type_keys(" \n").await;
    until_said(&browser, &format!("{last}: 84.1 g recorded.")).await;
    browser.close().await;
}

async fn tap(browser: &Browser, selector: &str) {
    // Clear of the strip at the foot of the page, as a person would scroll.
    browser.find(selector).await;
    let middle =
        format!("document.querySelector({selector:?}).scrollIntoView({{ block: 'center' }})");
    browser.run(&middle).await;
    browser
        .find(selector)
        .await
        .click()
        .await
        .expect("it is tapped");
}

/// Waits for the page that says this.
async fn until_said(browser: &Browser, sentence: &str) {
    for _ in 0..100 {
        let script = format!("document.body.innerText.includes({sentence:?}) ? 1 : 0");
        if browser.number(&script).await > 0.5 {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("never said: {sentence}; but {}", browser.text("main").await);
}

#[tokio::test]
async fn the_tester_ends_a_consignment_with_the_keyboard_alone() {
    let folder = TempDir::new().unwrap();
    let server = ChildServer::demo(&folder.path().join("demo"));
    let browser = Browser::open(&server.base, Look::DESK).await;
    let link = printed(&server, "lab link ").to_owned();
    browser.goto(link.trim_start_matches(&server.base)).await;
    browser.find("#progress").await;
    tab_to(&browser, "a[href$='/box']").await;
    browser.type_keys("\n").await;
    tab_to(&browser, "button[value=all_whole]").await;
    browser.type_keys("\n").await;
    browser.find("#row-trouble").await;
    for _ in 0..3 {
        tab_to(&browser, "li.row form input[name=load]").await;
        browser.type_keys("163\t\to\te\t\n").await;
        tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    }
    browser.find("button[value=finish]").await;
    tap_the_open_guesses_by_keys(&browser).await;
    tab_to(&browser, "button[value=finish]").await;
    browser.type_keys("\n").await;
    browser.find("a[href$='/receipt.txt']").await;
    assert!(browser.text("main").await.contains("overwinter journal"));
    browser.close().await;
}

/// The first three were broken before anybody asked what they looked like.
async fn tap_the_open_guesses_by_keys(browser: &Browser) {
    let open = "[...document.querySelectorAll('.taps fieldset')]\
        .filter((set) => !set.querySelector('input:checked')).length";
    let count = browser.number(open).await;
    for _ in 0..20 {
        if browser.number(open).await < 0.5 {
            break;
        }
        browser.type_keys("\t").await;
        let is_unset = "document.activeElement.matches('.taps input[type=radio]') \
            && !document.activeElement.closest('fieldset').querySelector('input:checked') ? 1 : 0";
        if browser.number(is_unset).await > 0.5 {
            browser.type_keys(" ").await;
        }
    }
    assert!(
        count < 6.5 && browser.number(open).await < 0.5,
        "of {count} some stay open"
    );
    let confirm = "document.querySelector('#f-confirmed') ? 1 : 0";
    if browser.number(confirm).await > 0.5 {
        tab_to(browser, "#f-confirmed").await;
        browser.type_keys(" ").await;
    }
}

#[tokio::test]
async fn the_reader_needs_no_scripts() {
    let folder = TempDir::new().unwrap();
    let server = ChildServer::demo(&folder.path().join("demo"));
    for look in [
        Look::PHONE.without_scripts(),
        Look::PHONE.dark().without_scripts(),
    ] {
        let browser = Browser::open(&server.base, look).await;
        browser.goto("/studies/fleece-pegs/editions/1/").await;
        let answer = browser.text("p.verdict").await;
        assert!(answer.contains("95 % interval"), "{answer}");
        for (what, selector, least) in [
            ("the answer", "p.verdict", 200.0),
            ("the figure", "figure svg", 250.0),
            ("the deciding table", "#decides ~ .wide table", 250.0),
            ("the accounting", "#all ~ .wide table", 250.0),
        ] {
            let (_, _, width, height) = browser.find(selector).await.rectangle().await.unwrap();
            assert!(
                width > least && height > 40.0,
                "{what} is {width} by {height}"
            );
        }
        let rows = browser.text("#decides ~ .wide table").await;
        assert!(
            rows.contains("rain barrel") || rows.lines().count() > 3,
            "{rows}"
        );
        browser.picture("edition-without-scripts").await;
        browser.close().await;
    }
}
