//! The steward's phone without a network: pages open, a round goes on, nothing is lost, and what was
//! refused can be mended. In a real browser at phone size, over a line that is cut.

use crate::house::Phone;
use crate::house::camera::jpeg;
use crate::house::desk::{Desk, PIECES, SLUG, small_plan};
use chrono::{DateTime, TimeDelta, Utc};
use overwinter::study::plausibility::{Expected, Spread, doubts};
use overwinter::study::reading::{Occasion, Quantity};
use overwinter::study::record::{ReadingRecord, Standing};
use serde_json::{Value, json};

fn round(desk: &Desk) -> String {
    format!(
        "/desk/{SLUG}/round?quantity=mass&occasion=before&instrument={}&unit=g&state=conditioned",
        desk.balance
    )
}

async fn bench(pieces: usize) -> (Desk, Vec<String>) {
    let desk = Desk::planned(small_plan()).await.with_pieces(pieces).await;
    let record = desk.record().await;
    let codes = record.specimens.iter().map(|piece| piece.code.to_string());
    let codes = codes.collect();
    (desk, codes)
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_open_and_a_round_goes_on_without_a_network() {
    let (desk, codes) = bench(PIECES).await;
    let phone = Phone::at(&desk).await;
    phone.sets_its_clock(&desk, 0).await;
    // A round of this quantity was begun before, so that its settings are known.
    desk.round(&[("code", &codes[0]), ("value", "8.41")])
        .await
        .is(303);
    phone.browser.goto("/desk").await;
    phone.keeps(&round(&desk), "1 of 11").await;
    phone.kept().await;
    can_be_installed(&phone).await;
    phone.goes_off_the_air().await;
    let pages = [
        "/desk".to_owned(),
        format!("/desk/{SLUG}"),
        format!("/desk/{SLUG}/round"),
        format!("/desk/{SLUG}/specimens/{}", codes[3]),
        format!("/desk/{SLUG}/exposure/handle"),
        format!("/desk/{SLUG}/exposure/handle?what=inspected"),
        "/desk/waiting".to_owned(),
        round(&desk),
    ];
    for page in &pages {
        phone.browser.goto(page).await;
        let heading = phone.browser.text("h1").await;
        assert_ne!(heading, "No connection", "{page}");
        phone.says("This page is kept from").await;
    }
    phone.browser.goto(&format!("/desk/{SLUG}/plan")).await;
    assert_eq!(phone.browser.text("h1").await, "No connection");
    phone.browser.goto(&round(&desk)).await;
    for (n, code) in codes.iter().enumerate().take(4).skip(1) {
        phone.is_at(code).await;
        phone.browser.type_keys(&format!("8,4{n}\n")).await;
    }
    phone.is_at(&codes[4]).await;
    phone.waits(3).await;
    phone.says("no connection").await;
    phone.browser.picture("offline-round").await;
    // The tab is closed; another one goes on where it was.
    let old = phone.browser.page.window().await.unwrap();
    let new = phone.browser.page.new_window(true).await.unwrap();
    phone.browser.page.switch_to_window(old).await.unwrap();
    phone.browser.page.close_window().await.unwrap();
    phone
        .browser
        .page
        .switch_to_window(new.handle)
        .await
        .unwrap();
    phone.switch(true).await;
    phone.browser.goto(&round(&desk)).await;
    phone.is_at(&codes[4]).await;
    assert_eq!(
        phone.browser.text("[data-count]").await,
        format!("4 of {PIECES}")
    );
    assert_eq!(desk.record().await.readings.len(), 1, "nothing was sent");
    // A full day later.
    desk.server.app.clock.advance(TimeDelta::hours(25));
    phone.comes_back().await;
    phone.has_sent(3).await;
    let record = desk.record().await;
    let since = |found: &ReadingRecord| desk.server.app.clock.now() - found.taken_at;
    let are_old = record
        .readings
        .iter()
        .skip(1)
        .all(|found| (24..=25).contains(&since(found).num_hours()));
    assert!(are_old, "with the times at which they were taken");
    let read: Vec<_> = record
        .readings
        .iter()
        .map(|found| {
            (
                found.reading.specimen.to_string(),
                found.reading.typed.text.clone(),
            )
        })
        .collect();
    let expected: Vec<_> = [(0, "8.41"), (1, "8,41"), (2, "8,42"), (3, "8,43")]
        .map(|(n, text)| (codes[n].clone(), text.to_owned()))
        .into();
    assert_eq!(read, expected);
    phone.browser.close().await;
}

/// The browser itself judges the manifest and its icons (W3C Web Application Manifest).
async fn can_be_installed(phone: &Phone) {
    let found = phone
        .browser
        .command("Page.getAppManifest", json!({}))
        .await;
    assert_eq!(found["value"]["errors"], json!([]), "{found}");
    let url = found["value"]["url"].as_str().unwrap_or_default();
    assert!(url.ends_with("/manifest.webmanifest"), "{found}");
    let command = "Page.getInstallabilityErrors";
    let found = phone.browser.command(command, json!({})).await;
    assert_eq!(found["value"]["installabilityErrors"], json!([]), "{found}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_queue_is_sent_on_load_in_front_by_the_timer_and_by_the_button() {
    let (desk, codes) = bench(5).await;
    let phone = Phone::at(&desk).await;
    // The timer's twenty seconds pass quickly when the test says so.
    let quick = "const real = window.setTimeout.bind(window);
        window.setTimeout = (work, ms, ...rest) =>
            real(work, ms === 20000 && window.isQuick ? 300 : ms, ...rest);";
    let source = json!({ "source": quick });
    let command = "Page.addScriptToEvaluateOnNewDocument";
    phone.browser.command(command, source).await;
    phone.browser.goto(&round(&desk)).await;
    let reads = async |n: usize| {
        phone.is_at(&codes[n]).await;
        phone.line.cut();
        phone.types("[name=value]", &format!("8.4{n}")).await;
        phone.browser.type_keys("\n").await;
        phone.waits(1).await;
        phone
            .browser
            .until("overwinter.send.status.word === 'offline'")
            .await;
    };
    reads(0).await;
    phone.is_reached_again();
    phone.tap(".strip button").await;
    phone.has_sent(1).await;
    reads(1).await;
    phone.is_reached_again();
    phone.browser.goto(&round(&desk)).await;
    phone.has_sent(2).await;
    reads(2).await;
    phone.is_reached_again();
    let front = "document.dispatchEvent(new Event('visibilitychange'))";
    phone.browser.run(front).await;
    phone.has_sent(3).await;
    phone.browser.run("window.isQuick = true").await;
    reads(3).await;
    phone.is_reached_again();
    phone.has_sent(4).await;
    // The return of the network, with a timer that is slow again.
    phone.browser.run("window.isQuick = false").await;
    phone.switch(true).await;
    reads(4).await;
    phone.comes_back().await;
    phone.has_sent(5).await;
    assert_eq!(desk.record().await.readings.len(), 5);
    phone.browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn two_phones_of_one_account_send_what_each_recorded() {
    let (desk, codes) = bench(3).await;
    let (one, other) = (Phone::at(&desk).await, Phone::at(&desk).await);
    for phone in [&one, &other] {
        phone.browser.goto(&round(&desk)).await;
        phone.is_at(&codes[0]).await;
        phone.goes_off_the_air().await;
    }
    // Both read the first piece, then each another one.
    one.browser.type_keys("8.41\n").await;
    one.is_at(&codes[1]).await;
    one.browser.type_keys("8.42\n").await;
    one.waits(2).await;
    other.browser.type_keys("8.43\n").await;
    other.is_at(&codes[1]).await;
    other.tap("[data-skip]").await;
    other.is_at(&codes[2]).await;
    other.browser.type_keys("8.44\n").await;
    other.waits(2).await;
    one.comes_back().await;
    one.has_sent(2).await;
    other.comes_back().await;
    other.needs_somebody(1).await;
    other.has_sent_of(1, 0).await;
    other
        .browser
        .until("overwinter.send.status.word === 'idle'")
        .await;
    let record = desk.record().await;
    let read = record.readings.iter().map(|found| {
        let reading = &found.reading;
        (reading.specimen.to_string(), reading.typed.text.clone())
    });
    let expected = [(0, "8.41"), (1, "8.42"), (2, "8.44")];
    let expected = expected.map(|(n, text): (usize, &str)| (codes[n].clone(), text.to_owned()));
    assert_eq!(read.collect::<Vec<_>>(), expected);
    let account = desk.steward.open("/account").await;
    let queues = account.ok().text(".queues");
    assert_eq!(account.texts(".queues tr").len(), 2, "{queues}");
    assert!(
        queues.contains("1 refused") && queues.contains("nothing"),
        "{queues}"
    );
    one.browser.close().await;
    other.browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_new_release_takes_over_what_the_old_one_kept() {
    let (desk, codes) = bench(2).await;
    let phone = Phone::at(&desk).await;
    phone.browser.goto("/desk").await;
    phone.kept().await;
    // What waits when the release changes waits on.
    phone.browser.goto(&round(&desk)).await;
    phone.is_at(&codes[0]).await;
    phone.line.cut();
    phone.browser.type_keys("8.41\n").await;
    phone.waits(1).await;
    // What an earlier release left: a page with a stylesheet that this one does not have.
    let old = "for (const name of await caches.keys()) await caches.delete(name);
        const pages = await caches.open('pages-earlier'), files = await caches.open('files-earlier');
        const page = new Response('<h1>Kept by an earlier release</h1>',
            { headers: { 'content-type': 'text/html' } });
        await pages.put(location.origin + '/desk/earlier', page);
        await files.put('/static/0123/app.css', new Response('h1{}'));";
    phone.browser.run_async(old).await;
    phone.is_reached_again();
    is_installed_anew(&phone).await;
    phone.has_sent(1).await;
    phone.goes_off_the_air().await;
    phone.browser.goto("/desk/earlier").await;
    assert_eq!(phone.browser.text("h1").await, "Kept by an earlier release");
    phone.browser.close().await;
}

/// Takes the worker away until the browser installs it anew, which takes over what an earlier release kept. A worker that
/// the browser has not let go of yet is taken back instead; then it is taken away once more.
async fn is_installed_anew(phone: &Phone) {
    let away = "await (await navigator.serviceWorker.getRegistration())?.unregister();";
    let left = "return (await caches.keys()).filter((name) => name.includes('earlier')).length;";
    for _ in 0..6 {
        phone.browser.run_async(away).await;
        // It goes once no page of its is open.
        phone.browser.page.goto("about:blank").await.unwrap();
        phone.browser.goto("/account").await;
        for _ in 0..160 {
            if phone.browser.run_async(left).await == json!(0) {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
    }
    panic!("the new worker left what an earlier release kept");
}

/// Presses keys and counts those that are no digit, decimal mark or letter of a code.
#[tokio::test(flavor = "multi_thread")]
async fn thirty_masses_take_no_more_than_two_keys_a_piece_besides_the_digits() {
    let (desk, codes) = bench(30).await;
    let phone = Phone::at(&desk).await;
    phone.browser.goto(&round(&desk)).await;
    phone.is_at(&codes[0]).await;
    let count = "window.keys = 0; window.taps = 0;
        addEventListener('keydown', (event) => { if (!/^[0-9.,A-Z]$/i.test(event.key)) keys += 1; }, true);
        addEventListener('pointerdown', () => { taps += 1; }, true);";
    phone.browser.run(count).await;
    for (n, code) in codes.iter().enumerate() {
        phone.is_at(code).await;
        assert_eq!(phone.browser.focused_field().await, "value");
        phone.browser.type_keys(&format!("8.4{}\n", n % 10)).await;
    }
    phone
        .says("Every piece of this round has its readings.")
        .await;
    let keys = phone.browser.number("window.keys").await;
    assert_eq!(phone.browser.number("window.taps").await, 0.0);
    println!("a round of 30 by keyboard: {keys} keys besides digits and marks");
    assert!(keys <= 60.0, "{keys} keys for 30 pieces");
    phone.has_sent(30).await;
    assert_eq!(desk.record().await.readings.len(), 30);
    by_thumb(&phone, &desk, &codes).await;
    phone.browser.close().await;
}

/// The widths of the same pieces, with the thumb on the button instead of a key: one tap a piece.
async fn by_thumb(phone: &Phone, desk: &Desk, codes: &[String]) {
    let widths = round(desk)
        .replace("quantity=mass", "quantity=length:width")
        .replace(&desk.balance.to_string(), &desk.calliper.to_string())
        .replace("unit=g", "unit=mm");
    phone.browser.goto(&widths).await;
    phone.is_at(&codes[0]).await;
    let count = "window.taps = 0; addEventListener('pointerdown', () => { taps += 1; }, true);";
    phone.browser.run(count).await;
    for (n, code) in codes.iter().enumerate() {
        phone.is_at(code).await;
        assert_eq!(
            phone.browser.focused_field().await,
            "value",
            "the keyboard stays"
        );
        phone.browser.type_keys(&format!("9.0{}", n % 10)).await;
        phone.tap("form[data-round] .actions button").await;
    }
    phone
        .says("Every piece of this round has its readings.")
        .await;
    let taps = phone.browser.number("window.taps").await;
    println!("a round of 30 by thumb: {taps} taps besides digits and marks");
    assert!((taps - 30.0).abs() < 0.5, "{taps} taps for 30 pieces");
    phone.has_sent(60).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_piece_is_skipped_and_comes_back_and_the_last_is_undone() {
    let mut plan = small_plan();
    plan.mass.readings = 2;
    let desk = Desk::planned(plan).await.with_pieces(3).await;
    let record = desk.record().await;
    let codes: Vec<String> = record
        .specimens
        .iter()
        .map(|p| p.code.to_string())
        .collect();
    let phone = Phone::at(&desk).await;
    phone.browser.goto(&round(&desk)).await;
    phone.is_at(&codes[0]).await;
    phone.says("reading 1 of 2").await;
    phone.browser.type_keys("8.41\n").await;
    phone.says("reading 2 of 2").await;
    phone.browser.type_keys("8.42\n").await;
    phone.is_at(&codes[1]).await;
    phone.tap("[data-skip]").await;
    phone.is_at(&codes[2]).await;
    phone.browser.type_keys("8.43\n").await;
    phone.says("reading 2 of 2").await;
    // A slip: undone at once, by a correction that names it.
    phone.tap("[data-undo]").await;
    phone
        .says(&format!("Correcting {}: 8.43 g stands", codes[2]))
        .await;
    phone.browser.type_keys("8.40\n").await;
    phone.says("8.40 g recorded instead").await;
    phone.browser.type_keys("8.44\n").await;
    // The skipped one comes back; what is missing is said.
    phone.is_at(&codes[1]).await;
    phone.says("1 still to read").await;
    phone.browser.type_keys("8.45\n").await;
    phone.says("reading 2 of 2").await;
    // The wrong piece: taken back, and asked for again.
    phone.tap("[data-undo]").await;
    phone.tap("[data-take-back]").await;
    phone.says("reading 1 of 2").await;
    phone.browser.type_keys("8.46\n").await;
    phone.says("reading 2 of 2").await;
    phone.browser.type_keys("8.47\n").await;
    phone
        .says("Every piece of this round has its readings.")
        .await;
    phone.has_sent(9).await;
    let record = desk.record().await;
    let current: Vec<f64> = record.current_readings().map(|r| r.reading.value).collect();
    assert_eq!(current, [8.41, 8.42, 8.40, 8.44, 8.46, 8.47]);
    let gone = |standing: Standing| {
        let found = record.readings.iter().filter(|r| r.standing == standing);
        found.map(|r| r.reading.value).collect::<Vec<_>>()
    };
    assert_eq!(gone(Standing::Superseded), [8.43]);
    assert_eq!(gone(Standing::Void), [8.45]);
    phone.browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_check_weight_is_read_before_and_after_and_its_limit_is_said() {
    let (desk, codes) = bench(1).await;
    let phone = Phone::at(&desk).await;
    phone.browser.goto(&round(&desk)).await;
    phone.is_at(&codes[0]).await;
    phone
        .says("Check weight: not read in the last 12 hours")
        .await;
    phone
        .browser
        .run("document.querySelector('form[data-weight]').closest('details').open = true")
        .await;
    phone.tap("#f-nominal").await;
    phone.browser.type_keys("20\t20.004\n").await;
    phone
        .says("0.004 g off; the action limit is 3 × 0.001 g. Clean it, zero it")
        .await;
    assert_eq!(phone.browser.focused_field().await, "check_value");
    phone.browser.type_keys("20.003\n").await;
    phone.says("fits").await;
    // The words stand before the round is drawn anew and takes the focus.
    phone
        .browser
        .until("document.activeElement.name === 'value'")
        .await;
    phone.browser.type_keys("8.41\n").await;
    phone.tap("[data-weigh-again]").await;
    assert_eq!(phone.browser.focused_field().await, "check_value");
    phone.browser.type_keys("20.001\n").await;
    phone.has_sent(4).await;
    phone
        .browser
        .until("overwinter.send.status.word === 'idle'")
        .await;
    let record = desk.record().await;
    let read: Vec<_> = record
        .checks
        .iter()
        .map(|found| (found.check.nominal, found.check.typed.text.as_str()))
        .collect();
    assert_eq!(read, [(20.0, "20.004"), (20.0, "20.003"), (20.0, "20.001")]);
    let beyond: Vec<bool> = record
        .checks
        .iter()
        .map(|c| c.check.is_beyond(0.001))
        .collect();
    assert_eq!(beyond, [true, false, false]);
    phone.browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_check_weight_works_without_scripts() {
    let (desk, _) = bench(1).await;
    let balance = desk.balance.to_string();
    let back = round(&desk);
    let fields = [
        ("instrument", balance.as_str()),
        ("unit", "g"),
        ("nominal", "20"),
        ("check_value", "20,005"),
        ("back", back.as_str()),
    ];
    let answer = desk.submit("instruments/check", &fields).await;
    answer.redirects_to(&back);
    let page = desk.steward.open(&back).await;
    assert!(
        page.ok()
            .text(".notice[role=status]")
            .contains("+0.005 g off")
    );
    let wrong = desk
        .submit(
            "instruments/check",
            &[fields[0], fields[1], ("nominal", "x")],
        )
        .await;
    assert!(wrong.refused().fault("nominal").contains("12.34"));
    assert!(wrong.fault("check_value").contains("missing"));
    let elsewhere = [
        fields[0],
        fields[1],
        fields[2],
        fields[3],
        ("back", "//evil.example"),
    ];
    desk.submit("instruments/check", &elsewhere)
        .await
        .redirects_to(&format!("/desk/{SLUG}/round"));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_refused_stays_says_why_and_is_mended() {
    let (desk, codes) = bench(4).await;
    let phone = Phone::at(&desk).await;
    phone.browser.goto(&round(&desk)).await;
    phone.is_at(&codes[0]).await;
    phone.goes_off_the_air().await;
    // Meanwhile a second phone reads the first piece.
    let first = desk.record().await.specimens[0].code.clone();
    desk.read(&first, Quantity::Mass, Occasion::Before, 8.4)
        .await;
    for (n, code) in codes.iter().enumerate().take(3) {
        phone.is_at(code).await;
        phone.browser.type_keys(&format!("8.4{n}\n")).await;
    }
    phone.is_at(&codes[3]).await;
    phone.comes_back().await;
    phone.needs_somebody(1).await;
    phone.waits(0).await;
    assert_eq!(
        desk.record().await.readings.len(),
        3,
        "the others were taken"
    );
    // Mended by the right code: it was another piece.
    phone.browser.goto("/desk/waiting").await;
    phone.says("is on record already").await;
    phone.browser.fits_the_screen().await;
    phone.browser.picture("waiting-refused").await;
    let code = phone.browser.find("[name=code]").await;
    code.clear().await.unwrap();
    code.send_keys(&codes[3]).await.unwrap();
    phone.tap(".cards form button").await;
    phone.needs_somebody(0).await;
    phone.says("Nothing waits").await;
    let record = desk.record().await;
    let last = &record.readings.last().unwrap().reading;
    assert_eq!(
        (last.specimen.as_str(), last.value),
        (codes[3].as_str(), 8.40)
    );
    phone.browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_mended_is_set_aside_with_a_reason_and_kept_by_the_server() {
    let (desk, codes) = bench(2).await;
    let phone = Phone::at(&desk).await;
    phone.browser.goto(&round(&desk)).await;
    phone.is_at(&codes[0]).await;
    phone.goes_off_the_air().await;
    phone.browser.type_keys("8.41\n").await;
    phone.is_at(&codes[1]).await;
    let first = desk.record().await.specimens[0].code.clone();
    desk.read(&first, Quantity::Mass, Occasion::Before, 8.4)
        .await;
    phone.comes_back().await;
    phone.needs_somebody(1).await;
    phone
        .browser
        .until("overwinter.send.status.word === 'idle'")
        .await;
    let account = desk.steward.open("/account").await;
    assert!(
        account.ok().text(".queues td").contains("1 refused"),
        "the server knows"
    );
    phone.browser.goto("/desk/waiting").await;
    phone.tap("[data-aside]").await;
    phone.says("Write down why first.").await;
    phone.needs_somebody(1).await;
    let reason = phone.browser.find("[name=reason]").await;
    reason
        .send_keys("weighed twice by two people")
        .await
        .unwrap();
    phone.tap("[data-aside]").await;
    phone.needs_somebody(0).await;
    phone
        .browser
        .until("overwinter.send.status.word === 'idle'")
        .await;
    let account = desk.steward.open("/account").await;
    let kept = account.ok().text(".aside tr");
    for words in [
        codes[0].as_str(),
        "8.41 g",
        "on record already",
        "weighed twice",
    ] {
        assert!(kept.contains(words), "{words}: {kept}");
    }
    assert!(account.text(".queues td").contains("nothing"));
    phone.browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sign_in_ended_elsewhere_keeps_the_queue_and_asks_again() {
    let (desk, codes) = bench(3).await;
    let phone = Phone::at(&desk).await;
    phone.browser.goto(&round(&desk)).await;
    phone.is_at(&codes[0]).await;
    // All sign-ins are ended from another device.
    desk.steward
        .submit("/account/sessions/end", &[])
        .await
        .is(303);
    phone.browser.type_keys("8.41\n").await;
    phone.waits(1).await;
    phone.says("sign in to send").await;
    phone.browser.type_keys("8.42\n").await;
    phone.waits(2).await;
    phone.browser.picture("signed-out-round").await;
    phone.tap(".strip a.button").await;
    phone.browser.find("#f-password").await;
    phone.waits(2).await;
    phone.sign_in().await;
    phone.is_at(&codes[2]).await;
    phone.has_sent(2).await;
    assert_eq!(desk.record().await.readings.len(), 2);
    // Signed out on the phone itself, nothing of the desk is left to see.
    phone.kept().await;
    phone.tap("form[action='/sign-out'] button").await;
    phone.browser.find("#f-password").await;
    let left = "return (await caches.keys()).filter((name) => name.startsWith('pages-')).length;";
    assert_eq!(phone.browser.run_async(left).await, Value::from(0));
    phone.browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_clock_is_said_and_both_times_are_kept() {
    let (desk, codes) = bench(1).await;
    let phone = Phone::at(&desk).await;
    phone.sets_its_clock(&desk, -3).await;
    phone.browser.goto(&round(&desk)).await;
    phone.is_at(&codes[0]).await;
    phone.says("clock is 3 h 0 min behind").await;
    phone.browser.type_keys("8.41\n").await;
    phone.has_sent(1).await;
    phone
        .browser
        .until("overwinter.send.status.word === 'idle'")
        .await;
    let record = desk.record().await;
    let apart = desk.server.app.clock.now() - record.readings[0].taken_at;
    assert!((178..=181).contains(&apart.num_minutes()), "{apart}");
    let journal = desk.open("journal").await;
    let row = journal.ok().text("tbody tr");
    assert!(row.contains("earlier by its device’s clock"), "{row}");
    let account = desk.steward.open("/account").await;
    assert!(account.ok().text(".queues tr").contains("3 h 0 min behind"));
    phone.browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_browser_doubts_what_the_server_doubts() {
    let (desk, _) = bench(1).await;
    let phone = Phone::at(&desk).await;
    phone.browser.goto(&round(&desk)).await;
    phone.browser.find("form[data-round]").await;
    let (cases, sentences) = doubtful_cases();
    let script = format!(
        "const rules = JSON.parse(document.querySelector('form[data-round]').dataset.round).rules;
        return {}.map(([value, expected, values]) => {{
            const siblings = overwinter.check.spread(values);
            return overwinter.check.doubts(value, {{ ...expected, siblings }}, rules);
        }});",
        json!(cases)
    );
    let found = phone.browser.run(&script).await;
    let found: Vec<Vec<String>> = serde_json::from_value(found).expect("lists");
    assert_eq!(found.len(), sentences.len());
    for ((case, own), server) in cases.iter().zip(&found).zip(&sentences) {
        assert_eq!(own, server, "{case}");
    }
    let doubted = sentences.iter().filter(|found| !found.is_empty()).count();
    assert!(
        (100..1900).contains(&doubted),
        "{doubted} of 2000 are doubted"
    );
    phone.browser.close().await;
}

/// Values of every kind with what they are held against, and what the program says of each.
fn doubtful_cases() -> (Vec<Value>, Vec<Vec<String>>) {
    let mut state = 7_u64;
    let mut chance = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(state >> 33).expect("31 bits")) / f64::from(1_u32 << 31)
    };
    let (mut cases, mut sentences) = (Vec::new(), Vec::new());
    for n in 0..2000_u32 {
        let siblings: Vec<f64> = (0..n % 14).map(|_| 8.4 + (chance() - 0.5) * 0.1).collect();
        let value = 8.4 * [1.0, 1.0 + (chance() - 0.5) * 0.2, 10.0, 0.1][(n % 4) as usize];
        let expected = Expected {
            siblings: Spread::of(&siblings),
            readability: 0.001,
            nominal: (n % 3 == 0).then_some(8.5),
            own_before: (n % 5 == 0).then_some(8.4 + (chance() - 0.5)),
            density: (n % 7 == 0).then_some((0.6 + chance(), 1.24)),
        };
        let plain = json!({
            "readability": 0.001, "nominal": expected.nominal, "ownBefore": expected.own_before,
            "density": expected.density,
        });
        cases.push(json!([value, plain, siblings]));
        let said = doubts(value, &expected);
        sentences.push(said.iter().map(ToString::to_string).collect());
    }
    (cases, sentences)
}

#[tokio::test(flavor = "multi_thread")]
async fn handling_is_logged_without_a_network_and_other_forms_stay_as_typed() {
    let desk = Desk::ready().await;
    let all = [
        ("all", "condition:c1"),
        ("all", "condition:c3"),
        ("at", "2026-03-01T10:00"),
    ];
    desk.submit("exposure/out", &all).await.is(303);
    let phone = Phone::at(&desk).await;
    let published = format!("/desk/{SLUG}/literature");
    phone.browser.goto("/desk").await;
    phone.kept().await;
    phone.browser.goto(&published).await;
    phone.browser.find("#f-citation").await;
    phone.keeps(&published, "f-citation").await;
    let inspected = format!("/desk/{SLUG}/exposure/handle?what=inspected");
    phone.keeps(&inspected, "one by one").await;
    phone.goes_off_the_air().await;
    phone.sets_its_clock(&desk, 2).await;
    phone.browser.goto(&inspected).await;
    phone.tap("form[data-handle] button").await;
    phone.says("Tick at least one piece.").await;
    phone.tap("input[value='condition:c3']").await;
    phone.tap("form[data-handle] button").await;
    phone.says("inspected: recorded.").await;
    phone.waits(1).await;
    let shown = desk.placed("c3", 180).await[0].clone();
    photographs(&phone, shown.as_str()).await;
    phone.waits(2).await;
    // A form of work at a table, without a script of its own: it stays as it was typed.
    phone.browser.goto(&published).await;
    phone.types("#f-citation", "a table of 1998").await;
    phone.tap("main form button").await;
    phone.says("No connection: this form is not sent.").await;
    let typed = phone.browser.find("#f-citation").await.prop("value").await;
    assert_eq!(typed.unwrap().as_deref(), Some("a table of 1998"));
    phone.comes_back().await;
    phone.has_sent(2).await;
    let record = desk.record().await;
    // The time of the phone when it was logged, not that of the page it had kept.
    let ahead = |at: &DateTime<Utc>| (*at - desk.server.app.clock.now()).num_minutes();
    let taken: Vec<_> = record.photographs.iter().collect();
    assert!(
        matches!(taken[..], [one] if (110..=120).contains(&ahead(&one.taken_at))),
        "{taken:?}"
    );
    let mut handled = desk.placed("c3", 180).await;
    handled.extend(desk.placed("c3", 365).await);
    handled.sort();
    let logged = record.events.iter().filter(|event| {
        matches!(
            event.what,
            overwinter::study::record::EventKind::Handled { .. }
        )
    });
    let (mut codes, mut times) = (Vec::new(), Vec::new());
    for event in logged {
        codes.push(event.specimen.clone());
        times.push(event.at);
    }
    codes.sort();
    assert_eq!(codes, handled);
    assert!(
        times.iter().all(|at| (110..=120).contains(&ahead(at))),
        "{times:?}"
    );
    phone.browser.close().await;
}

/// A picture of a piece where it is, chosen and kept without a network.
async fn photographs(phone: &Phone, code: &str) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("IMG_1.jpg");
    std::fs::write(&file, jpeg(1200, 900, 6)).expect("a picture");
    let page = format!("/desk/{SLUG}/specimens/{code}/photographs");
    phone.browser.goto(&page).await;
    let field = phone.browser.find("#f-file").await;
    let path = file.to_str().expect("a path");
    field.send_keys(path).await.expect("it takes a file");
    phone.browser.find("[data-preview]:not([hidden])").await;
    phone.tap("input[name=view]").await;
    phone.tap("main form button:not([type])").await;
    phone
        .browser
        .find("[data-photograph-says]:not([hidden])")
        .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn nobody_sends_what_another_recorded_on_the_same_device() {
    let (desk, codes) = bench(1).await;
    let account = desk
        .server
        .app
        .store
        .find_account("runa")
        .await
        .unwrap()
        .unwrap()
        .id;
    let entry = |account: uuid::Uuid| {
        json!({ "entries": [{
            "id": desk.server.app.clock.new_id(), "study": desk.script.study, "account": account,
            "device": "phone", "device_seq": 1, "taken_at": "2026-03-01T08:00:00Z",
            "time_zone": "Europe/Oslo", "kind": "reading_taken",
            "body": { "reading": {
                "specimen": codes[0], "quantity": "mass", "occasion": "before", "repeat": 1,
                "state": "conditioned", "value": 8.4, "typed": { "text": "8.4", "unit": "g" },
                "instrument": desk.balance,
            }},
        }]})
    };
    let send = async |account| {
        let request = desk.steward.request(reqwest::Method::POST, "/entries");
        let answer = desk.steward.send(request.json(&entry(account))).await;
        let body: Value = serde_json::from_slice(&answer.bytes).unwrap();
        body["receipts"][0]["status"].as_u64()
    };
    assert_eq!(send(desk.server.app.clock.new_id()).await, Some(401));
    assert_eq!(desk.record().await.readings.len(), 0);
    assert_eq!(send(account).await, Some(201));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_code_that_stands_on_a_bag_is_given_again_unless_another_piece_has_it() {
    let desk = Desk::ready().await;
    let id = || desk.server.app.clock.new_id();
    let send = async |id: uuid::Uuid, holder: &str, code: Option<&str>| {
        let mut body = json!({
            "condition": "c3", "holder": holder, "stage_days": 180, "recovery": "damaged",
            "at": "2026-03-01T08:00:00Z",
        });
        if let Some(code) = code {
            body["code"] = json!(code);
        }
        let entry = json!({ "entries": [{
            "id": id, "study": desk.script.study, "device": "phone", "device_seq": 1,
            "taken_at": "2026-03-01T08:00:00Z", "time_zone": "Europe/Oslo", "kind": "nameless_found",
            "body": body,
        }]});
        let request = desk.steward.request(reqwest::Method::POST, "/entries");
        let answer = desk.steward.send(request.json(&entry)).await;
        let body: Value = serde_json::from_slice(&answer.bytes).unwrap();
        let one = &body["receipts"][0];
        let text = |name: &str| one[name].as_str().map(str::to_owned);
        (one["status"].as_u64(), text("code"), text("mend"))
    };
    let holder = desk.plan.condition("c3").unwrap().holders[0].key.clone();
    let first = id();
    let (status, code, _) = send(first, &holder, None).await;
    assert_eq!(status, Some(201));
    assert!(code.is_some());
    assert_eq!(
        send(first, &holder, None).await,
        (Some(200), code.clone(), None)
    );
    // Another content under the same id is refused, as everywhere.
    let (status, none, mend) = send(first, "gone", None).await;
    assert_eq!(
        (status, none, mend.as_deref()),
        (Some(422), None, Some("form"))
    );
    // A code that the device was told before the server was put back: free, taken, of no study.
    let far = overwinter::study::code::Code::run("GT", 100)
        .next()
        .unwrap()
        .1;
    let told = send(id(), &holder, Some(far.as_str())).await;
    assert_eq!(told, (Some(201), Some(far.to_string()), None));
    let foreign = overwinter::study::code::Code::run("KT", 0)
        .next()
        .unwrap()
        .1;
    let mut given = vec![code.unwrap(), far.to_string()];
    for told in [far, foreign] {
        let (status, code, _) = send(id(), &holder, Some(told.as_str())).await;
        assert_eq!(status, Some(201));
        given.push(code.unwrap());
    }
    let record = desk.record().await;
    let mut found: Vec<String> = record
        .specimens
        .iter()
        .filter(|piece| piece.is_nameless)
        .map(|piece| piece.code.to_string())
        .collect();
    found.sort();
    given.sort();
    assert_eq!(found, given);
}

#[tokio::test]
async fn a_round_interleaves_the_conditions() {
    let desk = Desk::ready().await;
    let record = desk.record().await;
    let order = overwinter::study::round::pool(&record, Occasion::Before);
    assert_eq!(order.len(), PIECES);
    let (mut storage, mut exposed) = (0_i32, 0_i32);
    for piece in order {
        if let Some(overwinter::study::allocation::Place::Exposed { condition, .. }) = &piece.place
        {
            if condition == "c1" {
                storage += 1;
            } else {
                exposed += 1;
            }
        }
        assert!((storage - exposed).abs() <= 1, "{storage} and {exposed}");
    }
    assert_eq!((storage, exposed), (4, 4));
}
