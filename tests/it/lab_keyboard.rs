//! The tester's whole path on a phone (390 px) with nothing but a keyboard: from the link to the receipt, with the
//! parcel, the lab's record, curves put right, rows pasted, a slip confirmed, an invalid test and a correction; and
//! no page on the way that axe-core finds fault with.

use crate::house::{Browser, Look, axe};
use crate::lab_browser::{ALL, Packed, packed, tab_to};
use crate::lab_curves::curve;
use overwinter::study::break_test::Outcome;
use std::path::Path;

/// Goes to what fits and presses Enter.
async fn press(browser: &Browser, selector: &str) {
    tab_to(browser, selector).await;
    browser.type_keys("\n").await;
}

/// Goes to a field and types.
async fn fill(browser: &Browser, selector: &str, keys: &str) {
    tab_to(browser, selector).await;
    browser.type_keys(keys).await;
}

/// Waits for words on the page that comes, which must fit the phone and be without fault.
async fn arrives(browser: &Browser, words: &str) {
    let shown = format!(
        "document.readyState === 'complete' && document.body.innerText.includes({words:?})"
    );
    browser.until(&shown).await;
    browser.fits_the_screen().await;
    axe::finds_nothing(browser).await;
}

/// The parcel one piece short, its seal found broken, and how that was settled.
async fn open_the_parcel(browser: &Browser) {
    press(browser, "a[href$='/box']").await;
    arrives(browser, "The box").await;
    press(browser, "button[value=all_whole]").await;
    arrives(browser, "ticked off").await;
    press(browser, "a[href$='/parcel']").await;
    arrives(browser, "As it was opened").await;
    fill(browser, "#f-at", "2026-03-02\t8\t").await;
    fill(browser, "[name=seal]", " \u{E015}").await;
    fill(browser, "#f-seal_number", "B 40\n").await;
    arrives(browser, "How the parcel arrived is on record.").await;
    fill(browser, "#f-words", "Counted again: all nine are here.").await;
    press(browser, "form[action$='/settle'] button").await;
    arrives(browser, "It is settled").await;
    press(browser, "main a[href^='/lab/']").await;
    arrives(browser, "Before you start").await;
}

/// A machine and its load cell, written down once and chosen in the set-up.
async fn set_up(browser: &Browser) {
    press(browser, "a[href$='/equipment']").await;
    arrives(browser, "What your lab works with").await;
    for (kind, name) in [("m", "frame 3"), ("l", "cell 5")] {
        press(browser, "a[href$='/equipment/new']").await;
        arrives(browser, "A new item").await;
        fill(browser, "#f-kind", kind).await;
        fill(browser, "#f-name", &format!("{name}\n")).await;
        arrives(browser, "It is in your lab's record.").await;
    }
    press(browser, "main a[href^='/lab/']").await;
    arrives(browser, "Before you start").await;
    press(browser, "a[href$='/set-up']").await;
    arrives(browser, "The set-up").await;
    for (field, name) in [("#f-machine_item", "frame"), ("#f-cell_item", "cell")] {
        tab_to(browser, field).await;
        browser.type_keys(name).await;
    }
    fill(browser, "#f-fixture", "ring and pin").await;
    fill(browser, "#f-check", "200\t200.4\t\t\n").await;
    arrives(browser, "The set-up is kept.").await;
}

/// Two files: one finds its piece, of the other unit and piece are put right; both are kept.
async fn send_curves(browser: &Browser, folder: &Path, codes: &[String]) {
    let named = folder.join(format!("{}.csv", codes[0]));
    let strange = folder.join("run 2.csv");
    std::fs::write(&named, curve("Weg [mm];Kraft [N]", 312.5)).expect("it is written");
    std::fs::write(&strange, curve("Weg;Kraft", 328.1)).expect("it is written");
    press(browser, "a[href$='/curves']").await;
    arrives(browser, "Send the machine's files").await;
    for file in [&named, &strange] {
        fill(browser, "#f-files", file.to_str().expect("a plain path")).await;
        browser.tab().await;
        press(browser, "#curve-upload button").await;
        arrives(browser, "1 file was taken in").await;
    }
    let page = |name: &str| {
        format!(
            "[...document.querySelectorAll('main li a')].find((a) => a.textContent === {name:?})"
        )
    };
    let shown = format!("{}.id = 'strange'", page("run 2.csv"));
    browser.run(&shown).await;
    press(browser, "#strange").await;
    arrives(browser, "How the file was read").await;
    // Without a unit it was taken for newtons; it was kilonewtons. The piece is named by hand.
    fill(browser, "select[name='unit-1']", "kN").await;
    press(browser, "button[value=read]").await;
    let is_right = "document.querySelector(\"select[name='unit-1']\").value === 'kN'";
    browser
        .until(&format!("document.readyState === 'complete' && {is_right}"))
        .await;
    fill(browser, "select[name='unit-1']", "N").await;
    press(browser, "button[value=read]").await;
    let is_back = is_right.replace("'kN'", "'N'");
    browser
        .until(&format!("document.readyState === 'complete' && {is_back}"))
        .await;
    fill(browser, "#f-piece-0", &codes[1]).await;
    axe::finds_nothing(browser).await;
    press(browser, "button[value=keep]").await;
    arrives(browser, "1 curve is kept").await;
    let shown = format!("{}.id = 'named'", page(&format!("{}.csv", codes[0])));
    browser.run(&shown).await;
    press(browser, "#named").await;
    arrives(browser, "Found by its code.").await;
    press(browser, "button[value=keep]").await;
    arrives(browser, "1 curve is kept").await;
    press(browser, "main a[href^='/lab/']").await;
    arrives(browser, "The tests, in this order").await;
}

