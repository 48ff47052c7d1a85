//! Drying to constant mass: weighings over time, what is wanting in words, the final mass that waits for
//! the rule or for a reason; nothing of it is public before results are.

use crate::accessible;
use crate::house::Shown;
use crate::house::desk::{Desk, PIECES, SLUG, small_plan};
use chrono::TimeDelta;
use overwinter::study::code::Code;
use overwinter::study::custody::{PutOut, Recovered, TakenIn};
use overwinter::study::entry::Entry;
use overwinter::study::plan::{DryingPlan, DryingRule, Environment, Plan};
use overwinter::study::reading::{MoistureState, Occasion, Quantity};
use overwinter::study::specimen::{Identity, Recovery};

fn plan() -> Plan {
    let mut plan = small_plan();
    plan.conditions[1].environment = Environment::SaltWater;
    plan.drying = Some(DryingPlan {
        rule: DryingRule::usual(),
        is_before_too: false,
    });
    plan
}

/// The desk with the pieces of the barrel's first stage taken in.
async fn taken_in() -> (Desk, Vec<Code>) {
    let desk = Desk::planned(plan()).await.with_pieces(PIECES).await;
    let desk = desk.measured_but(&[]).await.drawn().await.sealed().await;
    let codes = desk.placed("c3", 180).await;
    let out = PutOut {
        specimens: codes.clone(),
        at: desk.server.app.clock.now(),
        is_confirmed_doubt: false,
    };
    desk.script.say(Entry::PutOut(out)).await.expect("out");
    desk.wait(180).await;
    let recovered = |code: &Code| Recovered {
        specimen: code.clone(),
        recovery: Recovery::Whole,
        identity: Identity::Mark,
    };
    let taken = TakenIn {
        pieces: codes.iter().map(recovered).collect(),
        at: desk.server.app.clock.now(),
        is_confirmed_doubt: false,
    };
    desk.script.say(Entry::TakenIn(taken)).await.expect("in");
    desk.server.app.clock.advance(TimeDelta::hours(1));
    (desk, codes)
}

/// Now, as a form says it in the study's zone.
fn now(desk: &Desk) -> String {
    let zone = chrono_tz::Europe::Oslo;
    let now = desk.server.app.clock.now().with_timezone(&zone);
    now.format("%Y-%m-%dT%H:%M").to_string()
}

async fn weigh(desk: &Desk, code: &Code, value: &str, more: &[(&str, &str)]) -> Shown {
    let (balance, now) = (desk.balance.to_string(), now(desk));
    let mut fields = vec![
        ("code", code.as_str()),
        ("value", value),
        ("unit", "g"),
        ("instrument", balance.as_str()),
        ("at", now.as_str()),
    ];
    fields.extend_from_slice(more);
    desk.submit("drying", &fields).await
}

async fn final_mass(desk: &Desk, code: &Code, value: &str) -> Shown {
    let fields = [
        ("code", code.as_str()),
        ("value", value),
        ("occasion", "after"),
        ("state", "re_dried"),
    ];
    desk.round(&fields).await
}

async fn dry_masses(desk: &Desk, code: &Code) -> Vec<f64> {
    let record = desk.record().await;
    let found = record.current_readings().filter(|found| {
        let reading = &found.reading;
        reading.specimen == *code
            && reading.quantity == Quantity::Mass
            && reading.occasion == Occasion::After
            && reading.state == MoistureState::ReDried
    });
    found.map(|found| found.reading.value).collect()
}

#[tokio::test]
async fn the_dry_mass_waits_until_it_is_constant() {
    let (desk, codes) = taken_in().await;
    let code = &codes[0];
    let early = final_mass(&desk, code, "8.5").await;
    assert!(
        early
            .refused()
            .text("[role=alert]")
            .contains("not dry by the plan's rule")
    );
    let asked = weigh(&desk, code, "8.500", &[]).await;
    assert!(asked.refused().fault("confirmed").contains("was rinsed"));
    weigh(&desk, code, "8.500", &[("confirmed", "yes")])
        .await
        .is(303);
    for (days, value, words) in [
        (1, "8.450", "weigh again after"),
        (3, "8.410", "weigh again after"),
        (4, "8.409", "constant since"),
    ] {
        desk.wait(days).await;
        weigh(&desk, code, value, &[]).await.is(303);
        let page = desk.open(&format!("drying/{code}")).await;
        assert!(page.ok().text("h1").contains(words), "{}", page.text("h1"));
        let is_open = words == "constant since";
        let take = format!("form[action=\"/desk/{SLUG}/drying/{code}/take\"]");
        assert_eq!(page.texts(&take).len(), usize::from(is_open), "{value}");
    }
    let page = desk.open(&format!("drying/{code}")).await;
    assert!(page.text("svg desc").contains("4 weighings over 8.0 days"));
    let entry = desk.server.app.clock.new_id().to_string();
    for _ in 0..2 {
        let path = format!("drying/{code}/take");
        desk.submit_as(&entry, &path, &[]).await.is(303);
    }
    assert_eq!(dry_masses(&desk, code).await, [8.409]);
    let last = desk.record().await.drying.weighings.last().unwrap().entry;
    let void = format!("entries/{last}/void");
    let refused = desk.submit(&void, &[("reason", "the wrong piece")]).await;
    assert!(
        refused
            .refused()
            .text("[role=alert]")
            .contains("Later entries rest on it")
    );
}

