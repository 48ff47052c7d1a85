//! What is due: the front page of the desk, and the calendar at its secret address, read by a library
//! that is not ours. Clock changes move no day.

use crate::house::desk::{Desk, PIECES, SLUG, small_plan};
use crate::house::ical;
use chrono::{DateTime, NaiveDate, Utc};
use overwinter::study::allocation::Place;
use overwinter::study::code::Code;
use overwinter::study::consignment::ParcelState;
use overwinter::study::custody::{Handled, Handling, PutOut, Recovered, TakenIn};
use overwinter::study::drying::DryingWeighing;
use overwinter::study::due::{self, Due, What};
use overwinter::study::entry::Entry;
use overwinter::study::ids::ConsignmentId;
use overwinter::study::plan::{DryingPlan, DryingRule};
use overwinter::study::reading::Occasion;
use overwinter::study::specimen::{Identity, Recovery};
use overwinter::study::units::{AsTyped, Unit};

/// Late in the evening of 5 March 2026 in Oslo, while winter time holds there (UTC+1).
const LATE: &str = "2026-03-05T22:30:00Z";

fn at(text: &str) -> DateTime<Utc> {
    text.parse().expect("a moment")
}

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

/// A desk with everything put out late on that evening.
async fn out() -> Desk {
    let desk = Desk::ready().await;
    desk.server.app.clock.set(at(LATE));
    desk.wait(0).await;
    put_out(desk).await
}

/// Everything put out late on that evening.
async fn put_out(desk: Desk) -> Desk {
    let record = desk.record().await;
    let exposed = record
        .specimens
        .iter()
        .filter(|piece| matches!(piece.place, Some(Place::Exposed { .. })));
    let out = PutOut {
        specimens: exposed.map(|piece| piece.code.clone()).collect(),
        at: at(LATE),
        is_confirmed_doubt: false,
    };
    desk.script
        .say(Entry::PutOut(out))
        .await
        .expect("it goes out");
    desk
}

async fn listed(desk: &Desk) -> Vec<Due> {
    due::of(&*desk.record().await, desk.server.app.clock.now())
}

async fn handled(desk: &Desk, what: Handling, specimens: Vec<Code>) {
    let handled = Handled {
        what,
        specimens,
        at: desk.server.app.clock.now(),
        into_holder: None,
        is_confirmed_doubt: false,
    };
    desk.script
        .say(Entry::Handled(handled))
        .await
        .expect("done");
}

async fn taken_in(desk: &Desk, codes: Vec<Code>) {
    let recovered = |specimen| Recovered {
        specimen,
        recovery: Recovery::Whole,
        identity: Identity::Mark,
    };
    let taken = TakenIn {
        pieces: codes.into_iter().map(recovered).collect(),
        at: desk.server.app.clock.now(),
        is_confirmed_doubt: false,
    };
    desk.script.say(Entry::TakenIn(taken)).await.expect("in");
}

#[tokio::test]
async fn a_stage_is_due_on_the_same_day_whatever_the_clocks_did() {
    let desk = out().await;
    let stages = listed(&desk).await;
    let stages: Vec<&Due> = stages.iter().filter(|d| d.what == What::TakeIn).collect();
    // Two conditions, two stages. The days by Python: date(2026, 3, 5) + timedelta(180) and (365).
    // Counted in hours, 180 days from half past eleven in winter would end on the day after.
    let days: Vec<_> = stages.iter().map(|d| (d.opens, d.day, d.closes)).collect();
    let first = (day("2026-08-27"), day("2026-09-01"), day("2026-09-06"));
    let second = (day("2027-02-26"), day("2027-03-05"), day("2027-03-12"));
    assert_eq!(days, [first, first, second, second]);
    assert!(
        stages[0].title.starts_with("Take in 2 pieces"),
        "{}",
        stages[0].title
    );
    // The desk's own pages say the same day.
    let shown = desk.open("exposure").await.ok().body();
    assert!(shown.contains("1 September 2026 ± 5 d"), "{shown}");
    assert!(!shown.contains("2 September 2026"), "{shown}");
    let public = desk.open("exposure/in").await.ok().body();
    assert!(public.contains("from 27 August 2026 to 6 September 2026"));
}

#[tokio::test]
async fn the_last_day_of_a_window_counts_to_its_end_and_the_next_is_asked_about() {
    let desk = out().await;
    desk.server.app.clock.set(at("2026-09-08T10:00:00Z"));
    desk.wait(0).await;
    let codes = desk.placed("c1", 180).await;
    let state = format!("state-{}", codes[0]);
    let known_by = format!("known-{}", codes[0]);
    let send = async |when: &str| {
        let fields = [
            ("stage", "180"),
            ("condition", "c1"),
            ("at", when),
            (state.as_str(), "whole"),
            (known_by.as_str(), "mark"),
        ];
        desk.submit("exposure/in", &fields).await
    };
    let shown = send("2026-09-07T00:10").await;
    let said = shown.refused().body();
    assert!(
        said.contains("after 186 days; the plan says 180 ± 5 days"),
        "{said}"
    );
    send("2026-09-06T23:50").await.is(303);
}