/// Three rows out of a spreadsheet.
async fn paste(browser: &Browser, codes: &[String]) {
    press(browser, "a[href$='/grid']").await;
    arrives(browser, "Many results at once").await;
    let block = format!(
        "code;load;mode\n{};312,5;opened\n{};328,1;opened\n{};305;opened",
        codes[0], codes[1], codes[2]
    );
    fill(browser, "#f-block", &block).await;
    press(browser, "form[action$='/grid'] button").await;
    arrives(browser, "What would be stored").await;
    press(browser, "form[action$='/grid/store'] button").await;
    arrives(browser, "3 results were stored.").await;
}

/// Waits until the row of a piece has its result.
async fn is_stored(browser: &Browser, code: &str) {
    let row = format!("document.querySelector('#row-{code}')?.classList.contains('stored')");
    browser.until(&row).await;
}

/// A slip that is right after all, an invalid test with its reason, a correction with its own; then the rest.
async fn test_the_rest(browser: &Browser, codes: &[String]) {
    fill(browser, "#f-load-4", "3190\t\to\n").await;
    browser.find("#f-confirmed-4").await;
    axe::finds_nothing(browser).await;
    fill(browser, "#f-confirmed-4", " ").await;
    press(browser, &format!("#row-{} button", codes[3])).await;
    is_stored(browser, &codes[3]).await;
    fill(browser, "#f-load-5", "120\ti\ts").await;
    press(browser, &format!("#row-{} button", codes[4])).await;
    browser.find("#e-reason-5").await;
    axe::finds_nothing(browser).await;
    fill(browser, "#f-reason-5", "the pin slipped out").await;
    browser.type_keys("\n").await;
    browser
        .until("document.querySelector('#e-reason-5') === null")
        .await;
    if browser
        .number("document.querySelector('#f-confirmed-5') ? 1 : 0")
        .await
        > 0.5
    {
        fill(browser, "#f-confirmed-5", " ").await;
        press(browser, &format!("#row-{} button", codes[4])).await;
    }
    is_stored(browser, &codes[4]).await;
    press(browser, &format!("a[href$='/tests/{}/correct']", codes[3])).await;
    arrives(browser, "What it should be").await;
    fill(browser, "#f-load-4", &format!("{ALL}319")).await;
    fill(browser, "#f-reason-4", "a digit too many\n").await;
    arrives(browser, "corrected. The earlier test stays on record.").await;
    for (n, code) in codes.iter().enumerate().skip(5) {
        fill(browser, &format!("#f-load-{}", n + 1), "311\t\to\n").await;
        if n + 1 < codes.len() {
            is_stored(browser, code).await;
        }
    }
}

/// What each piece looked like, the end, and the receipt.
async fn finish(browser: &Browser, codes: &[String]) {
    arrives(browser, "What did each piece look like to you?").await;
    for code in codes {
        fill(browser, &format!("[name='looks-{code}']"), " ").await;
    }
    press(browser, "button[value=finish]").await;
    let asked = "document.querySelector('#f-confirmed') || location.pathname.endsWith('/receipt')";
    browser
        .until(&format!("document.readyState === 'complete' && ({asked})"))
        .await;
    if browser
        .number("document.querySelector('#f-confirmed') ? 1 : 0")
        .await
        > 0.5
    {
        fill(browser, "#f-confirmed", " ").await;
        press(browser, "button[value=finish]").await;
    }
    arrives(browser, "Keep this line outside this server").await;
    tab_to(browser, "a[href$='/receipt.txt']").await;
}

#[tokio::test]
async fn the_whole_path_from_the_link_to_the_receipt_on_a_phone_by_keyboard() {
    let packed: Packed = packed().await;
    let browser = Browser::open(&packed.server.base, Look::PHONE).await;
    browser.goto(&packed.way_in).await;
    arrives(&browser, "Before you start").await;
    let cautions = browser.text("main").await.to_lowercase();
    assert!(
        cautions.contains("eye") || cautions.contains("glasses"),
        "{cautions}"
    );
    let record = packed.record().await;
    let pieces = &record.consignments[0].pieces;
    let codes: Vec<String> = pieces.iter().map(|piece| piece.blind.to_string()).collect();
    assert_eq!(codes.len(), 9);
    open_the_parcel(&browser).await;
    set_up(&browser).await;
    let folder = tempfile::tempdir().expect("a folder");
    send_curves(&browser, folder.path(), &codes).await;
    paste(&browser, &codes).await;
    test_the_rest(&browser, &codes).await;
    finish(&browser, &codes).await;
    browser.picture("lab-keyboard-receipt").await;
    browser.close().await;
    let record = packed.record().await;
    let one = &record.consignments[0];
    let counting = |n: usize| one.test_of(&one.pieces[n].blind).expect("a test");
    assert!(one.finished_at.is_some());
    assert_eq!(counting(1).test.max_load_n, Some(328.1));
    assert_eq!(counting(3).test.max_load_n, Some(319.0));
    assert_eq!(counting(4).test.outcome, Outcome::Invalid);
    let first = one
        .tests
        .iter()
        .find(|test| test.test.blind == one.pieces[3].blind);
    assert!(first.expect("a test").test.is_confirmed_doubt);
    let kept = packed
        .server
        .app
        .store
        .curves_of(one.id)
        .await
        .expect("reads");
    assert_eq!(kept.len(), 2);
    assert_eq!(one.custody.settlements.len(), 1);
}