#[tokio::test]
async fn overriding_needs_a_reason_and_the_world_hears_it_only_with_the_results() {
    let (desk, codes) = taken_in().await;
    let code = codes[0].as_str();
    let silent = desk
        .submit("drying/override", &[("piece", code), ("reason", "")])
        .await;
    assert!(silent.refused().fault("reason").contains("Say why"));
    let reason = "The balance goes back to the college on Friday.";
    let said = [("piece", code), ("reason", reason)];
    desk.submit("drying/override", &said).await.is(303);
    final_mass(&desk, &codes[0], "8.41").await.is(303);
    assert_eq!(dry_masses(&desk, &codes[0]).await, [8.41]);
    let other = final_mass(&desk, &codes[1], "8.41").await;
    assert_eq!(
        other.refused().status.as_u16(),
        422,
        "only the piece that was named"
    );
    desk.script.say(Entry::MadePublic {}).await.expect("public");
    let page = desk
        .server
        .stranger()
        .open(&format!("/studies/{SLUG}"))
        .await;
    let body = page.ok().body();
    assert!(!body.contains("college") && !body.contains(code), "{body}");
    let history = desk.open(&format!("specimens/{code}")).await;
    assert!(history.text(".history").contains("drying rule overridden"));
}

#[tokio::test]
async fn two_masses_where_salt_is_in_play_and_a_slip_is_asked_about() {
    let (desk, codes) = taken_in().await;
    let code = &codes[0];
    let list = desk.open("drying").await;
    assert!(list.ok().text("table").contains("not weighed"));
    assert!(list.text("aside.cautions").contains("ignite"));
    assert!(
        list.text("main").contains("40 °C at most"),
        "an unknown plastic"
    );
    let wet = [
        ("code", code.as_str()),
        ("value", "8.61"),
        ("occasion", "after"),
        ("state", "wet"),
    ];
    desk.round(&wet).await.is(303);
    let list = desk.open("drying").await;
    assert!(list.ok().text("table").contains("8.61 g"));
    weigh(&desk, code, "8.500", &[("confirmed", "yes")])
        .await
        .is(303);
    desk.wait(1).await;
    let slip = weigh(&desk, code, "85.00", &[]).await;
    assert!(slip.refused().fault("confirmed").contains("10 times"));
    let gained = weigh(&desk, code, "8.600", &[]).await;
    assert!(gained.refused().fault("confirmed").contains("gained"));
    let other = weigh(&desk, &desk.placed("c1", 180).await[0], "8.4", &[]).await;
    assert!(
        other
            .refused()
            .fault("code")
            .contains("not among the pieces")
    );
    assert_eq!(desk.record().await.drying.weighings.len(), 1);
}

#[tokio::test]
async fn every_field_of_the_drying_forms_bears_every_hostile_value() {
    let (desk, codes) = taken_in().await;
    let (balance, now) = (desk.balance.to_string(), now(&desk));
    let forms: [(&str, Vec<(&str, &str)>); 2] = [
        (
            "drying",
            vec![
                ("code", codes[0].as_str()),
                ("value", "8.5"),
                ("unit", "g"),
                ("instrument", &balance),
                ("at", &now),
                ("confirmed", "yes"),
            ],
        ),
        (
            "drying/override",
            vec![
                ("piece", codes[0].as_str()),
                ("all", "condition:c9"),
                ("reason", "lent out"),
            ],
        ),
    ];
    for (path, fields) in &forms {
        for field in 0..fields.len() {
            for value in [
                "",
                "NaN",
                "-1",
                "1e400",
                "a\0b",
                "\u{202e}x",
                "<b>",
                "💥",
                "9999-99-99",
            ] {
                let mut typed = fields.clone();
                typed[field].1 = value;
                let shown = desk.submit(path, &typed).await;
                let status = shown.status.as_u16();
                assert!(
                    matches!(status, 303 | 422),
                    "{path} {}={value}: {status}",
                    typed[field].0
                );
                let alerts = shown.texts("[role=alert]");
                assert_eq!(
                    alerts.is_empty(),
                    status == 303,
                    "{path} {}={value}",
                    typed[field].0
                );
            }
        }
    }
}

#[tokio::test]
async fn the_pages_of_drying_have_no_violation() {
    let (desk, codes) = taken_in().await;
    weigh(&desk, &codes[0], "8.500", &[("confirmed", "yes")])
        .await
        .is(303);
    desk.wait(2).await;
    weigh(&desk, &codes[0], "8.450", &[]).await.is(303);
    let piece = format!("drying/{}", codes[0]);
    let pages = ["drying", &piece, "drying/override"];
    let browser = accessible::signed_in(&desk.server.base, "runa").await;
    accessible::walked(&browser, &pages.map(|page| format!("/desk/{SLUG}/{page}"))).await;
    browser.close().await;
}
