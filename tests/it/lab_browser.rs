//! The tester's page in a real browser, by keyboard only: with the script that stores rows in place,
//! without any script, when the server cannot be reached, and at both widths in both schemes.

use crate::accessible;
use crate::house::ready::{DAYS, Ready, Wanted, at_the_lab};
use crate::house::{Browser, Look, PASSWORD, TestServer, axe};
use overwinter::study::record::StudyRecord;
use std::sync::Arc;
use std::time::Duration;

/// Marks everything in a field: Control and A, then all keys up (WebDriver, section 17.4.2).
pub const ALL: &str = "\u{E009}a\u{E000}";

pub struct Packed {
    pub server: TestServer,
    pub ready: Ready,
    pub desk: String,
    pub way_in: String,
}

pub async fn packed() -> Packed {
    let server = TestServer::start().await;
    let ready = Wanted::small().ready(&server, "ada").await;
    let desk = ready
        .pack(&format!("stage-{DAYS}"), &ready.of_stage(DAYS))
        .await;
    let way_in = ready.link(&desk).await;
    Packed {
        server,
        ready,
        desk,
        way_in,
    }
}

impl Packed {
    pub async fn record(&self) -> Arc<StudyRecord> {
        let record = self.server.app.store.study_record(&self.ready.slug).await;
        record.unwrap().unwrap()
    }

    async fn tests_done(&self) -> usize {
        self.record().await.consignments[0].tests_done()
    }
}

/// Presses Tab until the focus is on what fits.
pub async fn tab_to(browser: &Browser, selector: &str) {
    let is_there = format!("document.activeElement.matches({selector:?}) ? 1 : 0");
    for _ in 0..200 {
        if browser.number(&is_there).await > 0.5 {
            return;
        }
        browser.tab().await;
    }
    panic!("Tab never reaches {selector}");
}

