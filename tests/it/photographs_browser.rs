//! A photograph from a phone: chosen in the form, made smaller and bare on the device, seen on the
//! piece's page; codes and cameras in the browser.

use crate::house::camera::{PLACE, holds, jpeg};
use crate::house::desk::{Desk, PIECES, SLUG, small_plan};
use crate::house::{Browser, Look, PASSWORD, axe};
use fantoccini::key::Key;
use overwinter::study::code::{ALPHABET, Code, CodeFault};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use serde_json::json;

async fn signed_in(desk: &Desk, look: Look) -> Browser {
    let browser = Browser::open(&desk.server.base, look).await;
    browser.goto("/sign-in").await;
    browser.type_keys(&format!("runa\t{PASSWORD}\n")).await;
    browser.find("a[href='/account']").await;
    browser
}

/// Chooses a file and sends the form.
async fn send(browser: &Browser, code: &str, file: &std::path::Path) {
    browser
        .goto(&format!("/desk/{SLUG}/specimens/{code}/photographs"))
        .await;
    let field = browser.find("#f-file").await;
    let path = file.to_str().expect("a path");
    field.send_keys(path).await.expect("it takes a file");
}

/// Presses something wherever it is on the page, clear of the strip at its foot. Only where scripts
/// run: without them there is no strip, and the driver waits for a script for ever.
async fn press(browser: &Browser, selector: &str) {
    let found = browser.find(selector).await;
    let middle = "document.querySelector(arguments[0]).scrollIntoView({ block: 'center' })";
    let moved = browser.page.execute(middle, vec![json!(selector)]).await;
    moved.expect("it comes into sight");
    found.click().await.expect("it is pressed");
}

