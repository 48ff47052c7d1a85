//! Putting out, taking in and drying on a phone without a network, and each mend of what the server then
//! refuses: it stays on the phone, says why, and only later entries about the same piece wait behind it.

use crate::house::Phone;
use crate::house::desk::{Desk, PIECES, SLUG, small_plan};
use chrono::{DateTime, TimeDelta, Utc};
use overwinter::study::code::Code;
use overwinter::study::custody::{Handled, Handling, Recovered, TakenIn};
use overwinter::study::drying::{self, DryingWeighing, Weighing, judge};
use overwinter::study::entry::Entry;
use overwinter::study::plan::{DryingPlan, DryingRule};
use overwinter::study::reading::{Occasion, Quantity};
use overwinter::study::record::{EventKind, EventRecord, StudyRecord};
use overwinter::study::specimen::{Identity, Recovery};
use overwinter::study::units::{AsTyped, Unit};
use serde_json::json;

fn page(rest: &str) -> String {
    format!("/desk/{SLUG}/{rest}")
}

/// The pieces of the events that fit, and when, in the journal's order.
fn happened(
    record: &StudyRecord,
    fits: impl Fn(&EventRecord) -> bool,
) -> Vec<(Code, DateTime<Utc>)> {
    let events = record.events.iter().filter(|event| fits(event));
    events
        .map(|event| (event.specimen.clone(), event.at))
        .collect()
}

fn codes(found: &[(Code, DateTime<Utc>)]) -> Vec<&Code> {
    let mut codes: Vec<&Code> = found.iter().map(|(code, _)| code).collect();
    codes.sort();
    codes
}

