//! Instruments and specimens: what is registered, under which codes, and what stays hidden.

use crate::house::desk::{Desk, PIECES, SLUG, small_plan};
use crate::house::half::Half;
use overwinter::commands::demo::HOOKS;
use overwinter::study::code::Code;
use overwinter::study::specimen::Whereabouts;
use std::collections::BTreeSet;

#[tokio::test]
async fn an_instrument_is_added_in_the_unit_it_shows() {
    let desk = Desk::planned(small_plan()).await;
    let wrong = [
        ("name", ""),
        ("dimension", "mass"),
        ("readability", "0,1"),
        ("unit", "mm"),
    ];
    let shown = desk.submit("instruments", &wrong).await;
    assert!(shown.refused().fault("name").contains("missing"));
    assert!(shown.fault("unit").contains("mg"));
    assert_eq!(shown.attribute("#f-readability", "value"), "0,1");
    let fine = [
        ("name", "fine balance"),
        ("dimension", "mass"),
        ("readability", "0,1"),
        ("unit", "mg"),
        ("uncertainty", ""),
    ];
    let entry = desk.server.app.clock.new_id().to_string();
    for _ in 0..2 {
        let shown = desk.submit_as(&entry, "instruments", &fine).await;
        shown.redirects_to(&format!("/desk/{SLUG}/instruments"));
    }
    let record = desk.record().await;
    assert_eq!(record.instruments.len(), 3, "sent twice, added once");
    let added = record
        .instruments
        .iter()
        .find(|i| i.name == "fine balance")
        .unwrap();
    assert_eq!((added.readability, added.uncertainty), (0.0001, None));
    assert!(
        desk.open("instruments")
            .await
            .text("table")
            .contains("0.0001 g")
    );
}

#[tokio::test]
async fn batches_get_codes_that_check_themselves_and_no_code_twice() {
    let desk = Desk::planned(small_plan()).await;
    let batch = |first| {
        [
            ("lot", "bag 1"),
            ("build", "shot 2"),
            ("count", "6"),
            ("first", first),
        ]
    };
    desk.submit("specimens/new", &batch("1"))
        .await
        .redirects_to(&format!("/desk/{SLUG}/specimens"));
    let entry = desk.server.app.clock.new_id().to_string();
    for _ in 0..2 {
        desk.submit_as(&entry, "specimens/new", &batch("7"))
            .await
            .is(303);
    }
    let record = desk.record().await;
    assert_eq!(record.specimens.len(), 12, "the second form was sent twice");
    let codes: BTreeSet<&str> = record.specimens.iter().map(|p| p.code.as_str()).collect();
    assert_eq!(codes.len(), 12);
    assert!(
        codes
            .iter()
            .all(|code| code.starts_with("GT") && code.parse::<Code>().is_ok())
    );
    assert_eq!(record.specimens[11].order, 12);
    let wrong = [
        ("lot", "bag 9"),
        ("build", "shot 2"),
        ("count", "501"),
        ("first", "x"),
    ];
    let shown = desk.submit("specimens/new", &wrong).await;
    for field in ["lot", "count", "first"] {
        shown.refused().fault(field);
    }
    let list = desk.open("specimens/print").await;
    assert_eq!(list.ok().texts(".codes .code").len(), 12);
}

#[tokio::test]
async fn two_batches_at_once_never_share_a_code() {
    let desk = Desk::planned(small_plan()).await;
    let batch = [
        ("lot", "bag 1"),
        ("build", "shot 1"),
        ("count", "40"),
        ("first", "1"),
    ];
    let (a, b, c) = tokio::join!(
        desk.submit("specimens/new", &batch),
        desk.submit("specimens/new", &batch),
        desk.submit("specimens/new", &batch),
    );
    for shown in [a, b, c] {
        shown.is(303);
    }
    assert_eq!(desk.record().await.specimens.len(), 120);
}

#[tokio::test]
async fn a_flawed_piece_is_rejected_with_a_reason_before_the_allocation() {
    let desk = Desk::planned(small_plan())
        .await
        .with_pieces(PIECES + 1)
        .await;
    let code = desk.record().await.specimens[0].code.to_string();
    let form = format!("specimens/{code}/reject");
    let shown = desk.submit(&form, &[("reason", "")]).await;
    assert!(shown.refused().fault("reason").contains("what is wrong"));
    desk.submit(&form, &[("reason", "short shot")])
        .await
        .is(303);
    assert_eq!(
        desk.record().await.specimens[0].whereabouts,
        Whereabouts::Rejected
    );
    let page = desk.open(&format!("specimens/{code}")).await;
    assert!(page.text(".history").contains("short shot"));
    assert!(page.texts("form[action$=reject]").is_empty());
    assert!(!desk.open("specimens/print").await.body().contains(&code));
    desk.open("specimens/GT999").await.is(404);
}

#[tokio::test]
async fn the_steward_sees_of_a_blind_consignment_that_pieces_are_packed_and_no_more() {
    let half = Half::set_up().await;
    let record = half.record().await;
    let consignment = record.consignments.iter().find(|c| c.is_blind()).unwrap();
    assert!(consignment.tests_done() > 0, "some are tested");
    let list = half
        .steward
        .open(&format!("/desk/{}/specimens", HOOKS.slug))
        .await;
    assert!(
        !list.ok().body().contains("tested"),
        "{}",
        list.text("table")
    );
    for piece in &consignment.pieces {
        let page = format!("/desk/{}/specimens/{}", HOOKS.slug, piece.specimen);
        let page = half.steward.open(&page).await;
        let body = page.ok().body();
        assert!(body.contains("packed for"));
        assert!(!body.contains(piece.blind.as_str()), "{}", piece.blind);
        assert!(!page.text(".history").contains("break test"));
        let test = consignment.test_of(&piece.blind);
        if let Some(load) = test.and_then(|t| t.test.typed.as_ref()) {
            assert!(!page.text(".history").contains(&format!("{} N", load.text)));
        }
    }
}
