//! The measuring round: one number at a time, checked, never refused for looking odd, never
//! overwritten.

use crate::house::desk::{Desk, PIECES, SLUG, small_plan};
use overwinter::study::plan::DimensionPlan;
use overwinter::study::reading::{Occasion, Quantity};
use overwinter::study::record::Standing;

async fn bench() -> Desk {
    Desk::planned(small_plan()).await.with_pieces(PIECES).await
}

async fn codes(desk: &Desk) -> Vec<String> {
    let record = desk.record().await;
    let codes = record.specimens.iter().map(|piece| piece.code.to_string());
    codes.collect()
}

/// The address of the round with its settings.
fn round(desk: &Desk, more: &str) -> String {
    format!(
        "round?quantity=mass&occasion=before&instrument={}&unit=g&state=conditioned{more}",
        desk.balance
    )
}

#[tokio::test]
async fn comma_and_point_are_kept_as_typed_and_the_next_piece_is_suggested() {
    let desk = bench().await;
    let codes = codes(&desk).await;
    for (n, text) in ["8,412", "8.398"].into_iter().enumerate() {
        let shown = desk.round(&[("code", &codes[n]), ("value", text)]).await;
        let next = format!(
            "/desk/{SLUG}/{}",
            round(&desk, &format!("&after={}", codes[n]))
        );
        shown.redirects_to(&next);
        let page = desk.steward.open(&next).await;
        assert_eq!(page.attribute("#f-code", "value"), codes[n + 1]);
        assert_eq!(page.attribute("#f-value", "value"), "");
        assert!(
            page.text(".round-top span")
                .starts_with(&format!("{} of {PIECES}", n + 1))
        );
    }
    let record = desk.record().await;
    let read: Vec<_> = record
        .readings
        .iter()
        .map(|r| (r.reading.value, r.reading.typed.text.as_str()))
        .collect();
    assert_eq!(read, [(8.412, "8,412"), (8.398, "8.398")]);
}

#[tokio::test]
async fn a_doubtful_value_asks_once_and_is_kept_with_that_mark() {
    let desk = bench().await;
    let codes = codes(&desk).await;
    for (n, code) in codes.iter().take(9).enumerate() {
        let value = format!("8.4{n}");
        desk.round(&[("code", code), ("value", &value)])
            .await
            .is(303);
    }
    let typed = [("code", codes[9].as_str()), ("value", "84,3")];
    let asked = desk.round(&typed).await;
    assert!(asked.refused().fault("confirmed").contains("10 times"));
    assert_eq!(asked.attribute("#f-value", "value"), "84,3");
    assert_eq!(asked.attribute("#f-confirmed", "autofocus"), "");
    assert_eq!(desk.record().await.readings.len(), 9, "nothing is kept yet");
    let confirmed = [typed[0], typed[1], ("confirmed", "yes")];
    desk.round(&confirmed).await.is(303);
    let record = desk.record().await;
    assert!(record.readings[9].reading.is_confirmed_doubt);
    assert!(!record.readings[8].reading.is_confirmed_doubt);
    // A tick does not mark a value that nobody would ask about.
    let fine = [
        ("code", codes[10].as_str()),
        ("value", "8.44"),
        ("confirmed", "yes"),
    ];
    desk.round(&fine).await.is(303);
    assert!(!desk.record().await.readings[10].reading.is_confirmed_doubt);
}

#[tokio::test]
async fn a_wrong_code_and_a_wrong_number_are_said_beside_their_fields() {
    let desk = bench().await;
    let good = codes(&desk).await[0].clone();
    let mut slip = good.clone();
    slip.replace_range(2..3, if good.contains('7') { "9" } else { "7" });
    let shown = desk.round(&[("code", &slip), ("value", "8.4.1")]).await;
    assert!(shown.refused().fault("code").contains("check character"));
    assert!(shown.fault("value").contains("12.34 or 12,34"));
    assert_eq!(shown.attribute("#f-code", "value"), slip);
    assert_eq!(shown.attribute("#f-value", "value"), "8.4.1");
    let body = shown.body();
    let code = body.find("id=\"f-code\"").unwrap();
    assert!(body[code..code + 300].contains("autofocus"));
    for (value, word) in [
        ("", "missing"),
        ("0", "above zero"),
        ("-1", "above zero"),
        ("1e400", "12.34"),
    ] {
        let shown = desk.round(&[("code", &good), ("value", value)]).await;
        assert!(shown.refused().fault("value").contains(word), "{value}");
    }
    // A code of the right form that no piece has.
    let stray = overwinter::study::code::Code::run("GT", 400)
        .next()
        .unwrap()
        .1;
    let shown = desk
        .round(&[("code", stray.as_str()), ("value", "8.4")])
        .await;
    assert!(
        shown
            .refused()
            .fault("code")
            .contains("no code of this study")
    );
}

