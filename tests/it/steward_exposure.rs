//! Out, watched, in: nothing goes out unmeasured, a slip of the pen is asked about, nothing is lost
//! silently.

use crate::house::desk::{Desk, PIECES, SLUG, small_plan};
use overwinter::study::allocation::Place;
use overwinter::study::reading::{Occasion, Quantity};
use overwinter::study::specimen::{Identity, Recovery, Whereabouts};

/// The tests begin on 1 March 2026, 10:00 in Oslo.
const NOW: &str = "2026-03-01T10:00";

async fn out(desk: &Desk) {
    let all = [
        ("all", "condition:c1"),
        ("all", "condition:c3"),
        ("at", NOW),
    ];
    desk.submit("exposure/out", &all)
        .await
        .redirects_to(&format!("/desk/{SLUG}/exposure"));
}

async fn at(desk: &Desk, place: Whereabouts) -> usize {
    let record = desk.record().await;
    record
        .specimens
        .iter()
        .filter(|piece| piece.whereabouts == place)
        .count()
}

#[tokio::test]
async fn a_piece_without_its_readings_stays_until_it_is_measured_or_waived_with_a_reason() {
    let desk = Desk::planned(small_plan()).await.with_pieces(PIECES).await;
    let desk = desk.measured_but(&(0..PIECES).collect::<Vec<_>>()).await;
    let desk = desk.drawn().await.sealed().await;
    let codes = desk.placed("c3", 180).await;
    for code in &codes {
        desk.read(code, Quantity::Mass, Occasion::Before, 8.4).await;
    }
    let (first, second) = (codes[0].to_string(), codes[1].to_string());
    let page = desk.open("exposure/out").await;
    let held = page.ok().texts("section.doubt li");
    let line = held.iter().find(|line| line.starts_with(&first)).unwrap();
    assert!(line.ends_with("width, thickness"), "{line}");
    let tried = [("piece", first.as_str()), ("at", NOW)];
    let shown = desk.submit("exposure/out", &tried).await;
    assert!(
        shown
            .refused()
            .fault("piece")
            .contains("width, thickness before exposure")
    );
    assert_eq!(at(&desk, Whereabouts::Out).await, 0);

    let silent = desk
        .submit("exposure/waive", &[("piece", &first), ("reason", "")])
        .await;
    assert!(silent.refused().fault("reason").contains("why"));
    let waived = [
        ("piece", first.as_str()),
        ("reason", "the calliper was lent out"),
    ];
    desk.submit("exposure/waive", &waived).await.is(303);
    for name in ["width", "thickness"] {
        let quantity = Quantity::Length(name.to_owned());
        desk.read(&codes[1], quantity, Occasion::Before, 9.0).await;
    }
    let both = [
        ("piece", first.as_str()),
        ("piece", second.as_str()),
        ("at", NOW),
    ];
    desk.submit("exposure/out", &both).await.is(303);
    assert_eq!(at(&desk, Whereabouts::Out).await, 2);
    let page = desk.open(&format!("specimens/{first}")).await;
    assert!(page.text(".history").contains("the calliper was lent out"));
}

#[tokio::test]
async fn nothing_goes_out_before_the_seal() {
    let desk = Desk::planned(small_plan()).await.with_pieces(PIECES).await;
    let desk = desk.measured_but(&[]).await.drawn().await;
    let page = desk.open("exposure/out").await;
    assert!(page.ok().text(".notice").contains("Seal the plan first"));
    let all = [("all", "condition:c3"), ("at", NOW)];
    let shown = desk.submit("exposure/out", &all).await;
    assert!(
        shown
            .refused()
            .text("[role=alert]")
            .contains("must be sealed")
    );
    assert_eq!(at(&desk, Whereabouts::Out).await, 0);
}

