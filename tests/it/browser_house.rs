//! The house's pages in a real browser: focus and keyboard, phone and desk, light and dark, and
//! without scripts.

use crate::house::{Browser, Look, PASSWORD, TestServer};

#[tokio::test]
async fn signing_in_takes_the_keyboard_alone_and_a_fault_takes_the_focus() {
    let server = TestServer::start().await;
    server.with_account("ada").await;
    let browser = Browser::open(&server.base, Look::PHONE.without_scripts()).await;
    browser.goto("/account").await;
    assert_eq!(browser.path().await, "/sign-in?next=%2Faccount");
    assert_eq!(browser.focused_field().await, "name");
    browser.type_keys("ada\twrong password\n").await;
    browser.find("[role=alert]").await;
    assert_eq!(
        browser.text("#e-password").await,
        "This name and password do not go together."
    );
    assert_eq!(browser.focused_field().await, "password");
    browser.picture("sign-in-fault-phone").await;
    browser.type_keys(&format!("{PASSWORD}\n")).await;
    browser.find(".facts").await;
    assert_eq!(browser.path().await, "/account");
    browser.close().await;
}

#[tokio::test]
async fn the_first_run_in_a_browser_leads_home_signed_in() {
    let server = TestServer::start().await;
    let browser = Browser::open(&server.base, Look::DESK).await;
    browser.goto("/").await;
    browser.picture("home-first-run-desk").await;
    browser.find("main a.button").await.click().await.unwrap();
    browser.find("#f-code").await;
    let code = server.app.first_run_code().to_owned();
    browser
        .type_keys(&format!("{code}\tAda K.\tada\t{PASSWORD}\n"))
        .await;
    assert_eq!(browser.text("[role=status]").await, "Your account is made.");
    assert_eq!(browser.text("nav a.who").await, "Ada K.");
    browser.close().await;
}

#[tokio::test]
async fn every_page_of_the_house_fits_a_phone_and_a_desk_in_light_and_dark() {
    let server = TestServer::start().await;
    server.with_account("ada").await;
    for (look, name) in [
        (Look::PHONE, "phone"),
        (Look::PHONE.dark(), "phone-dark"),
        (Look::DESK, "desk"),
        (Look::DESK.dark(), "desk-dark"),
    ] {
        let browser = Browser::open(&server.base, look).await;
        let paper = "getComputedStyle(document.body).backgroundColor.match(/[0-9]+/)[0] * 1";
        browser.goto("/sign-in").await;
        browser.fits_the_screen().await;
        assert_eq!(browser.number(paper).await < 128.0, look.is_dark, "{name}");
        browser.picture(&format!("sign-in-{name}")).await;
        browser.type_keys(&format!("ada\t{PASSWORD}\n")).await;
        browser.find("nav form").await;
        for path in ["/", "/account", "/no-such-page"] {
            browser.goto(path).await;
            browser.fits_the_screen().await;
            let page = path.trim_start_matches('/').replace('/', "-");
            browser.picture(&format!("page-{page}-{name}")).await;
        }
        browser.close().await;
    }
}

#[tokio::test]
async fn what_a_thumb_must_hit_is_large_enough() {
    let server = TestServer::start().await;
    let browser = Browser::open(&server.base, Look::PHONE).await;
    browser.goto("/sign-in").await;
    // WCAG 2.2, success criterion 2.5.5 (enhanced target size): 44 CSS pixels.
    let smallest = "Math.min(...[...document.querySelectorAll('main input:not([type=hidden]), \
                    main button, header a')].map(e => e.getBoundingClientRect().height))";
    assert!(browser.number(smallest).await >= 44.0);
    browser.close().await;
}