/// Sends what is refused again from its card: what is typed as the reason, then this button.
async fn mends(phone: &Phone, reason: &str, button: &str) {
    phone.browser.goto("/desk/waiting").await;
    phone.browser.find(".cards form").await;
    if !reason.is_empty() {
        phone.types("[name=reason]", reason).await;
    }
    phone.tap(button).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn pieces_are_measured_and_put_out_without_a_network_and_one_is_waived_later() {
    let desk = Desk::planned(small_plan()).await.with_pieces(PIECES).await;
    let desk = desk.drawn().await;
    let barrel = [desk.placed("c3", 180).await, desk.placed("c3", 365).await].concat();
    let (late, lost) = (barrel[0].clone(), barrel[1].clone());
    let spare = unplaced(&desk).await;
    // Neither measured nor to be measured any more: it is waived on the phone, and goes out with the others.
    let broken = desk.placed("c1", 180).await[0].clone();
    let all: Vec<Code> = desk
        .record()
        .await
        .specimens
        .iter()
        .map(|p| p.code.clone())
        .collect();
    let number = |code: &Code| all.iter().position(|other| other == code).unwrap();
    let but = [number(&late), number(&broken)];
    let desk = desk.measured_but(&but).await.sealed().await;
    for (name, size) in [("width", 9.0), ("thickness", 6.0)] {
        let quantity = Quantity::Length(name.to_owned());
        desk.read(&late, quantity, Occasion::Before, size).await;
    }
    let phone = Phone::at(&desk).await;
    phone.sets_its_clock(&desk, 0).await;
    phone.browser.goto("/desk").await;
    phone.keeps(&page("exposure/out"), "Not measured").await;
    phone.kept().await;
    phone.goes_off_the_air().await;
    // Meanwhile, at the desk, a reading turns out to be of another piece.
    let record = desk.record().await;
    let mut readings = record.readings.iter();
    let wrong = readings
        .find(|found| found.reading.specimen == lost)
        .unwrap()
        .entry;
    desk.script
        .say_because(Entry::Voided { entry: wrong }, "another piece")
        .await
        .unwrap();

    waives(&phone, &broken).await;
    puts_out(&phone, &desk, (&late, &broken)).await;
    logs_damage(&phone, &lost).await;
    logs_damage(&phone, &spare).await;
    let holder = logs_incident(&phone).await;
    phone.waits(6).await;
    assert!(happened(&*desk.record().await, |_| true).is_empty());
    phone.comes_back().await;
    phone.needs_somebody(1).await;
    assert_eq!(desk.record().await.voidings[&wrong], "another piece");
    // The reading, the waiver, the incident and what was found on the spare went; what was found on a piece that
    // waits did not.
    phone.waits(1).await;
    phone.has_sent_of(4, 1).await;
    let is_damage = |event: &EventRecord| matches!(event.what, EventKind::Handled { .. });
    let is_out = |event: &EventRecord| event.what == EventKind::PutOut;
    let record = desk.record().await;
    assert!(happened(&record, is_out).is_empty());
    assert_eq!(codes(&happened(&record, is_damage)), [&spare]);
    let incidents = record.incidents.iter();
    let incidents: Vec<_> = incidents
        .map(|found| (found.incident.holder.clone(), found.note.as_str()))
        .collect();
    assert_eq!(incidents, [(holder, "It froze and cracked.")]);

    mends(&phone, "", "[data-waive]").await;
    phone.says("Write down why first.").await;
    phone.says("mass before exposure is not on record").await;
    mends(&phone, "its balance broke", "[data-waive]").await;
    phone.needs_somebody(0).await;
    phone.has_sent(7).await;
    let record = desk.record().await;
    let waived: Vec<_> = record
        .waivers
        .iter()
        .map(|w| (&w.specimen, w.reason.as_str()))
        .collect();
    assert_eq!(
        waived,
        [
            (&broken, "it broke on the bench"),
            (&lost, "its balance broke")
        ],
        "those pieces and no other"
    );
    let mut expected: Vec<&Code> = barrel.iter().chain([&broken]).collect();
    expected.sort();
    let out = happened(&record, is_out);
    assert_eq!(codes(&out), expected);
    let now = desk.server.app.clock.now();
    assert!(
        out.iter()
            .all(|(_, at)| (0..10).contains(&(now - at).num_minutes())),
        "{out:?}"
    );
    let mut damaged = [&lost, &spare];
    damaged.sort();
    assert_eq!(codes(&happened(&record, is_damage)), damaged);
    phone.browser.close().await;
}

async fn unplaced(desk: &Desk) -> Code {
    use overwinter::study::allocation::Place;
    let record = desk.record().await;
    let mut pieces = record.specimens.iter();
    let spare = pieces.find(|piece| piece.place == Some(Place::Spare));
    spare.expect("a spare").code.clone()
}

/// Weighs the piece that was forgotten, then puts out everything for the barrel. A date before the seal is
/// asked about; nothing can be put out twice.
async fn puts_out(phone: &Phone, desk: &Desk, (late, waived): (&Code, &Code)) {
    let balance = desk.balance;
    let round = format!(
        "round?quantity=mass&occasion=before&instrument={balance}&unit=g&state=conditioned"
    );
    phone.browser.goto(&page("exposure/out")).await;
    phone.browser.find("form[data-put-out]").await;
    let of_late = format!("document.querySelector('[data-held] input[value=\"{late}\"]')");
    let hidden = format!("{of_late}.closest('label').hidden");
    assert_eq!(
        phone.browser.run(&format!("return {hidden}")).await,
        json!(true)
    );
    phone
        .browser
        .goto(&page(&format!("{round}&at={late}")))
        .await;
    phone.is_at(late.as_str()).await;
    phone.browser.type_keys("8.41\n").await;
    phone.waits(2).await;

    phone.browser.goto(&page("exposure/out")).await;
    phone.browser.until(&format!("!{hidden}")).await;
    phone.tap("form[data-put-out] .actions button").await;
    phone.says("Tick at least one piece.").await;
    phone.tap("input[value='condition:c3']").await;
    for piece in [late, waived] {
        phone
            .tap(&format!("[data-held] input[value='{piece}']"))
            .await;
    }
    let now = phone
        .browser
        .find("#f-at")
        .await
        .prop("value")
        .await
        .unwrap()
        .unwrap();
    phone.sets_moment("#f-at", "2020-01-31T10:00").await;
    phone.tap("form[data-put-out] .actions button").await;
    phone.says("This lies before the plan was sealed on").await;
    phone.waits(2).await;
    phone.sets_moment("#f-at", &now).await;
    phone.tap("form[data-put-out] .actions button").await;
    phone.says("5 pieces: put out: recorded.").await;
    phone.waits(3).await;
    phone.browser.goto(&page("exposure/out")).await;
    phone
        .browser
        .until("document.querySelector('input[name=piece]:disabled')")
        .await;
    phone.tap("input[value='condition:c3']").await;
    phone.tap("form[data-put-out] .actions button").await;
    phone.says("Tick at least one piece.").await;
}

/// Waives the readings of a piece: not without a tick, nor without a reason.
async fn waives(phone: &Phone, code: &Code) {
    phone.browser.goto(&page("exposure/waive")).await;
    let save = "form[data-waive] .actions button";
    phone.tap(save).await;
    phone.says("Tick at least one piece.").await;
    phone.tap(&format!("input[value='{code}']")).await;
    phone.tap(save).await;
    phone.says("Say why they were not measured.").await;
    phone.types("[name=reason]", "it broke on the bench").await;
    phone.tap(save).await;
    phone
        .says(&format!("{code}: readings waived: recorded."))
        .await;
    phone.waits(1).await;
}

async fn logs_damage(phone: &Phone, code: &Code) {
    phone
        .browser
        .goto(&page("exposure/handle?what=damaged"))
        .await;
    let piece = format!("input[name=piece][value='{code}']");
    let open = format!("document.querySelector({piece:?}).closest('details').open = true");
    phone.browser.find(&piece).await;
    phone.browser.run(&open).await;
    phone.tap(&piece).await;
    phone.types("#f-note", "a corner is off").await;
    phone.tap("form[data-handle] .actions button").await;
    phone.says("damaged: recorded.").await;
}

/// An incident on the first holder of the list, without a word first; gives the holder's key.
async fn logs_incident(phone: &Phone) -> String {
    phone.browser.goto(&page("exposure/incident")).await;
    phone.browser.find("#f-note").await;
    phone.tap("form[data-incident] .actions button").await;
    phone.says("Say what happened.").await;
    phone.types("#f-note", "It froze and cracked.").await;
    let key = "document.querySelector('[name=holder]').value";
    let key = phone.browser.run(&format!("return {key}")).await;
    phone.tap("form[data-incident] .actions button").await;
    phone.says("recorded.").await;
    key.as_str().unwrap_or_default().to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn pieces_are_taken_in_and_dried_without_a_network_and_each_mend_sends_what_was_refused() {
    let (desk, due) = due().await;
    let later = desk.placed("c3", 365).await;
    let phone = Phone::at(&desk).await;
    phone.sets_its_clock(&desk, 0).await;
    phone.browser.goto("/desk").await;
    phone
        .keeps(&page("exposure/in?stage=180&condition="), due[0].as_str())
        .await;
    phone.kept().await;
    phone.goes_off_the_air().await;
    takes_in(&phone, &due).await;
    weighs(&phone, &desk, &due).await;
    // Two remarks on pieces that stay out: one that the server will find too early, one that lacks its reason
    // (as an older page may have left it).
    let at = desk.server.app.clock.now();
    let entries = json!([
        { "what": "inspected", "specimens": [later[0]], "at": at },
        { "what": "damaged", "specimens": [later[1]], "at": at },
    ]);
    let study = desk.script.study;
    let queue = format!(
        "for (const body of {entries}) await overwinter.outbox.queue({{ study: '{study}', slug: '{SLUG}',
            kind: 'handled', body, about: body.specimens, words: body.specimens[0] + ': ' + body.what }});"
    );
    phone.browser.run_async(&queue).await;
    phone.waits(5).await;
    meanwhile(&desk, &due[3], &later[0]).await;
    phone.comes_back().await;
    phone.needs_somebody(3).await;
    // Both weighings wait behind the pick-list; nothing else does.
    phone.waits(2).await;
    mends_all(&phone, &due[3]).await;
    phone.has_sent(5).await;
    arrived(&*desk.record().await, &due, &later);
    phone.browser.close().await;
}