#[tokio::test]
async fn a_whole_condition_goes_with_one_tick_and_a_second_tap_changes_nothing() {
    let desk = Desk::ready().await;
    let nothing = desk.submit("exposure/out", &[("at", NOW)]).await;
    assert!(nothing.refused().fault("piece").contains("at least one"));
    let entry = desk.server.app.clock.new_id().to_string();
    for _ in 0..2 {
        let all = [("all", "condition:c3"), ("at", NOW)];
        desk.submit_as(&entry, "exposure/out", &all).await.is(303);
    }
    let record = desk.record().await;
    let out = record
        .specimens
        .iter()
        .filter(|p| p.whereabouts == Whereabouts::Out);
    assert!(
        out.clone().all(
            |p| matches!(&p.place, Some(Place::Exposed { condition, .. }) if condition == "c3")
        )
    );
    assert_eq!((out.count(), record.events.len()), (4, 4));
    let page = desk.open("exposure").await;
    let tables = page.ok().texts("table");
    assert!(!tables[0].contains("rain barrel") && tables[1].contains("rain barrel"));
}

#[tokio::test]
async fn cautions_stand_at_the_step_for_the_places_involved() {
    let desk = Desk::ready().await;
    let page = desk.open("exposure/out").await.text(".cautions");
    for word in [
        "lifejacket",
        "Stagnant water",
        "crack when they freeze",
        "Local rules",
    ] {
        assert!(page.contains(word), "{word}");
    }
    out(&desk).await;
    let indoors = desk.open("exposure/in?stage=180&condition=c1").await;
    assert!(!indoors.text(".cautions").contains("lifejacket"));
    let barrel = desk.open("exposure/in?stage=180&condition=c3").await;
    assert!(barrel.text(".cautions").contains("lifejacket"));
    let drying = desk.open("exposure/handle?what=dried").await;
    assert!(drying.text(".cautions").contains("ignite"));
}