#[tokio::test]
async fn water_is_due_from_the_last_time_it_was_seen_to() {
    let desk = out().await;
    let water = |all: &[Due]| {
        let water = all.iter().filter(|d| d.what == What::Renew);
        water.map(|d| (d.title.clone(), d.day)).collect::<Vec<_>>()
    };
    // Every 28 days from 5 March: the clocks change on 29 March in between.
    let first = water(&listed(&desk).await);
    assert_eq!(
        first.len(),
        2,
        "one for each barrel, none for the shelf: {first:?}"
    );
    assert!(
        first.iter().all(|(_, due)| *due == day("2026-04-02")),
        "{first:?}"
    );
    // One barrel is topped up, at half past midnight in Oslo.
    desk.server.app.clock.set(at("2026-03-31T22:30:00Z"));
    let record = desk.record().await;
    let of_shed = |holder: &str| {
        let inside = record.specimens.iter().filter(
            |piece| matches!(&piece.place, Some(Place::Exposed { holder: h, .. }) if h == holder),
        );
        inside.map(|piece| piece.code.clone()).collect::<Vec<_>>()
    };
    handled(&desk, Handling::ToppedUp, of_shed("c3h1")).await;
    let second = water(&listed(&desk).await);
    let of = |name: &str| {
        second
            .iter()
            .find(|(title, _)| title.contains(name))
            .unwrap()
            .1
    };
    assert_eq!(
        of("by the shed"),
        day("2026-04-29"),
        "28 days after 1 April"
    );
    assert_eq!(of("by the gate"), day("2026-04-02"), "as it was");
    // The page leads to where it is logged, and says what standing water can do.
    desk.wait(1).await;
    let page = desk.steward.open("/desk").await;
    let now = page.ok().text("section.due");
    assert!(
        now.starts_with("Now") && now.contains("barrel by the gate today"),
        "{now}"
    );
    assert_eq!(
        page.attribute("section.due a", "href"),
        format!("/desk/{SLUG}/exposure/handle?what=topped_up")
    );
    assert!(page.text("aside.cautions").contains("Stagnant"));
    desk.wait(3).await;
    let late = desk.steward.open("/desk").await.ok().text("section.due");
    assert!(
        late.starts_with("Overdue") && late.contains("3 days late"),
        "{late}"
    );
}

#[tokio::test]
async fn what_came_back_is_to_be_cleaned_at_once_and_measured_after_it_has_dried() {
    let desk = out().await;
    desk.server.app.clock.set(at("2026-09-01T10:00:00Z"));
    let codes = desk.placed("c3", 180).await;
    taken_in(&desk, codes.clone()).await;
    let weigh = |all: Vec<Due>| {
        let weigh = all.into_iter().filter(|d| d.what == What::Weigh);
        weigh.map(|d| (d.title, d.closes)).collect::<Vec<_>>()
    };
    let clean = weigh(listed(&desk).await);
    assert_eq!(
        clean,
        [(
            "Clean 2 pieces: stage of 180 days".to_owned(),
            day("2026-09-02")
        )]
    );
    handled(&desk, Handling::Cleaned, codes.clone()).await;
    let measure = weigh(listed(&desk).await);
    assert_eq!(
        measure,
        [(
            "Measure 2 pieces again: stage of 180 days".to_owned(),
            day("2026-09-22")
        )]
    );
    for code in &codes {
        use overwinter::study::reading::Quantity;
        for (quantity, value) in [
            (Quantity::Mass, 8.3),
            (Quantity::Length("width".to_owned()), 9.0),
            (Quantity::Length("thickness".to_owned()), 6.0),
        ] {
            desk.read(code, quantity, Occasion::After, value).await;
        }
    }
    assert_eq!(weigh(listed(&desk).await), []);
}