/// Waits until an expression of the page is true.
async fn until(browser: &Browser, expression: &str) {
    let asked = format!("({expression}) ? 1 : 0");
    for _ in 0..100 {
        if browser.number(&asked).await > 0.5 {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("never: {expression}");
}

/// Box and set-up, by keyboard.
async fn begin(browser: &Browser, way_in: &str) {
    browser.goto(way_in).await;
    tab_to(browser, "a[href$='/box']").await;
    browser.type_keys("\n").await;
    browser.find("select[name^=state-]").await;
    tab_to(browser, "button[value=all_whole]").await;
    browser.type_keys("\n").await;
    browser.find("[role=status]").await;
    tab_to(browser, "a[href$='/set-up']").await;
    browser.type_keys("\n").await;
    browser.find("#f-machine").await;
    assert_eq!(browser.focused_field().await, "machine");
    browser
        .type_keys("frame 3\tring and pin\t20\t21,5\t48")
        .await;
    tab_to(browser, "#f-check").await;
    browser.type_keys("200\t200.4\t\t\n").await;
    browser.find("#f-load-1").await;
}

#[tokio::test]
async fn the_whole_consignment_by_keyboard_alone() {
    let packed = packed().await;
    let browser = Browser::open(&packed.server.base, Look::DESK).await;
    begin(&browser, &packed.way_in).await;
    assert_eq!(browser.focused_field().await, "load", "in the first row");
    // Load, validity as it stands, the way of failing by its first letter, the looks likewise.
    for n in 1..=9 {
        until(
            &browser,
            &format!("document.activeElement.id === 'f-load-{n}'"),
        )
        .await;
        browser.type_keys(["312", "318", "305"][n % 3]).await;
        browser.type_keys("\t\to\te\t\n").await;
        if n == 4 {
            until(&browser, "document.activeElement.id === 'f-load-5'").await;
            browser.picture("lab-grid-desk").await;
        }
    }
    browser.find("button[value=finish]").await;
    assert_eq!(packed.tests_done().await, 9);
    tab_to(&browser, "#f-confirmed").await;
    browser.type_keys(" ").await;
    tab_to(&browser, "button[value=finish]").await;
    browser.type_keys("\n").await;
    browser.find("a[href$='/receipt.txt']").await;
    assert!(browser.text("main").await.contains("overwinter journal"));
    browser.picture("lab-receipt-desk").await;
    let receipt = browser.path().await;
    accessible::walked(&browser, &[receipt]).await;
    let record = packed.record().await;
    assert!(record.consignments[0].finished_at.is_some());
    corrects_at_the_desk(&packed, &browser).await;
    browser.close().await;
}

/// Once it is unblinded, the steward's page for a test that was copied wrongly.
async fn corrects_at_the_desk(packed: &Packed, browser: &Browser) {
    let entry = packed.server.app.clock.new_id().to_string();
    let unblind = format!("{}/unblind", packed.desk);
    let person = &packed.ready.person;
    person
        .submit(&unblind, &[("entry", &entry)])
        .await
        .redirects_to(&packed.desk);
    browser.goto("/sign-in").await;
    browser.type_keys(&format!("ada\t{PASSWORD}\n")).await;
    browser.find("nav form").await;
    let record = packed.record().await;
    let blind = &record.consignments[0].tests[0].test.blind;
    let test = format!("{}/tests/{blind}", packed.desk);
    browser.goto(&test).await;
    browser.find("#f-load").await;
    accessible::walked(browser, &[test]).await;
}

#[tokio::test]
async fn a_refused_row_keeps_its_value_and_takes_the_focus_without_leaving_the_page() {
    let packed = packed().await;
    let browser = Browser::open(&packed.server.base, Look::DESK).await;
    begin(&browser, &packed.way_in).await;
    // A second row half typed must survive the first one's round trip.
    tab_to(&browser, "#f-load-2").await;
    browser.type_keys("299").await;
    browser.find("#f-load-1").await.click().await.unwrap();
    browser.type_keys("31 2\n").await;
    until(&browser, "document.querySelector('#e-load-1') !== null").await;
    assert!(browser.text("#e-load-1").await.contains("one number"));
    until(&browser, "document.activeElement.id === 'f-load-1'").await;
    assert!(
        browser
            .number("document.activeElement.value === '31 2' ? 1 : 0")
            .await
            > 0.5
    );
    assert!(
        browser
            .number("document.querySelector('#f-load-2').value === '299' ? 1 : 0")
            .await
            > 0.5
    );
    assert!(
        browser
            .number("document.querySelectorAll('.unsaved').length")
            .await
            > 1.5
    );
    browser.picture("lab-row-refused-desk").await;
    assert_eq!(packed.tests_done().await, 0);
    browser.close().await;
}

#[tokio::test]
async fn a_row_that_cannot_be_sent_stays_as_typed_and_says_so() {
    let Packed {
        server,
        ready,
        desk: _,
        way_in,
    } = packed().await;
    let browser = Browser::open(&server.base, Look::DESK).await;
    begin(&browser, &way_in).await;
    let (store, folder) = server.stop().await;
    browser.type_keys("312\t\to\n").await;
    until(&browser, "!document.querySelector('#row-trouble').hidden").await;
    let said = browser.text("#row-trouble").await;
    assert!(
        said.contains("is not stored. The server cannot be reached."),
        "{said}"
    );
    let kept = "document.querySelector('#f-load-1').value === '312' \
                && document.querySelector('#f-mode-1').value === 'opened' \
                && document.querySelector('li.row').classList.contains('unsaved') ? 1 : 0";
    assert!(browser.number(kept).await > 0.5);
    browser.picture("lab-row-unsaved-desk").await;
    drop((browser, store, folder, ready));
}

#[tokio::test]
async fn without_scripts_each_row_posts_by_itself_and_the_cursor_goes_on() {
    let packed = packed().await;
    let browser = Browser::open(&packed.server.base, Look::PHONE.without_scripts()).await;
    browser.goto(&packed.way_in).await;
    // The driver's own clicking and clearing need scripts; keys do not.
    let lab = browser.path().await;
    browser.goto(&format!("{lab}/set-up")).await;
    browser.type_keys("frame 3\tring and pin\n").await;
    for n in 1..=2 {
        browser.find(&format!("#f-load-{n}[autofocus]")).await;
        browser.type_keys("31x\n").await;
        browser.find(&format!("#e-load-{n}")).await;
        assert_eq!(browser.focused_field().await, "load");
        browser.type_keys(&format!("{ALL}312\t\to\t\t\n")).await;
    }
    browser.find("#f-load-3[autofocus]").await;
    assert_eq!(packed.tests_done().await, 2);
    browser.close().await;
}

#[tokio::test]
async fn every_page_of_a_consignment_fits_a_phone_and_a_desk_in_light_and_dark() {
    let packed = packed().await;
    let looks = [
        (Look::PHONE, "phone"),
        (Look::PHONE.dark(), "phone-dark"),
        (Look::DESK, "desk"),
        (Look::DESK.dark(), "desk-dark"),
    ];
    let (tester, own) = at_the_lab(&packed.server, &packed.way_in).await;
    let curve = crate::lab_curves::one_sent(&tester, &own).await;
    let consignment = packed.record().await.consignments[0].id;
    crate::house::parcel::received(&packed.ready.script, consignment).await;
    for (n, (look, name)) in looks.into_iter().enumerate() {
        let browser = Browser::open(&packed.server.base, look).await;
        if n == 0 {
            browser.goto(&packed.way_in).await;
            pictured(&browser, &format!("lab-new-{name}")).await;
            begin(&browser, &packed.way_in).await;
        }
        browser.goto(&packed.way_in).await;
        let lab = browser.path().await;
        let lab = lab.split('?').next().unwrap_or_default().to_owned();
        for page in ["", "/box", "/set-up", "/finish"] {
            browser.goto(&format!("{lab}{page}")).await;
            let file = page.trim_start_matches('/');
            pictured(&browser, &format!("lab-{file}-{name}")).await;
        }
        for (file, page) in [
            ("grid", format!("{own}/grid")),
            ("curves", format!("{own}/curves")),
            ("ready", format!("{own}/curves/keep")),
            ("curve", curve.clone()),
            ("parcel", format!("{own}/parcel")),
            ("equipment", format!("{own}/equipment")),
            ("item", format!("{own}/equipment/new")),
            ("sheet", format!("{own}/sheet")),
        ] {
            browser.goto(&page).await;
            pictured(&browser, &format!("lab-{file}-{name}")).await;
            axe::finds_nothing(&browser).await;
        }
        if n == 0 {
            accessible::walked(&browser, std::slice::from_ref(&curve)).await;
            wrong_guesses_are_put_right_by_two_taps_each(&browser, &curve).await;
        }
        browser.goto("/sign-in").await;
        browser.type_keys(&format!("ada\t{PASSWORD}\n")).await;
        browser.find("nav form").await;
        let all = format!("/desk/{}/consignments", packed.ready.slug);
        let one = &packed.desk;
        for (page, path) in [
            ("list", all.clone()),
            ("new", format!("{all}/new")),
            ("new-baseline", format!("{all}/new?contents=baseline")),
            ("one", one.clone()),
            ("arrival", format!("{one}/arrival")),
            ("key", format!("{one}/key")),
            ("packing", format!("{one}/packing")),
            ("customs", format!("{one}/customs")),
            ("unblind", format!("{one}/unblind")),
        ] {
            browser.goto(&path).await;
            pictured(&browser, &format!("consignment-{page}-{name}")).await;
        }
        browser.close().await;
    }
}

/// One tap opens the choice, one chooses, and the page shows the file read anew; nothing else is pressed.
async fn wrong_guesses_are_put_right_by_two_taps_each(browser: &Browser, curve: &str) {
    let read_off = "document.querySelector('table.properties').textContent";
    for (field, value, shown) in [
        ("unit-1", "kN", "312500 N"),
        ("unit-1", "N", "312.5 N"),
        ("role-0", "time", "no travel in the file"),
        ("role-0", "travel", "mm of travel"),
        ("direction", "turned", "all signs were turned"),
        ("direction", "", "312.5 N"),
    ] {
        browser.goto(curve).await;
        browser.run("window.isBefore = true").await;
        let mut taps = 0;
        let option = format!("select[name='{field}'] option[value='{value}']");
        for target in [format!("select[name='{field}']"), option] {
            let element = browser.find(&target).await;
            element.click().await.expect("it is tapped");
            taps += 1;
        }
        let chosen =
            format!("document.querySelector(\"select[name='{field}']\").value === '{value}'");
        let told = format!(
            "({read_off} + document.querySelector('ul.findings')?.textContent + \
             document.querySelector('img.plot').alt).includes('{shown}')"
        );
        let is_anew = "!window.isBefore && document.readyState === 'complete'";
        browser
            .until(&format!("{is_anew} && {chosen} && {told}"))
            .await;
        assert_eq!(taps, 2);
    }
    // A piece is its choice, which the button that keeps the curve takes along.
    let piece = "document.querySelector('#f-piece-0')";
    browser
        .find("#f-piece-0")
        .await
        .click()
        .await
        .expect("a tap");
    let code = browser.find("#f-piece-0 option:nth-of-type(3)").await;
    code.click().await.expect("a tap");
    browser
        .until(&format!(
            "{piece}.selectedIndex === 2 && {piece}.form.elements['piece-0'].value !== ''"
        ))
        .await;
}

async fn pictured(browser: &Browser, name: &str) {
    browser.fits_the_screen().await;
    browser.picture(name).await;
}