/// At the desk, one of the pieces is taken in, and another is looked at after the phone did.
async fn meanwhile(desk: &Desk, taken: &Code, looked_at: &Code) {
    let at = desk.server.app.clock.now();
    let piece = Recovered {
        specimen: taken.clone(),
        recovery: Recovery::Whole,
        identity: Identity::Mark,
    };
    let taken = TakenIn {
        pieces: vec![piece],
        at,
        is_confirmed_doubt: false,
    };
    desk.script.say(Entry::TakenIn(taken)).await.expect("in");
    let handled = Handled {
        what: Handling::ToppedUp,
        specimens: vec![looked_at.clone()],
        at: at + chrono::TimeDelta::minutes(30),
        into_holder: None,
        is_confirmed_doubt: false,
    };
    desk.script
        .say(Entry::Handled(handled))
        .await
        .expect("topped up");
}

/// The pick-list: one not found, one left out; a year mistyped is asked about.
async fn takes_in(phone: &Phone, due: &[Code]) {
    phone
        .browser
        .goto(&page("exposure/in?stage=180&condition="))
        .await;
    phone.browser.find("form[data-take-in]").await;
    assert_eq!(due.len(), 4);
    phone
        .chooses(&format!("#f-state-{}", due[1]), "not_found")
        .await;
    phone
        .chooses(&format!("#f-state-{}", due[2]), "fragments")
        .await;
    phone
        .chooses(&format!("#f-known-{}", due[2]), "place")
        .await;
    let now = phone
        .browser
        .find("#f-at")
        .await
        .prop("value")
        .await
        .unwrap()
        .unwrap();
    let year_off = now.replacen("2026", "2027", 1);
    phone.sets_moment("#f-at", &year_off).await;
    phone.tap("form[data-take-in] .actions button").await;
    phone
        .says("This lies in the future. 4 pieces come in after 545 days; the plan says 180 ± ")
        .await;
    phone.waits(0).await;
    phone.sets_moment("#f-at", &now).await;
    phone.tap("form[data-take-in] .actions button").await;
    phone.says("4 pieces: taken in: recorded.").await;
    phone.waits(1).await;
    phone
        .browser
        .goto(&page("exposure/in?stage=180&condition="))
        .await;
    phone.says("taken in, recorded here").await;
    phone.tap("form[data-take-in] .actions button").await;
    phone.says("Say for at least one piece").await;
}