#[tokio::test]
async fn several_readings_take_the_next_free_number_and_no_more_than_planned() {
    let mut plan = small_plan();
    plan.mass.readings = 2;
    let desk = Desk::planned(plan).await.with_pieces(PIECES).await;
    let code = codes(&desk).await[0].clone();
    let first = desk.round(&[("code", &code), ("value", "8.41")]).await;
    first.redirects_to(&format!(
        "/desk/{SLUG}/{}",
        round(&desk, &format!("&at={code}"))
    ));
    let page = desk.open(&round(&desk, &format!("&at={code}"))).await;
    assert!(page.ok().text("[data-piece]").contains("reading 2 of 2"));
    desk.round(&[("code", &code), ("value", "8.42")])
        .await
        .is(303);
    let third = desk.round(&[("code", &code), ("value", "8.43")]).await;
    assert!(third.refused().fault("code").contains("All 2 readings"));
    let record = desk.record().await;
    let repeats: Vec<u8> = record.readings.iter().map(|r| r.reading.repeat).collect();
    assert_eq!(repeats, [1, 2]);
}

#[tokio::test]
async fn a_page_sent_twice_writes_once_and_swallows_no_other_value() {
    let mut plan = small_plan();
    plan.mass.readings = 3;
    let desk = Desk::planned(plan).await.with_pieces(PIECES).await;
    let code = codes(&desk).await[0].clone();
    let balance = desk.balance.to_string();
    let fields = |value| {
        [
            ("quantity", "mass"),
            ("occasion", "before"),
            ("instrument", balance.as_str()),
            ("unit", "g"),
            ("state", "conditioned"),
            ("code", code.as_str()),
            ("value", value),
        ]
    };
    let entry = desk.server.app.clock.new_id().to_string();
    for _ in 0..3 {
        let shown = desk.submit_as(&entry, "round", &fields("8.41")).await;
        shown.redirects_to(&format!(
            "/desk/{SLUG}/{}",
            round(&desk, &format!("&at={code}"))
        ));
    }
    assert_eq!(desk.record().await.readings.len(), 1);
    let other = desk.submit_as(&entry, "round", &fields("8.42")).await;
    assert!(
        other
            .refused()
            .fault("value")
            .contains("8.41 g was recorded")
    );
    assert_eq!(
        desk.record().await.readings.len(),
        1,
        "nothing is kept unasked"
    );
    let fresh = other.attribute("input[name=entry]", "value");
    assert_ne!(fresh, entry);
    desk.submit_as(&fresh, "round", &fields("8.42"))
        .await
        .is(303);
    assert_eq!(desk.record().await.readings.len(), 2);
}

#[tokio::test]
async fn skipping_goes_down_the_list_and_comes_back_to_the_top() {
    let desk = bench().await;
    let codes = codes(&desk).await;
    let page = desk.open(&round(&desk, "")).await;
    assert_eq!(page.attribute("#f-code", "value"), codes[0]);
    let skip = page.attribute(".actions a", "href");
    let page = desk.steward.open(&skip).await;
    assert_eq!(page.attribute("#f-code", "value"), codes[1]);
    let page = desk
        .open(&round(&desk, &format!("&after={}", codes[PIECES - 1])))
        .await;
    assert_eq!(page.attribute("#f-code", "value"), codes[0]);
}

#[tokio::test]
async fn settings_that_do_not_fit_are_asked_for_again() {
    let desk = bench().await;
    let calliper = desk.calliper.to_string();
    let page = desk
        .open(&round(&desk, "").replace(&desk.balance.to_string(), &calliper))
        .await;
    assert!(page.ok().fault("instrument").contains("measures this"));
    let page = desk
        .open(&round(&desk, "").replace("unit=g", "unit=mm"))
        .await;
    assert!(page.ok().fault("unit").contains("kg"));
    let page = desk
        .open("round?quantity=length:height&occasion=before")
        .await;
    assert_eq!(
        page.ok().texts(".rounds li").len(),
        3,
        "mass, width, thickness"
    );
    let wrong = desk
        .round(&[("state", "soaked"), ("code", "x"), ("value", "1")])
        .await;
    assert!(wrong.refused().fault("state").contains("as received"));
}

