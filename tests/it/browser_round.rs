//! The measuring round in a real browser at 390 px, by keyboard alone, with and without scripts; and
//! every page about pieces in every look.

use crate::house::desk::{Desk, PIECES, SLUG, small_plan};
use crate::house::{Browser, Look, PASSWORD};

async fn signed_in(desk: &Desk, look: Look) -> Browser {
    let browser = Browser::open(&desk.server.base, look).await;
    browser.goto("/sign-in").await;
    browser.type_keys(&format!("runa\t{PASSWORD}\n")).await;
    browser.find("a[href='/account']").await;
    browser
}

async fn code_in_field(browser: &Browser) -> String {
    let field = browser.find("#f-code").await;
    field.prop("value").await.unwrap().unwrap_or_default()
}

#[tokio::test]
async fn a_round_at_390_px_takes_nothing_but_the_keyboard() {
    let desk = Desk::planned(small_plan()).await.with_pieces(PIECES).await;
    let codes: Vec<String> = {
        let record = desk.record().await;
        record
            .specimens
            .iter()
            .map(|p| p.code.to_string())
            .collect()
    };
    let browser = signed_in(&desk, Look::PHONE).await;
    browser
        .goto(&format!("/desk/{SLUG}/round?quantity=mass&occasion=before"))
        .await;
    assert_eq!(browser.focused_field().await, "instrument");
    browser.type_keys("\t\t\t\n").await;
    browser.find("form[data-round]").await;
    assert_eq!(code_in_field(&browser).await, codes[0]);
    assert_eq!(browser.focused_field().await, "value");
    for (n, code) in codes.iter().take(8).enumerate() {
        assert_eq!(code_in_field(&browser).await, *code);
        browser.type_keys(&format!("8,4{n}\n")).await;
        browser
            .find(&format!("[data-piece='{}']", codes[n + 1]))
            .await;
    }
    browser.fits_the_screen().await;
    // Another piece than the suggested one: its code, Enter goes on to the number.
    let code = browser.find("#f-code").await;
    code.click().await.unwrap();
    let other = codes[9].to_lowercase();
    browser.type_keys(&format!("{other}\n")).await;
    assert_eq!(browser.focused_field().await, "value");
    browser.type_keys("84.5").await;
    assert!(browser.text("[data-check]").await.contains("look again"));
    browser.picture("round-check-phone").await;
    browser.type_keys("\n").await;
    browser.find("#f-confirmed").await;
    assert_eq!(browser.focused_field().await, "confirmed");
    browser.fits_the_screen().await;
    browser.picture("round-asks-phone").await;
    browser.type_keys(" \n").await;
    browser.find(&format!("[data-piece='{}']", codes[10])).await;
    assert!(
        browser
            .text(".notice[role=status]")
            .await
            .contains("84.5 g recorded")
    );
    browser.has_sent(9).await;
    let record = desk.record().await;
    let last = &record.readings.last().unwrap().reading;
    assert_eq!(
        (last.specimen.as_str(), last.value),
        (codes[9].as_str(), 84.5)
    );
    assert!(last.is_confirmed_doubt);
    browser.close().await;
}

#[tokio::test]
async fn a_slip_in_the_code_shows_while_it_is_typed() {
    let desk = Desk::planned(small_plan()).await.with_pieces(PIECES).await;
    let good = desk.record().await.specimens[3].code.to_string();
    let browser = signed_in(&desk, Look::PHONE).await;
    let round = format!(
        "/desk/{SLUG}/round?quantity=mass&occasion=before&instrument={}&unit=g&state=conditioned",
        desk.balance
    );
    browser.goto(&round).await;
    browser.find("#f-code").await.click().await.unwrap();
    let (mark, rest) = good.split_at(2);
    let swapped: String = rest.chars().rev().collect();
    browser.type_keys(&format!("{mark}{swapped}")).await;
    assert!(
        browser
            .text("[data-check]")
            .await
            .contains("check character")
    );
    browser.find("#f-code").await.clear().await.unwrap();
    browser.find("#f-code").await.click().await.unwrap();
    browser.type_keys(&good).await;
    assert_eq!(browser.text("[data-check]").await, "");
    browser.find("#f-value").await.click().await.unwrap();
    browser.type_keys("8.4.1").await;
    assert!(
        browser
            .text("[data-check]")
            .await
            .contains("12.34 or 12,34")
    );
    browser.close().await;
}

#[tokio::test]
async fn the_round_works_without_scripts() {
    let desk = Desk::planned(small_plan()).await.with_pieces(PIECES).await;
    let browser = signed_in(&desk, Look::PHONE.without_scripts()).await;
    browser
        .goto(&format!("/desk/{SLUG}/round?quantity=mass&occasion=before"))
        .await;
    browser.type_keys("\t\t\t\n").await;
    browser.find("form[data-round]").await;
    browser.type_keys("8,41\n").await;
    browser.find(".notice[role=status]").await;
    let record = desk.record().await;
    assert_eq!(record.readings[0].reading.value, 8.41);
    assert_eq!(
        code_in_field(&browser).await,
        record.specimens[1].code.as_str()
    );
    browser.close().await;
}

#[tokio::test]
async fn every_page_about_pieces_fits_a_phone_and_a_desk_in_light_and_dark() {
    let desk = Desk::ready().await;
    let all = [
        ("all", "condition:c1"),
        ("all", "holder:c3h1"),
        ("at", "2026-03-01T10:00"),
    ];
    desk.submit("exposure/out", &all).await.is(303);
    let record = desk.record().await;
    let reading = record.readings[0].entry;
    let code = record.readings[0].reading.specimen.clone();
    let pages = [
        "instruments".to_owned(),
        "specimens".to_owned(),
        "specimens/new".to_owned(),
        "specimens/print".to_owned(),
        format!("specimens/{code}"),
        format!("readings/{reading}/correct"),
        format!("entries/{reading}/void"),
        "round".to_owned(),
        "round?quantity=mass&occasion=before".to_owned(),
        "exposure".to_owned(),
        "exposure/out".to_owned(),
        "exposure/waive".to_owned(),
        "exposure/handle".to_owned(),
        "exposure/handle?what=moved".to_owned(),
        "exposure/incident".to_owned(),
        "exposure/in".to_owned(),
        "exposure/in?stage=180".to_owned(),
        "exposure/nameless".to_owned(),
    ];
    for (look, name) in [
        (Look::PHONE, "phone"),
        (Look::PHONE.dark(), "phone-dark"),
        (Look::DESK, "desk"),
        (Look::DESK.dark(), "desk-dark"),
    ] {
        let browser = signed_in(&desk, look).await;
        for (n, page) in pages.iter().enumerate() {
            browser.goto(&format!("/desk/{SLUG}/{page}")).await;
            browser.find("h1").await;
            browser.fits_the_screen().await;
            browser.picture(&format!("pieces-{n:02}-{name}")).await;
        }
        browser.close().await;
    }
}