/// Two weighings of a piece that this phone took in itself; a slip and a gain are asked about.
async fn weighs(phone: &Phone, desk: &Desk, due: &[Code]) {
    phone.browser.goto(&page("drying")).await;
    phone
        .browser
        .until("!document.querySelector('[data-weighing]').hidden")
        .await;
    let save = "form[data-drying] .actions button";
    phone.types("#f-code", "GTGTG").await;
    phone.types("#f-value", "8.5").await;
    phone.tap(save).await;
    assert_eq!(phone.browser.focused_field().await, "code");
    phone.types("#f-code", due[0].as_str()).await;
    phone.types("#f-value", "85").await;
    phone.tap(save).await;
    phone
        .says("times what was expected; look at the decimal mark")
        .await;
    phone.types("#f-value", "8,5").await;
    phone.tap(save).await;
    phone
        .says("drying, 8,5 g: recorded; weigh again after")
        .await;
    phone.types("#f-code", due[0].as_str()).await;
    phone.types("#f-value", "8,6").await;
    phone.tap(save).await;
    phone
        .says("It would have gained +1.2 % since its last weighing")
        .await;
    phone.tap("#f-confirmed").await;
    phone.tap(save).await;
    phone.waits(3).await;
    assert!(
        desk.record().await.drying.weighings.is_empty(),
        "nothing was sent"
    );
}