#[tokio::test]
async fn what_a_piece_was_before_is_said_only_after_the_new_value_is_saved() {
    let desk = Desk::ready().await;
    let code = desk.placed("c3", 180).await[0].to_string();
    let out = [("piece", code.as_str()), ("at", "2026-03-01T10:00")];
    desk.submit("exposure/out", &out).await.is(303);
    desk.wait(180).await;
    let state = format!("state-{code}");
    let known = format!("known-{code}");
    let taken = [
        ("stage", "180"),
        (state.as_str(), "whole"),
        (known.as_str(), "mark"),
        ("at", "2026-08-28T10:30"),
    ];
    desk.submit("exposure/in", &taken).await.is(303);
    let before = desk.record().await;
    let own = before
        .readings
        .iter()
        .find(|r| r.reading.specimen.as_str() == code && r.reading.quantity == Quantity::Mass);
    let own = own.unwrap().reading.typed.text.clone();
    let after = round(&desk, "").replace("occasion=before", "occasion=after");
    let page = desk.open(&after).await;
    assert_eq!(page.ok().attribute("#f-code", "value"), code);
    assert!(!page.text("main").contains(&own), "{own} stays hidden");
    let typed = [
        ("occasion", "after"),
        ("code", code.as_str()),
        ("value", "8.45"),
    ];
    let saved = desk.round(&typed).await;
    let next = desk.steward.open(saved.is(303).header("location")).await;
    assert!(
        next.text("[role=status]")
            .contains(&format!("Before: {own} g"))
    );
    // A change beyond what is usual is asked about, again only after it is typed.
    let undone = desk
        .record()
        .await
        .readings
        .last()
        .unwrap()
        .entry
        .to_string();
    let reason = [("reason", "the wrong piece lay on the balance")];
    desk.submit(&format!("entries/{undone}/void"), &reason)
        .await
        .is(303);
    let typed = [
        ("occasion", "after"),
        ("code", code.as_str()),
        ("value", "9.10"),
    ];
    let asked = desk.round(&typed).await;
    assert!(asked.refused().fault("confirmed").contains("changed by +8"));
}

#[tokio::test]
async fn density_is_checked_where_the_volume_is_known() {
    let mut plan = small_plan();
    plan.material.density_g_cm3 = Some(1.24);
    plan.dimensions.push(DimensionPlan {
        name: "length".to_owned(),
        places: 1,
        nominal_mm: None,
    });
    let desk = Desk::planned(plan).await.with_pieces(PIECES).await;
    let piece = desk.record().await.specimens[0].code.clone();
    for (name, size) in [("width", 10.0), ("thickness", 4.0), ("length", 80.0)] {
        let quantity = Quantity::Length(name.to_owned());
        desk.read(&piece, quantity, Occasion::Before, size).await;
    }
    // 80 × 10 × 4 mm at 1.24 g/cm³ weigh 3.968 g; 8.4 g would be the nominal mass of the plan.
    let heavy = desk
        .round(&[("code", piece.as_str()), ("value", "4.9")])
        .await;
    assert!(
        heavy
            .refused()
            .fault("confirmed")
            .contains("density of 1.53 g/cm³")
    );
    desk.round(&[("code", piece.as_str()), ("value", "3.968")])
        .await
        .is(303);
}

#[tokio::test]
async fn a_wrong_reading_is_corrected_with_a_reason_and_both_stay_visible() {
    let desk = bench().await;
    let code = codes(&desk).await[0].clone();
    desk.round(&[("code", &code), ("value", "8,14")])
        .await
        .is(303);
    let entry = desk.record().await.readings[0].entry.to_string();
    let form = format!("readings/{entry}/correct");
    let without = desk
        .submit(&form, &[("value", "8,41"), ("unit", "g"), ("reason", " ")])
        .await;
    assert!(without.refused().fault("reason").contains("why"));
    assert_eq!(without.attribute("#f-value", "value"), "8,41");
    let reason = ("reason", "two digits exchanged");
    let right = [("value", "8,41"), ("unit", "g"), reason];
    desk.submit(&form, &right)
        .await
        .redirects_to(&format!("/desk/{SLUG}/specimens/{code}"));
    let page = desk.open(&format!("specimens/{code}")).await;
    let lines = page.ok().texts(".history > li");
    assert!(
        lines[0].contains("8,14 g") && lines[0].contains("corrected"),
        "{lines:?}"
    );
    assert!(lines[1].contains("8,41 g") && lines[1].contains("two digits exchanged"));
    let record = desk.record().await;
    assert_eq!(record.readings[0].standing, Standing::Superseded);
    assert_eq!(record.current_readings().count(), 1);
    // Again on the old one: refused, since it no longer counts.
    desk.submit(&form, &right).await.refused();
    let last = record.readings[1].entry.to_string();
    let gone = [("reason", "weighed with its string")];
    desk.submit(&format!("entries/{last}/void"), &gone)
        .await
        .is(303);
    assert_eq!(desk.record().await.current_readings().count(), 0);
    let page = desk.open(&format!("specimens/{code}")).await;
    assert!(
        page.texts(".history > li")[1].contains("weighed with its string")
            || page.texts(".history > li")[1].contains("void")
    );
}