/// Waits until the queue has sent a photograph of this view.
async fn arrived(desk: &Desk, view: &str) {
    for _ in 0..300 {
        let record = desk.record().await;
        if record
            .photographs
            .iter()
            .any(|photo| photo.view().key() == view)
        {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    panic!("the queue sent no photograph of the view {view}");
}

/// A holder's photograph goes the same way.
async fn photographs_a_holder(desk: &Desk, browser: &Browser, file: &std::path::Path) {
    browser.goto(&format!("/desk/{SLUG}/holders/c3h1")).await;
    let field = browser.find("#f-file").await;
    field
        .send_keys(file.to_str().expect("a path"))
        .await
        .expect("it takes a file");
    browser.find("[data-preview]:not([hidden])").await;
    axe::finds_nothing(browser).await;
    browser.fits_the_screen().await;
    browser.picture("holder").await;
    press(browser, "main form button:not([type])").await;
    browser.find("[data-photograph-says]:not([hidden])").await;
    arrived(desk, "in_place").await;
}

#[tokio::test]
async fn a_photograph_chosen_on_a_phone_is_made_smaller_there_and_passes_in_every_look() {
    let desk = Desk::planned(small_plan()).await.with_pieces(3).await;
    let code = desk.record().await.specimens[0].code.to_string();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("IMG_1.jpg");
    let bytes = jpeg(3600, 2400, 6);
    std::fs::write(&file, &bytes).unwrap();
    for (look, view) in [
        (Look::PHONE, "before"),
        (Look::PHONE.dark(), "after"),
        (Look::PHONE.without_scripts(), "broken"),
    ] {
        let browser = signed_in(&desk, look).await;
        send(&browser, &code, &file).await;
        if look.has_scripts {
            browser.find("[data-preview]:not([hidden])").await;
            axe::finds_nothing(&browser).await;
            let bytes = browser
                .number("document.getElementById('f-file').files[0].size")
                .await;
            assert!(bytes > 1000.0);
            browser
                .picture(&format!("photograph-new-{}", look.is_dark))
                .await;
        }
        let pressed = [
            (format!("input[value={view}]"), " ".to_owned()),
            (
                "main form button:not([type])".to_owned(),
                Key::Enter.to_string(),
            ),
        ];
        for (selector, key) in &pressed {
            if look.has_scripts {
                browser.fits_the_screen().await;
                press(&browser, selector).await;
            } else {
                // By keyboard: the driver's own click is a script, which waits for ever here.
                browser.find(selector).await.send_keys(key).await.unwrap();
            }
        }
        if look.has_scripts {
            // Kept on the device first, then sent by the queue; the form is ready for another one.
            browser.find("[data-photograph-says]:not([hidden])").await;
            arrived(&desk, view).await;
            if !look.is_dark {
                photographs_a_holder(&desk, &browser, &file).await;
            }
            browser
                .goto(&format!("/desk/{SLUG}/specimens/{code}"))
                .await;
        }
        browser.find(".shots img").await;
        if look.has_scripts {
            browser.fits_the_screen().await;
            axe::finds_nothing(&browser).await;
            browser
                .picture(&format!("photograph-piece-{}", look.is_dark))
                .await;
            let last = desk.record().await.photographs.last().unwrap().entry;
            browser
                .goto(&format!("/desk/{SLUG}/photographs/{last}"))
                .await;
            browser.find(".shot img").await;
            axe::finds_nothing(&browser).await;
            browser.fits_the_screen().await;
            browser
                .picture(&format!("photograph-one-{}", look.is_dark))
                .await;
        }
        browser.close().await;
    }
    let record = desk.record().await;
    let views: Vec<&str> = record.photographs.iter().map(|p| p.view().key()).collect();
    assert_eq!(views, ["before", "in_place", "after", "broken"]);
    assert!(record.photographs[1].shows_holder("c3h1"));
    let sent = overwinter::picture::sha256(&bytes);
    for photo in &record.photographs {
        let files = &photo.photograph.files;
        // 2400 × 3600 upright; scaled twice, a pixel may be rounded.
        assert_eq!(files.height, 2048, "upright and fitted");
        assert!((1365..=1366).contains(&files.width), "{}", files.width);
        // With scripts the device sent another file than the camera's; without them, that one.
        assert_eq!(files.sent == sent, photo.view().key() == "broken");
        let large = desk.server.app.store.find_blob_by_hex(&files.large).await;
        let large = large.unwrap().unwrap().bytes;
        assert!(!holds(&large, PLACE) && !holds(&large, "Exif"));
    }
}

/// Codes, slips of codes and nonsense, the same each time.
fn typed(count: usize) -> Vec<String> {
    let mut runner = TestRunner::deterministic();
    let letters: Vec<char> = ALPHABET.iter().map(|b| char::from(*b)).collect();
    let codes: Vec<String> = Code::run("KT", 0)
        .chain(Code::run("9Y", 500))
        .take(400)
        .map(|(_, code)| code.to_string())
        .collect();
    let strategy = (
        prop::sample::select(codes),
        0..6_usize,
        0..8_usize,
        prop::sample::select(letters),
        any::<char>(),
    );
    let one = |(code, kind, place, letter, any): (String, usize, usize, char, char)| {
        let mut letters: Vec<char> = code.chars().collect();
        let place = place % letters.len();
        match kind {
            0 => {}
            1 => letters[place] = letter,
            2 => letters.swap(place, (place + 1) % code.len()),
            3 => letters.insert(place, letter),
            4 => drop(letters.remove(place)),
            _ => letters[place] = any,
        }
        let slip: String = letters.iter().collect();
        if place == 3 {
            format!(" {}-{} ", slip.to_lowercase(), "")
        } else {
            slip
        }
    };
    let draw = |_| one(strategy.new_tree(&mut runner).unwrap().current());
    (0..count).map(draw).collect()
}

#[tokio::test]
async fn the_browser_finds_the_same_slips_in_codes_as_the_server() {
    let desk = Desk::planned(small_plan()).await.with_pieces(3).await;
    let browser = signed_in(&desk, Look::PHONE).await;
    browser.goto(&format!("/desk/{SLUG}/specimens")).await;
    browser.find("#f-code").await;
    let texts = typed(5000);
    let ask = "return arguments[0].map((text) => window.overwinter.code.fault(text))";
    let said = browser.page.execute(ask, vec![json!(texts)]).await.unwrap();
    let mut counts = std::collections::BTreeMap::new();
    for (text, said) in texts.iter().zip(said.as_array().unwrap()) {
        let expected = match text.parse::<Code>() {
            Ok(_) => "",
            Err(CodeFault::Length) => "length",
            Err(CodeFault::Character(_)) => "character",
            Err(CodeFault::Check) => "check",
        };
        assert_eq!(said.as_str(), Some(expected), "{text:?}");
        *counts.entry(expected).or_insert(0) += 1;
    }
    assert!(
        counts.len() == 4 && counts.values().all(|n| *n > 20),
        "{counts:?}"
    );
    // As it is typed: nothing while it may still be one, then what is wrong with it.
    let good = desk.record().await.specimens[1].code.to_string();
    browser.find("#f-code").await.click().await.unwrap();
    browser.type_keys(&good[..4]).await;
    assert_eq!(browser.text("[data-code-check]").await, "");
    browser.type_keys("Y").await;
    let is_good = good.ends_with('Y');
    assert_eq!(browser.text("[data-code-check]").await.is_empty(), is_good);
    browser.find("#f-code").await.clear().await.unwrap();
    browser.find("#f-code").await.click().await.unwrap();
    browser.type_keys(&format!("{good}\n")).await;
    browser.find("h1 .code").await;
    assert_eq!(browser.text("h1").await, good);
    browser.close().await;
}

/// Headless Chromium on Linux reads no codes and has no camera; both stand in here as the standards
/// describe them (W3C Media Capture and Streams; WICG Shape Detection: a list with `rawValue`).
const STAND_IN: &str = "
    window.BarcodeDetector = class {
        static async getSupportedFormats() { return ['qr_code']; }
        async detect() { return window.seen.splice(0, 1).map((rawValue) => ({ rawValue })); }
    };
    window.seen = arguments[0];
    window.stopped = 0;
    const picture = document.createElement('canvas');
    picture.getContext('2d').fillRect(0, 0, 9, 9);
    navigator.mediaDevices.getUserMedia = async () => {
        const stream = picture.captureStream();
        for (const track of stream.getTracks()) {
            const stop = track.stop.bind(track);
            track.stop = () => { window.stopped += 1; stop(); };
        }
        return stream;
    };
    return window.overwinter.scan.offer();";

#[tokio::test]
async fn a_label_is_scanned_without_leaving_the_round_and_the_button_is_hidden_where_it_cannot_be()
{
    let desk = Desk::planned(small_plan()).await.with_pieces(PIECES).await;
    let codes: Vec<String> = desk
        .record()
        .await
        .specimens
        .iter()
        .map(|p| p.code.to_string())
        .collect();
    let browser = signed_in(&desk, Look::PHONE).await;
    let round = format!(
        "/desk/{SLUG}/round?quantity=mass&occasion=before&instrument={}&unit=g&state=conditioned",
        desk.balance
    );
    browser.goto(&round).await;
    browser.find("form[data-round]").await;
    let hidden = "document.querySelector('[data-scan]').hidden ? 1 : 0";
    assert_eq!(browser.number(hidden).await, 1.0, "no camera here");
    let label = format!("https://studies.example.org/s/{}", codes[5]);
    let seen = json!(["https://elsewhere.example/cat", label]);
    browser.page.execute(STAND_IN, vec![seen]).await.unwrap();
    press(&browser, "[data-scan] button").await;
    browser.find("#f-value:focus").await;
    let field = browser.find("#f-code").await;
    assert_eq!(field.prop("value").await.unwrap().unwrap(), codes[5]);
    assert_eq!(
        browser
            .number("document.querySelectorAll('dialog').length")
            .await,
        0.0
    );
    assert!(
        browser.number("window.stopped").await > 0.0,
        "the camera is let go"
    );
    assert!(
        browser.path().await.contains("/round?"),
        "the round is not left"
    );
    browser.type_keys("8,41\n").await;
    browser.has_sent(1).await;
    let record = desk.record().await;
    assert_eq!(record.readings[0].reading.specimen.as_str(), codes[5]);
    // From the list of pieces a scan opens the piece; giving up leaves the field to type in.
    browser.goto(&format!("/desk/{SLUG}/specimens")).await;
    browser
        .page
        .execute(STAND_IN, vec![json!([])])
        .await
        .unwrap();
    press(&browser, "[data-scan] button").await;
    press(&browser, "dialog.scan button").await;
    assert_eq!(browser.focused_field().await, "code");
    let seen = format!("window.seen.push('{}')", codes[2].to_lowercase());
    press(&browser, "[data-scan] button").await;
    browser.page.execute(&seen, Vec::new()).await.unwrap();
    browser.find("h1 .code").await;
    assert_eq!(browser.text("h1").await, codes[2]);
    browser.close().await;
}