/// The three cards, each by its own mend: a piece left out, a look again, a reason.
async fn mends_all(phone: &Phone, taken: &Code) {
    phone.browser.goto("/desk/waiting").await;
    phone
        .says(&format!("Leave {taken} out, send the others"))
        .await;
    phone.browser.fits_the_screen().await;
    phone.browser.picture("waiting-mends").await;
    phone.tap("[data-leave]:not([hidden])").await;
    phone.needs_somebody(2).await;
    let card = |words: &str| {
        format!(
            "[...document.querySelectorAll('.cards li')].find((card) => card.innerText.includes({words:?}))"
        )
    };
    // A look again: only ticking the box helps.
    let early = card(": inspected");
    phone
        .browser
        .until(&format!(
            "{early}?.innerText.includes('before the last thing')"
        ))
        .await;
    phone
        .browser
        .run(&format!("{early}.querySelector('form button').click()"))
        .await;
    phone
        .browser
        .until("overwinter.send.status.word === 'idle'")
        .await;
    phone.needs_somebody(2).await;
    phone
        .browser
        .run(&format!("{early}.querySelector('[name=confirm]').click()"))
        .await;
    phone
        .browser
        .run(&format!("{early}.querySelector('form button').click()"))
        .await;
    phone.needs_somebody(1).await;
    phone.says("This needs a reason in words.").await;
    phone.tap(".cards form button").await;
    phone.says("Write down why first.").await;
    phone.needs_somebody(1).await;
    phone.types("[name=reason]", "a crack at the hook").await;
    phone.tap(".cards form button").await;
    phone.needs_somebody(0).await;
}

/// Everything once, with what was chosen and confirmed.
fn arrived(record: &StudyRecord, due: &[Code], later: &[Code]) {
    let back: Vec<_> = record
        .events
        .iter()
        .filter_map(|event| match &event.what {
            EventKind::TakenIn { recovery, identity } => {
                Some((&event.specimen, *recovery, *identity))
            }
            _ => None,
        })
        .collect();
    let expected = [
        (&due[3], Recovery::Whole, Identity::Mark),
        (&due[0], Recovery::Whole, Identity::Mark),
        (&due[1], Recovery::NotFound, Identity::Unknown),
        (&due[2], Recovery::Fragments, Identity::Place),
    ];
    assert_eq!(back.len(), expected.len(), "{back:?}");
    assert!(expected.iter().all(|one| back.contains(one)), "{back:?}");
    let weighed = record.drying.weighings.iter().map(|found| {
        let weighing = &found.weighing;
        (
            &weighing.specimen,
            weighing.typed.text.as_str(),
            weighing.mass_g,
            weighing.is_confirmed_doubt,
        )
    });
    let weighed: Vec<_> = weighed.collect();
    assert_eq!(
        weighed,
        [(&due[0], "8,5", 8.5, false), (&due[0], "8,6", 8.6, true)]
    );
    let handled = |what: Handling| {
        let fits = |event: &&EventRecord| matches!(event.what, EventKind::Handled { what: own, .. } if own == what);
        let found = record.events.iter().filter(fits);
        found
            .map(|event| (&event.specimen, event.note.as_deref().unwrap_or_default()))
            .collect::<Vec<_>>()
    };
    assert_eq!(handled(Handling::Inspected), [(&later[0], "")]);
    assert_eq!(
        handled(Handling::Damaged),
        [(&later[1], "a crack at the hook")]
    );
}

/// A study that dries its pieces after exposure, on the day on which its first stage is due: the pieces of that
/// stage.
async fn due() -> (Desk, Vec<Code>) {
    let mut plan = small_plan();
    plan.drying = Some(DryingPlan {
        rule: DryingRule::usual(),
        is_before_too: false,
    });
    let desk = Desk::planned(plan).await.with_pieces(PIECES).await;
    let desk = desk.measured_but(&[]).await.drawn().await.sealed().await;
    for key in ["c1", "c3"] {
        desk.put_out(key).await;
    }
    desk.wait(180).await;
    let due = [desk.placed("c1", 180).await, desk.placed("c3", 180).await].concat();
    (desk, due)
}