#[tokio::test]
async fn a_weighing_while_drying_is_promised_for_the_day_on_which_it_can_tell_something() {
    let mut plan = small_plan();
    plan.drying = Some(DryingPlan {
        rule: DryingRule::usual(),
        is_before_too: false,
    });
    let desk = Desk::planned(plan).await.with_pieces(PIECES).await;
    let desk = desk.measured_but(&[]).await.drawn().await.sealed().await;
    desk.server.app.clock.set(at(LATE));
    let desk = put_out(desk).await;
    desk.server.app.clock.set(at("2026-10-20T10:00:00Z"));
    let codes = desk.placed("c3", 180).await;
    taken_in(&desk, codes.clone()).await;
    handled(&desk, Handling::Cleaned, codes.clone()).await;
    let weigh = async || {
        let all = listed(&desk).await.into_iter();
        let weigh = all.filter(|d| d.what == What::Weigh);
        weigh.map(|d| (d.title, d.opens)).collect::<Vec<_>>()
    };
    let told = |title: &str, from| (format!("{title}: stage of 180 days"), day(from));
    let begin = "Begin to weigh 2 pieces while drying";
    assert_eq!(weigh().await, [told(begin, "2026-10-20")]);
    for code in &codes {
        let weighing = DryingWeighing {
            specimen: code.clone(),
            occasion: Occasion::After,
            at: desk.server.app.clock.now(),
            mass_g: 8.6,
            typed: AsTyped {
                text: "8.600".to_owned(),
                unit: Unit::Gram,
            },
            instrument: desk.balance,
            is_confirmed_doubt: false,
        };
        desk.script
            .say(Entry::DryingWeighed(weighing))
            .await
            .expect("weighed");
    }
    // The usual rule compares weighings that are 24 hours apart or more.
    let again = "Weigh 2 pieces again while drying";
    assert_eq!(weigh().await, [told(again, "2026-10-21")]);
}

#[tokio::test]
async fn a_parcel_is_asked_after_and_a_link_warns_before_it_ends() {
    use crate::house::TestServer;
    use crate::house::ready::Wanted;
    let server = TestServer::start().await;
    let ready = Wanted::small().ready(&server, "ada").await;
    let codes = ready.baseline();
    let path = ready.pack("baseline", &codes).await;
    ready.link(&path).await;
    let id: ConsignmentId = path.rsplit('/').next().unwrap().parse().unwrap();
    let all = async || {
        let record = server.app.store.study_record(&ready.slug).await;
        let all = due::of(&record.unwrap().unwrap(), server.app.clock.now()).into_iter();
        let at_lab = all.filter(|d| matches!(d.what, What::Parcel | What::Link));
        at_lab
            .map(|d| (d.title, d.opens, d.closes))
            .collect::<Vec<_>>()
    };
    // Packed on 2 March 2026: seven days to hand it over; the link holds a year while it is on its way.
    let (hand_over, link) = (
        "Hand over the parcel for Fjord Testing",
        "The lab link for Fjord Testing ends",
    );
    let told = |title: &str, from, to| (title.to_owned(), day(from), day(to));
    assert_eq!(
        all().await,
        [
            told(hand_over, "2026-03-02", "2026-03-09"),
            told(link, "2027-02-23", "2027-03-02"),
        ]
    );
    let moved = async |state, text: &str| {
        let entry = Entry::ParcelMoved {
            consignment: id,
            state,
            at: at(text),
        };
        ready.script.say(entry).await.expect("it moves");
    };
    server.app.clock.set(at("2026-03-20T12:00:00Z"));
    moved(ParcelState::HandedOver, "2026-03-20T12:00:00Z").await;
    // Fourteen days over a change of the clocks.
    assert_eq!(
        all().await[0],
        told(
            "Ask Fjord Testing whether the parcel came",
            "2026-04-03",
            "2026-04-03"
        )
    );
    let person = server.stranger();
    person.sign_in("ada", crate::house::PASSWORD).await.is(303);
    let page = person.open("/desk").await;
    let away = page.ok().text("section.due");
    assert!(away.starts_with("Parcels on their way"), "{away}");
    assert!(away.contains("handed over since 20 March 2026"), "{away}");
    server.app.clock.set(at("2026-04-01T12:00:00Z"));
    moved(ParcelState::Received, "2026-04-01T12:00:00Z").await;
    // Sixty days from 1 April.
    assert_eq!(all().await, [told(link, "2026-05-24", "2026-05-31")]);
}

/// The path of a fresh calendar address.
async fn address(desk: &Desk) -> String {
    let shown = desk.steward.submit("/account/calendar", &[]).await;
    assert_eq!(shown.ok().header("cache-control"), "no-store");
    let address = shown.text("#f-address");
    let path = address.strip_prefix(&desk.server.base).expect("ours");
    path.to_owned()
}

