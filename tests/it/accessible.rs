//! Every page of the steward's that these looks show, checked by axe-core.

use crate::house::desk::{Desk, SLUG};
use crate::house::{Browser, Look, PASSWORD, axe};

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