#[tokio::test]
async fn a_date_that_looks_mistyped_is_asked_about_once() {
    let desk = Desk::ready().await;
    for slip in ["2027-03-01T10:00", "2025-03-01T10:00"] {
        let all = [("all", "condition:c3"), ("at", slip)];
        let asked = desk.submit("exposure/out", &all).await;
        let word = if slip.starts_with("2027") {
            "future"
        } else {
            "sealed"
        };
        assert!(asked.refused().fault("confirmed").contains(word), "{slip}");
        assert_eq!(asked.attribute("#f-at", "value"), slip);
    }
    assert_eq!(at(&desk, Whereabouts::Out).await, 0);
    out(&desk).await;
    // Before the pieces' last event.
    let back = [
        ("what", "inspected"),
        ("all", "condition:c3"),
        ("at", "2026-02-01T10:00"),
    ];
    let asked = desk.submit("exposure/handle", &back).await;
    assert!(
        asked
            .refused()
            .fault("confirmed")
            .contains("before the last thing")
    );
    let confirmed = [back[0], back[1], back[2], ("confirmed", "yes")];
    desk.submit("exposure/handle", &confirmed).await.is(303);
    assert_eq!(desk.record().await.events.len(), 12);
    // Out of the stage's window.
    let code = desk.placed("c3", 180).await[0].to_string();
    let (state, known) = (format!("state-{code}"), format!("known-{code}"));
    let early = [
        ("stage", "180"),
        (state.as_str(), "damaged"),
        (known.as_str(), "place"),
        ("at", "2026-03-01T10:00"),
    ];
    let asked = desk.submit("exposure/in", &early).await;
    assert!(
        asked
            .refused()
            .fault("confirmed")
            .contains("the plan says 180 ± 5 days")
    );
    assert!(
        asked
            .body()
            .contains(r#"<option value="damaged" selected>"#),
        "as typed"
    );
    let confirmed = [early[0], early[1], early[2], early[3], ("confirmed", "yes")];
    desk.submit("exposure/in", &confirmed).await.is(303);
    assert_eq!(at(&desk, Whereabouts::In).await, 1);
}

#[tokio::test]
async fn the_pick_list_says_of_every_piece_in_which_state_it_came_and_how_it_is_known() {
    let desk = Desk::ready().await;
    out(&desk).await;
    desk.wait(181).await;
    let list = desk.open("exposure/in?stage=180").await;
    assert_eq!(list.ok().texts(".picks > li").len(), 4);
    assert!(list.text(".lead").contains("due 28 August 2026"));
    let codes: Vec<String> = list.texts(".picks .code");
    let names: Vec<(String, String)> = codes
        .iter()
        .map(|c| (format!("state-{c}"), format!("known-{c}")))
        .collect();
    let mut fields = vec![
        ("stage", "180"),
        ("at", "2026-08-29T10:00"),
        ("note", "one is gone"),
    ];
    for ((state, known), (recovery, identity)) in names.iter().zip([
        ("whole", "mark"),
        ("fragments", "elimination"),
        ("not_found", "mark"),
        ("", "mark"),
    ]) {
        fields.push((state, recovery));
        fields.push((known, identity));
    }
    desk.submit("exposure/in", &fields).await.is(303);
    let record = desk.record().await;
    let of = |code: &String| record.specimen(&code.parse().unwrap()).unwrap();
    let found = |n: usize| {
        (
            of(&codes[n]).recovery,
            of(&codes[n]).identity,
            of(&codes[n]).whereabouts,
        )
    };
    assert_eq!(
        found(0),
        (Some(Recovery::Whole), Some(Identity::Mark), Whereabouts::In)
    );
    assert_eq!(
        found(1),
        (
            Some(Recovery::Fragments),
            Some(Identity::Elimination),
            Whereabouts::In
        )
    );
    assert_eq!(
        found(2),
        (
            Some(Recovery::NotFound),
            Some(Identity::Unknown),
            Whereabouts::Lost
        )
    );
    assert_eq!(
        found(3),
        (None, None, Whereabouts::Out),
        "left out of this entry"
    );
    assert!((of(&codes[0]).days_out().unwrap() - 181.0).abs() < 0.1);
    let wrong = [
        ("stage", "180"),
        ("at", "2026-08-29T10:00"),
        (names[3].0.as_str(), "melted"),
    ];
    let shown = desk.submit("exposure/in", &wrong).await;
    assert!(
        shown
            .refused()
            .text(".picks .fault")
            .contains("recovered whole")
    );
}

#[tokio::test]
async fn several_pieces_are_handled_in_one_entry_and_what_needs_a_reason_gets_one() {
    let desk = Desk::ready().await;
    out(&desk).await;
    let entries = desk.record().await.entries;
    let topped = [("what", "topped_up"), ("all", "condition:c3"), ("at", NOW)];
    desk.submit("exposure/handle", &topped).await.is(303);
    let record = desk.record().await;
    assert_eq!((record.entries, record.events.len()), (entries + 1, 12));
    let code = desk.placed("c3", 365).await[0].to_string();
    let lost = [
        ("what", "lost"),
        ("piece", code.as_str()),
        ("at", NOW),
        ("note", ""),
    ];
    let shown = desk.submit("exposure/handle", &lost).await;
    assert!(shown.refused().fault("note").contains("what happened"));
    assert!(
        shown.body().contains(&format!("value=\"{code}\" checked")),
        "still ticked"
    );
    let moved = [("what", "moved"), ("piece", code.as_str()), ("at", NOW)];
    let shown = desk.submit("exposure/handle", &moved).await;
    assert!(shown.refused().fault("into_holder").contains("Choose"));
    let own = match &desk
        .record()
        .await
        .specimen(&code.parse().unwrap())
        .unwrap()
        .place
    {
        Some(Place::Exposed { holder, .. }) => holder.clone(),
        _ => panic!("it is out"),
    };
    let other = if own == "c3h1" { "c3h2" } else { "c3h1" };
    let moved = [moved[0], moved[1], moved[2], ("into_holder", other)];
    desk.submit("exposure/handle", &moved).await.is(303);
    let record = desk.record().await;
    let piece = record.specimen(&code.parse().unwrap()).unwrap();
    assert!(matches!(&piece.place, Some(Place::Exposed { holder, .. }) if holder == other));
    // Undone: the entry stays visible and the piece is where it was.
    let entry = record.events.last().unwrap().entry.to_string();
    desk.submit(
        &format!("entries/{entry}/void"),
        &[("reason", "the wrong one")],
    )
    .await
    .is(303);
    let record = desk.record().await;
    let piece = record.specimen(&code.parse().unwrap()).unwrap();
    assert!(matches!(&piece.place, Some(Place::Exposed { holder, .. }) if *holder == own));
    assert!(
        desk.open("exposure")
            .await
            .text(".history")
            .contains("void")
    );
}

#[tokio::test]
async fn an_incident_reaches_every_piece_in_the_holder() {
    let desk = Desk::ready().await;
    out(&desk).await;
    let form = [
        ("holder", "c3h1"),
        ("note", "froze through and cracked"),
        ("from", "2026-02-20"),
        ("until", "2026-02-10"),
        ("into_holder", "c1h1"),
        ("decision", "keep"),
    ];
    let shown = desk.submit("exposure/incident", &form).await;
    assert!(shown.refused().fault("until").contains("before the first"));
    assert!(shown.fault("into_holder").contains("same condition"));
    assert_eq!(shown.text("#f-note"), "froze through and cracked");
    let mut form = form;
    (form[3], form[4]) = (("until", ""), ("into_holder", "c3h2"));
    desk.submit("exposure/incident", &form).await.is(303);
    let record = desk.record().await;
    let in_barrel = record.specimens.iter().filter(
        |piece| matches!(&piece.place, Some(Place::Exposed { holder, .. }) if holder == "c3h2"),
    );
    assert_eq!(
        in_barrel.count(),
        4,
        "all four of the condition are in the other barrel now"
    );
    let first = record.incidents[0].entry;
    let moved = record
        .events
        .iter()
        .find(|event| event.entry == first)
        .unwrap();
    let page = desk.open(&format!("specimens/{}", moved.specimen)).await;
    assert!(page.text(".history").contains("froze through and cracked"));
}

#[tokio::test]
async fn a_piece_without_its_mark_gets_a_code_and_is_told_what_it_counts_for() {
    let desk = Desk::ready().await;
    out(&desk).await;
    let found = [
        ("holder", "c3h1"),
        ("stage", "180"),
        ("state", "whole"),
        ("at", NOW),
    ];
    let entry = desk.server.app.clock.new_id().to_string();
    let first = desk.submit_as(&entry, "exposure/nameless", &found).await;
    desk.submit_as(&entry, "exposure/nameless", &found)
        .await
        .is(303);
    let record = desk.record().await;
    assert_eq!(record.specimens.len(), PIECES + 1, "sent twice, found once");
    let piece = record.specimens.last().unwrap();
    assert!(piece.is_nameless);
    first.redirects_to(&format!("/desk/{SLUG}/specimens/{}", piece.code));
    assert!(first.cookie("said").contains("break%20loads"));
    let page = desk.open(&format!("specimens/{}", piece.code)).await;
    assert!(
        page.text(".facts")
            .contains("not for changes of mass or dimensions")
    );
    let wrong = [
        ("holder", "c9"),
        ("stage", "180"),
        ("state", "not_found"),
        ("at", "2027-01-01"),
    ];
    let shown = desk.submit("exposure/nameless", &wrong).await;
    for field in ["holder", "state", "at"] {
        shown.refused().fault(field);
    }
}

#[tokio::test]
async fn a_study_entered_after_the_fact_takes_dates_long_past_with_the_entrys_own_beside_them() {
    let desk = Desk::after_the_fact(small_plan())
        .await
        .with_pieces(PIECES)
        .await;
    let desk = desk.measured_but(&[]).await.drawn().await;
    let all = [("all", "condition:c3"), ("at", "2024-05-04T09:30")];
    desk.submit("exposure/out", &all).await.is(303);
    let page = desk.open("exposure").await;
    let line = page.ok().text(".history > li");
    assert!(line.contains("4 May 2024, 09:30") && line.contains("written down on 1 March 2026"));
    assert!(page.body().contains("overdue"));
}