#[tokio::test]
async fn the_calendar_reads_the_same_days_in_a_library_that_is_not_ours() {
    let desk = out().await;
    let path = address(&desk).await;
    let file = desk.server.stranger().open(&path).await;
    assert_eq!(
        file.ok().header("content-type"),
        "text/calendar; charset=utf-8"
    );
    let events = ical::events(&file.bytes);
    let mut days: Vec<(&str, &str, f64)> = events
        .iter()
        .map(|e| {
            (
                e["start"].as_str().unwrap(),
                e["end"].as_str().unwrap(),
                e["days"].as_f64().unwrap(),
            )
        })
        .collect();
    days.sort_by(|a, b| a.partial_cmp(b).unwrap());
    // Two barrels on 2 April, after the clocks went forward; the windows of the stages, the first in summer
    // time, the second in winter time; the end is the first day after.
    assert_eq!(
        days,
        [
            ("2026-04-02", "2026-04-03", 1.0),
            ("2026-04-02", "2026-04-03", 1.0),
            ("2026-08-27", "2026-09-07", 11.0),
            ("2026-08-27", "2026-09-07", 11.0),
            ("2027-02-26", "2027-03-13", 15.0),
            ("2027-02-26", "2027-03-13", 15.0),
        ]
    );
    assert!(events.iter().all(|event| event["whole_days"] == true));
    let titles: Vec<&str> = events
        .iter()
        .map(|e| e["summary"].as_str().unwrap())
        .collect();
    assert!(
        titles.contains(&"Take in 2 pieces: rain barrel, 180 days"),
        "{titles:?}"
    );
    let taking = events
        .iter()
        .find(|e| e["summary"] == "Take in 2 pieces: rain barrel, 180 days");
    let url = format!(
        "{}/desk/{SLUG}/exposure/in?stage=180&condition=c3",
        desk.server.base
    );
    assert_eq!(taking.unwrap()["url"], url);
    // No piece is named.
    let record = desk.record().await;
    let body = file.body();
    assert!(
        record
            .specimens
            .iter()
            .all(|p| !body.contains(p.code.as_str()))
    );
}

#[tokio::test]
async fn an_event_keeps_its_name_and_its_number_never_falls() {
    let desk = out().await;
    let path = address(&desk).await;
    let read = async || {
        let file = desk.server.stranger().open(&path).await;
        let events = ical::events(&file.ok().bytes);
        let pair = |e: &serde_json::Value| {
            (
                e["uid"].as_str().unwrap().to_owned(),
                e["sequence"].as_u64().unwrap(),
            )
        };
        events
            .iter()
            .map(pair)
            .collect::<std::collections::BTreeMap<_, _>>()
    };
    let before = read().await;
    assert_eq!(before.len(), 6, "six different names");
    desk.server.app.clock.set(at("2026-09-01T10:00:00Z"));
    taken_in(&desk, desk.placed("c1", 180).await).await;
    let after = read().await;
    let kept = before.keys().filter(|uid| after.contains_key(*uid));
    assert_eq!(
        kept.clone().count(),
        5,
        "all but what was taken in: {after:?}"
    );
    for uid in kept {
        assert!(after[uid] > before[uid], "{uid}");
    }
}

#[tokio::test]
async fn an_address_opens_until_it_is_replaced_ended_or_its_account_closed() {
    let desk = out().await;
    let stranger = desk.server.stranger();
    let first = address(&desk).await;
    stranger.open(&first).await.ok();
    let second = address(&desk).await;
    assert_ne!(first, second);
    stranger.open(&first).await.is(404);
    stranger.open(&second).await.ok();
    // Only its hash is kept, and no later page shows it.
    let page = desk.steward.open("/account/calendar").await;
    let token = second.split('/').nth(2).expect("the token");
    assert_eq!(token.len(), 64);
    assert!(!page.ok().body().contains(token));
    assert!(page.body().contains("last fetched it on"));
    for wrong in ["/calendar/none/due.ics", "/calendar/%00/due.ics"] {
        stranger.open(wrong).await.is(404);
    }
    let ended = desk.steward.submit("/account/calendar/end", &[]).await;
    ended.redirects_to("/account/calendar");
    stranger.open(&second).await.is(404);
    let third = address(&desk).await;
    stranger.open(&third).await.ok();
    let account = desk.script.steward;
    let now = desk.server.app.clock.now();
    let closed = desk.server.app.store.close_account(account.0, now).await;
    assert!(closed.expect("it closes"));
    stranger.open(&third).await.is(404);
}

#[tokio::test]
async fn the_plan_takes_days_between_renewals_and_nothing_else() {
    let desk = Desk::planned(small_plan()).await;
    let page = desk.open("plan").await;
    let values = page.ok().body();
    assert!(
        values.contains("name=\"condition_renew\" value=\"28\""),
        "shown as it was written"
    );
    let sheet = crate::house::Sheet::of(&page, "main form");
    for wrong in ["0", "-1", "1.5", "1e9", "soon", "99999999999999999999"] {
        let shown = sheet
            .clone()
            .with_row("condition_renew", 1, wrong)
            .send(&desk.steward, &format!("/desk/{SLUG}/plan"))
            .await;
        let said = shown.refused().fault("condition_renew-2");
        assert!(
            said.contains("days between two renewals"),
            "{wrong}: {said}"
        );
    }
}