/// Four pieces back since eight days, weighed on the first and (but for the last) on the fifth day: for each
/// its code.
async fn dried() -> (Desk, Vec<Code>) {
    let (desk, due) = due().await;
    for code in &due {
        takes_in_at_the_desk(&desk, code).await;
    }
    desk.wait(1).await;
    for code in &due {
        weighs_at_the_desk(&desk, code, 8.5).await;
    }
    desk.wait(4).await;
    for code in due.iter().take(3) {
        weighs_at_the_desk(&desk, code, 8.41).await;
    }
    desk.wait(4).await;
    (desk, due)
}

async fn takes_in_at_the_desk(desk: &Desk, code: &Code) {
    let piece = Recovered {
        specimen: code.clone(),
        recovery: Recovery::Whole,
        identity: Identity::Mark,
    };
    let taken = TakenIn {
        pieces: vec![piece],
        at: desk.server.app.clock.now(),
        is_confirmed_doubt: false,
    };
    desk.script.say(Entry::TakenIn(taken)).await.expect("in");
}

async fn weighs_at_the_desk(desk: &Desk, code: &Code, mass_g: f64) {
    let typed = AsTyped {
        text: mass_g.to_string(),
        unit: Unit::Gram,
    };
    let weighing = DryingWeighing {
        specimen: code.clone(),
        occasion: Occasion::After,
        at: desk.server.app.clock.now(),
        mass_g,
        typed,
        instrument: desk.balance,
        is_confirmed_doubt: false,
    };
    let entry = Entry::DryingWeighed(weighing);
    desk.script.say(entry).await.expect("weighed");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dry_mass_is_taken_without_a_network_once_it_is_constant_or_for_a_reason() {
    let (desk, codes) = dried().await;
    let phone = Phone::at(&desk).await;
    phone.sets_its_clock(&desk, 0).await;
    phone.browser.goto("/desk").await;
    phone
        .keeps(&page(&format!("drying/{}", codes[1])), "8.41")
        .await;
    let round = page(&format!(
        "round?quantity=mass&occasion=after&instrument={}&unit=g&state=re_dried",
        desk.balance
    ));
    phone.browser.goto(&round).await;
    phone.keeps(&round, "re_dried").await;
    phone.kept().await;
    phone.goes_off_the_air().await;
    takes_the_constant_one(&phone, &codes[0]).await;
    takes_one_for_a_reason(&phone, &codes[3]).await;
    reads_one_in_the_round(&phone, &round, &codes[1]).await;
    says_the_same_on_its_page(&phone, &codes).await;
    phone.waits(8).await;
    // Meanwhile, at the desk, the middle weighing of the first piece turns out to be of another one.
    let record = desk.record().await;
    let mut weighings = record.drying.weighings.iter();
    let wrong = weighings
        .find(|found| found.weighing.specimen == codes[0] && found.weighing.mass_g < 8.45)
        .expect("the middle weighing")
        .entry;
    desk.script
        .say_because(Entry::Voided { entry: wrong }, "another piece")
        .await
        .expect("void");
    phone.comes_back().await;
    phone.needs_somebody(1).await;
    phone.has_sent_of(7, 0).await;
    mends(&phone, "", "[data-override]").await;
    phone.says("Write down why first.").await;
    phone.says("is not dry by the plan's rule yet").await;
    mends(&phone, "the balance goes back today", "[data-override]").await;
    phone.needs_somebody(0).await;
    phone.has_sent(9).await;
    dry_masses_arrived(&*desk.record().await, &codes);
    phone.browser.close().await;
}

const WEIGH: &str = "form[data-drying] .actions button";

async fn takes_the_constant_one(phone: &Phone, code: &Code) {
    phone.browser.goto(&page("drying")).await;
    phone
        .browser
        .until("!document.querySelector('[data-weighing]').hidden")
        .await;
    phone.types("#f-code", code.as_str()).await;
    phone.types("#f-value", "8.409").await;
    phone.tap(WEIGH).await;
    phone
        .says(&format!(
            "{code}: drying, 8.409 g: recorded; constant since"
        ))
        .await;
    let take = "document.querySelector('[data-take]').innerText === 'Take 8.409 g as the dry mass'";
    phone.browser.until(take).await;
    phone.browser.fits_the_screen().await;
    phone.browser.picture("drying-constant").await;
    phone.tap("[data-take]").await;
    phone
        .says(&format!("{code}: dry mass 8.409 g: recorded."))
        .await;
    phone.waits(2).await;
}

/// Weighed for the second time only: it may not be taken before somebody says why.
async fn takes_one_for_a_reason(phone: &Phone, code: &Code) {
    phone.types("#f-code", code.as_str()).await;
    phone.types("#f-value", "8.47").await;
    phone.tap(WEIGH).await;
    phone
        .says(&format!(
            "{code}: drying, 8.47 g: recorded; weigh again after"
        ))
        .await;
    phone
        .says("The second half of the drying time still holds 100 % of the whole change.")
        .await;
    let hidden = "document.querySelector('[data-take]').hidden";
    assert_eq!(
        phone.browser.run(&format!("return {hidden}")).await,
        json!(true)
    );
    phone.tap("[data-early] summary").await;
    phone.tap("[data-early] button").await;
    phone
        .says("Say why the mass is taken before it is constant.")
        .await;
    phone.types("#f-early", "it goes to the lab today").await;
    phone.browser.picture("drying-early").await;
    phone.tap("[data-early] button").await;
    phone.says("The rule is overridden").await;
    phone.tap("[data-take]").await;
    phone
        .says(&format!("{code}: dry mass 8.47 g: recorded."))
        .await;
    phone.waits(5).await;
}

/// The round blocks as the server would, until the rule is overridden on its own page.
async fn reads_one_in_the_round(phone: &Phone, round: &str, code: &Code) {
    let types = async |value: &str| {
        phone.browser.goto(round).await;
        phone
            .browser
            .until("document.querySelector('[data-ready]')")
            .await;
        phone.types("[name=code]", code.as_str()).await;
        phone.types("[name=value]", value).await;
        phone.browser.type_keys("\n").await;
    };
    types("8.5").await;
    phone
        .says(&format!(
            "{code} is not dry by the plan’s rule: weigh again"
        ))
        .await;
    phone.browser.goto(&page("drying/override")).await;
    let save = "form[data-override] .actions button";
    phone.tap(save).await;
    phone.says("Tick at least one piece.").await;
    let piece = format!("input[name=piece][value='{code}']");
    let open = format!("document.querySelector({piece:?}).closest('details').open = true");
    phone.browser.run(&open).await;
    phone.tap(&piece).await;
    phone.tap(save).await;
    phone
        .says("Say why the mass is taken before it is constant.")
        .await;
    phone.types("#f-reason", "the oven is broken").await;
    phone.tap(save).await;
    phone
        .says(&format!("{code}: drying rule overridden: recorded."))
        .await;
    types("8.41").await;
    phone.says("8.41 g recorded").await;
    phone.waits(7).await;
}

/// The pages of single pieces know what was recorded here; one is overridden there.
async fn says_the_same_on_its_page(phone: &Phone, codes: &[Code]) {
    phone
        .browser
        .goto(&page(&format!("drying/{}", codes[0])))
        .await;
    phone.says("The dry mass is recorded: 8.409 g.").await;
    phone
        .browser
        .goto(&page(&format!("drying/{}", codes[2])))
        .await;
    phone.tap("[data-early] summary").await;
    phone.types("#f-early", "its twin is lost").await;
    phone.tap("[data-early] button").await;
    phone
        .says("The rule is overridden: “its twin is lost”")
        .await;
    phone.browser.fits_the_screen().await;
    phone.browser.picture("drying-piece").await;
}

fn dry_masses_arrived(record: &StudyRecord, codes: &[Code]) {
    let read = record.readings.iter().filter(|found| {
        let reading = &found.reading;
        reading.quantity == Quantity::Mass && reading.occasion == Occasion::After
    });
    let mut read: Vec<_> = read
        .map(|found| (&found.reading.specimen, found.reading.typed.text.as_str()))
        .collect();
    read.sort();
    let mut expected = vec![
        (&codes[0], "8.409"),
        (&codes[1], "8.41"),
        (&codes[3], "8.47"),
    ];
    expected.sort();
    assert_eq!(read, expected);
    let overridden = record.drying.overrides.iter();
    let mut overridden: Vec<_> = overridden
        .map(|found| (&found.specimen, found.reason.as_str()))
        .collect();
    overridden.sort();
    let mut expected = vec![
        (&codes[0], "the balance goes back today"),
        (&codes[1], "the oven is broken"),
        (&codes[2], "its twin is lost"),
        (&codes[3], "it goes to the lab today"),
    ];
    expected.sort();
    assert_eq!(overridden, expected);
}

/// Three rules, drying of every pace and with every slip: the browser says the same words as the program.
#[tokio::test(flavor = "multi_thread")]
async fn the_browser_finds_dry_what_the_server_finds_dry() {
    let (desk, _) = dried().await;
    let phone = Phone::at(&desk).await;
    phone.browser.goto(&page("drying")).await;
    phone.browser.find("form[data-drying]").await;
    let (cases, words) = drying_cases();
    let script = format!(
        "return {}.map(([rule, weighings, now]) => {{
            const found = overwinter.dryRule.judge(rule, 0.5, weighings, now);
            return [overwinter.dryRule.state(found, 'Europe/Oslo'),
                ...overwinter.dryRule.wanting(found, 'Europe/Oslo')];
        }});",
        json!(cases)
    );
    let found = phone.browser.run(&script).await;
    let found: Vec<Vec<String>> = serde_json::from_value(found).expect("lists");
    assert_eq!(found.len(), words.len());
    for ((case, own), server) in cases.iter().zip(&found).zip(&words) {
        assert_eq!(own, server, "{case}");
    }
    let constant = words.iter().filter(|one| one[0].starts_with("constant"));
    let constant = constant.count();
    assert!((60..1100).contains(&constant), "{constant} of 1200 are dry");
    phone.browser.close().await;
}

/// Cases for the browser, and what the program says of each: how it stands, then what is wanting.
fn drying_cases() -> (Vec<serde_json::Value>, Vec<Vec<String>>) {
    let rules = [
        DryingRule::usual(),
        DryingRule::ThreeWeighings {
            apart_hours: 24,
            percent: 0.1,
        },
        DryingRule::RoomDry { days: 14 },
    ];
    let start: DateTime<Utc> = "2026-03-20T09:30:00Z".parse().unwrap();
    let mut state = 11_u64;
    let mut chance = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(state >> 33).expect("31 bits")) / f64::from(1_u32 << 31)
    };
    let (mut cases, mut words) = (Vec::new(), Vec::new());
    for n in 0..1200_u32 {
        let rule = &rules[(n % 3) as usize];
        let (mut at, mut weighings) = (start, Vec::new());
        let (water, pace) = (0.2 * chance(), 0.05 + 3.0 * chance());
        for _ in 0..n % 9 {
            let days = (at - start).as_seconds_f64() / 86_400.0;
            let slip = if chance() > 0.95 { 0.02 } else { 0.0 };
            let mass = 8.4 + water * (-days * pace).exp() + slip;
            weighings.push(Weighing {
                at,
                mass_g: (mass * 1000.0).round() / 1000.0,
                readability_g: 0.001,
            });
            at += TimeDelta::minutes((chance() * 3.0 * 1440.0) as i64);
        }
        let now = at + TimeDelta::hours(i64::from(n % 40));
        let plain: Vec<_> = weighings
            .iter()
            .map(|one| {
                json!({ "at": one.at.timestamp_millis(), "mass_g": one.mass_g, "step_g": one.readability_g })
            })
            .collect();
        cases.push(json!([rule, plain, now.timestamp_millis()]));
        let found = judge(rule, 0.5, &weighings, now);
        let mut said = vec![drying::words::state(&found, "Europe/Oslo")];
        said.extend(drying::words::wanting(&found, "Europe/Oslo"));
        words.push(said);
    }
    (cases, words)
}
