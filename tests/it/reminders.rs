//! Reminders: each thing is said once on each way, tried again until it is taken, also over a killed
//! server; and nothing that a steward types as a webhook reaches into the server's own network.

use crate::hostile_forms::hostile;
use crate::house::desk::{Desk, SLUG};
use crate::house::standin::{self, Hook, Post, Reply};
use crate::house::{ChildServer, PASSWORD, Sheet};
use chrono::TimeDelta;
use hmac::{Hmac, KeyInit, Mac};
use overwinter::clock::hex;
use overwinter::config::{Config, SmtpTls};
use overwinter::remind::Reminders;
use overwinter::store::{Channel, Message, MessageState};
use overwinter::study::allocation::Place;
use overwinter::study::custody::PutOut;
use overwinter::study::entry::Entry;
use sha2::Sha256;

const PAGE: &str = "/account/reminders";

/// A desk whose pieces are out, with settings of its own for what goes out.
async fn out_with(change: impl FnOnce(&mut Config)) -> Desk {
    let desk = Desk::ready_with(change).await;
    let record = desk.record().await;
    let exposed = record.specimens.iter();
    let exposed = exposed.filter(|piece| matches!(piece.place, Some(Place::Exposed { .. })));
    let out = PutOut {
        specimens: exposed.map(|piece| piece.code.clone()).collect(),
        at: desk.server.app.clock.now(),
        is_confirmed_doubt: false,
    };
    desk.script.say(Entry::PutOut(out)).await.expect("out");
    desk
}

async fn out() -> Desk {
    out_with(|config| config.outgoing.webhook_private = true).await
}

fn reminders(desk: &Desk) -> Reminders {
    let app = &desk.server.app;
    Reminders::new(app.store.clone(), app.clock.clone(), &app.config).expect("the settings fit")
}

async fn pass(desk: &Desk) {
    reminders(desk).pass().await.expect("the database works");
}

async fn set(desk: &Desk, fields: &[(&str, &str)]) -> crate::house::Shown {
    let mut all = vec![("mail", ""), ("webhook", ""), ("days_ahead", "2")];
    all.retain(|(name, _)| fields.iter().all(|(other, _)| other != name));
    all.extend_from_slice(fields);
    desk.steward.submit(PAGE, &all).await
}

async fn messages(desk: &Desk) -> Vec<Message> {
    let account = desk.script.steward;
    desk.server
        .app
        .store
        .messages_of(account)
        .await
        .expect("reads")
}

#[tokio::test]
async fn each_thing_is_said_once_whatever_happens_in_between() {
    let desk = out().await;
    let hook = Hook::start(&[]).await;
    set(&desk, &[("webhook", &hook.address)]).await.ok();
    // Put out on 1 March 2026; the water of both barrels is due on 29 March, the day on which the
    // clocks of Oslo go forward.
    pass(&desk).await;
    assert_eq!(hook.came().len(), 0, "nothing is near");
    let mut said = Vec::new();
    for day in 0..45 {
        for _ in 0..3 {
            pass(&desk).await;
        }
        let came = hook.came();
        for message in &came[said.len()..] {
            let lines = message.json()["due"].as_array().unwrap().clone();
            let words = lines.iter().map(|l| l["when"].as_str().unwrap().to_owned());
            said.push((day, words.collect::<Vec<_>>()));
        }
        desk.server.app.clock.advance(TimeDelta::days(1));
    }
    let twice = |text: &str| vec![text.to_owned(); 2];
    assert_eq!(
        said,
        [
            (26, twice("in 2 days, 29 March 2026")),
            (28, twice("today")),
            (29, twice("1 day late, was due 29 March 2026")),
        ]
    );
    let ids: std::collections::BTreeSet<String> = hook
        .came()
        .iter()
        .map(|m| m.header("idempotency-key").to_owned())
        .collect();
    assert_eq!(ids.len(), 3);
}

#[tokio::test]
async fn a_day_begins_at_seven_in_the_morning_of_the_study() {
    let desk = out().await;
    let hook = Hook::start(&[]).await;
    set(&desk, &[("webhook", &hook.address), ("days_ahead", "0")])
        .await
        .ok();
    let clock = &desk.server.app.clock;
    // 04:59 UTC is 06:59 in Oslo on 29 March 2026, hours after its clocks went forward.
    for (moment, count) in [
        ("2026-03-28T23:30:00Z", 0),
        ("2026-03-29T04:59:00Z", 0),
        ("2026-03-29T05:00:00Z", 1),
        ("2026-03-29T23:00:00Z", 1),
    ] {
        clock.set(moment.parse().unwrap());
        pass(&desk).await;
        assert_eq!(hook.came().len(), count, "{moment}");
    }
    let message = hook.came()[0].json();
    assert_eq!(message["due"][0]["study"], "Garden clips");
    assert_eq!(message["due"][0]["closes"], "2026-03-29");
    let url = format!(
        "{}/desk/{SLUG}/exposure/handle?what=topped_up",
        desk.server.base
    );
    assert_eq!(message["due"][0]["url"], url);
    let cautions = message["cautions"].to_string();
    assert!(cautions.contains("Stagnant"), "{cautions}");
    // No piece is named.
    let record = desk.record().await;
    let body = message.to_string();
    assert!(
        record
            .specimens
            .iter()
            .all(|p| !body.contains(p.code.as_str()))
    );
}

#[tokio::test]
async fn a_webhook_that_fails_is_tried_again_later_and_later_and_gets_it_once() {
    let desk = out().await;
    let replies = [500, 503, 429].map(Reply::Status);
    let hook = Hook::start(&replies).await;
    let shown = set(&desk, &[("webhook", &hook.address)]).await;
    let key = shown.ok().text("#f-key");
    let clock = &desk.server.app.clock;
    clock.set("2026-03-29T06:00:00Z".parse().unwrap());
    desk.wait(0).await;
    pass(&desk).await;
    pass(&desk).await;
    assert_eq!(hook.came().len(), 1, "not again at once");
    let page = desk.steward.open(PAGE).await;
    let row = page.ok().text("tbody tr");
    assert!(
        row.contains("tried once, next 29 March 2026, 06:01 UTC"),
        "{row}"
    );
    assert!(row.contains("It answered 500."), "{row}");
    // A minute, five, a quarter of an hour.
    for (minutes, count) in [(1, 2), (4, 2), (1, 3), (14, 3), (1, 4), (10_000, 4)] {
        clock.advance(TimeDelta::minutes(minutes));
        let before = messages(&desk).await.len();
        pass(&desk).await;
        let ours = hook
            .came()
            .iter()
            .filter(|m| m.header("idempotency-key") == hook.came()[0].header("idempotency-key"))
            .count();
        assert_eq!(ours, count, "after {minutes} more minutes, {before}");
    }
    let first = &hook.came()[..4];
    assert!(
        first.iter().all(|m| m.body == first[0].body),
        "the same message"
    );
    let all = messages(&desk).await;
    assert!(
        all.iter()
            .all(|message| message.state == MessageState::Sent),
        "{all:?}"
    );
    // The signature, by the words of the page alone.
    let key: Vec<u8> = (0..32)
        .map(|n| u8::from_str_radix(&key[2 * n..2 * n + 2], 16).unwrap())
        .collect();
    for message in first {
        let mut mac = Hmac::<Sha256>::new_from_slice(&key).unwrap();
        mac.update(format!("{}.", message.header("overwinter-time")).as_bytes());
        mac.update(&message.body);
        let want = format!("sha256={}", hex(&mac.finalize().into_bytes()));
        assert_eq!(message.header("overwinter-signature"), want);
    }
    assert_ne!(
        first[0].header("overwinter-time"),
        first[1].header("overwinter-time")
    );
}

#[tokio::test]
async fn a_refusal_and_a_redirect_end_it_until_the_steward_asks_again() {
    let desk = out().await;
    for (reply, said) in [
        (
            Reply::Redirect,
            "It answered 302. A redirect is not followed.",
        ),
        (Reply::Status(410), "It answered 410."),
    ] {
        let hook = Hook::start(&[reply]).await;
        set(&desk, &[("webhook", &hook.address)]).await.ok();
        desk.server.app.clock.advance(TimeDelta::minutes(2));
        desk.steward
            .submit("/account/reminders/test", &[])
            .await
            .is(303);
        pass(&desk).await;
        desk.server.app.clock.advance(TimeDelta::days(4));
        desk.wait(0).await;
        pass(&desk).await;
        let came = hook.came();
        assert_eq!(came.len(), 1, "{came:?}");
        assert_eq!(came[0].path, "/take");
        let page = desk.steward.open(PAGE).await;
        let row = page.ok().text("tbody tr");
        assert!(row.contains("given up") && row.contains(said), "{row}");
        desk.steward
            .submit("/account/reminders/retry", &[])
            .await
            .redirects_to(PAGE);
        pass(&desk).await;
        assert_eq!(hook.came().len(), 2);
    }
}

#[tokio::test]
async fn a_message_is_given_up_after_days_and_a_dead_webhook_holds_up_nobody() {
    let desk = out().await;
    // Nobody listens there.
    let gone = Hook::start(&[])
        .await
        .address
        .replace("127.0.0.1", "127.0.0.2");
    set(&desk, &[("webhook", &gone)]).await.ok();
    desk.steward
        .submit("/account/reminders/test", &[])
        .await
        .is(303);
    let mut tries = 0;
    for _ in 0..20 {
        pass(&desk).await;
        let message = messages(&desk).await.pop().expect("the test");
        if message.state == MessageState::GivenUp {
            break;
        }
        tries += 1;
        assert_eq!(message.attempts, tries);
        desk.server.app.clock.set(message.next_try_at);
    }
    let message = messages(&desk).await.pop().expect("the test");
    assert_eq!(
        (message.state, message.attempts),
        (MessageState::GivenUp, 10)
    );
    assert_eq!(
        message.last_said.as_deref(),
        Some("It could not be reached.")
    );
}

#[tokio::test]
async fn a_private_address_is_refused_when_typed_and_when_its_name_leads_there() {
    let desk = out_with(|_| {}).await;
    let hook = Hook::start(&[]).await;
    for wrong in [
        hook.address.as_str(),
        "https://127.0.0.1/",
        "https://[::1]:8443/",
        "https://10.1.2.3/x",
    ] {
        let shown = set(&desk, &[("webhook", wrong)]).await;
        let said = shown.refused().fault("webhook");
        assert!(
            said.contains("private") || said.contains("https"),
            "{wrong}: {said}"
        );
        assert_eq!(shown.attribute("#f-webhook", "value"), wrong);
    }
    // A name is looked up when something is sent: this one is the machine's own.
    set(&desk, &[("webhook", "https://localhost:9/x")])
        .await
        .ok();
    desk.steward
        .submit("/account/reminders/test", &[])
        .await
        .is(303);
    pass(&desk).await;
    let message = messages(&desk).await.pop().expect("the test");
    assert_eq!(message.state, MessageState::GivenUp);
    assert!(message.last_said.unwrap().contains("private network"));
}

#[tokio::test]
async fn a_mail_is_taken_once_after_the_mail_server_was_busy() {
    let post = Post::start(&["250 taken", "451 try later"]).await;
    let port = post.port;
    let desk = out_with(|config| {
        config.outgoing.smtp_host = Some("127.0.0.1".to_owned());
        config.outgoing.smtp_port = Some(port);
        config.outgoing.smtp_tls = SmtpTls::None;
        config.outgoing.mail_from = Some("Overwinter <overwinter@example.org>".to_owned());
    })
    .await;
    // A new address gets a test at once, and the page says where it went.
    set(&desk, &[("mail", "runa@example.org")])
        .await
        .redirects_to(PAGE);
    let said = desk.steward.open(PAGE).await;
    assert!(
        said.ok()
            .body()
            .contains("A test is on its way to runa@example.org")
    );
    pass(&desk).await;
    let test = messages(&desk).await.pop().expect("the test");
    assert_eq!(
        (test.state, test.subject.as_str()),
        (MessageState::Sent, "Overwinter: a test")
    );
    set(&desk, &[("mail", "runa@example.org"), ("days_ahead", "1")])
        .await
        .redirects_to(PAGE);
    assert_eq!(messages(&desk).await.len(), 1, "the address is the same");
    desk.server
        .app
        .clock
        .set("2026-03-29T06:00:00Z".parse().unwrap());
    for _ in 0..4 {
        pass(&desk).await;
        desk.server.app.clock.advance(TimeDelta::minutes(1));
    }
    let came = post.came();
    assert_eq!(came.len(), 1, "{came:?}");
    assert!(
        came[0].to.contains("<runa@example.org>")
            && came[0].from.contains("<overwinter@example.org>")
    );
    let message = messages(&desk).await.remove(0);
    assert_eq!(
        (message.channel, message.state, message.attempts),
        (Channel::Mail, MessageState::Sent, 1)
    );
    // Read by Python's own library.
    let read = crate::house::mail::read(&came[0].text);
    assert_eq!(read["subject"], "Overwinter: 2 things are due");
    assert_eq!(read["to"], "runa@example.org");
    assert_eq!(read["auto"], "auto-generated");
    assert_eq!(read["id"], format!("<{}@example.org>", message.id));
    let text = read["text"].as_str().unwrap();
    assert!(
        text.contains("Renew or top up the water: barrel by the shed"),
        "{text}"
    );
    assert!(
        text.contains("Stagnant water") && text.contains("Local rules"),
        "{text}"
    );
}

#[tokio::test]
async fn no_mail_goes_over_a_line_that_is_not_safe() {
    let post = Post::start(&[]).await;
    let port = post.port;
    let desk = out_with(|config| {
        config.outgoing.smtp_host = Some("localhost".to_owned());
        config.outgoing.smtp_port = Some(port);
        config.outgoing.mail_from = Some("overwinter@example.org".to_owned());
    })
    .await;
    set(&desk, &[("mail", "runa@example.org")])
        .await
        .redirects_to(PAGE);
    pass(&desk).await;
    // The stand-in offers no STARTTLS.
    assert!(post.came().is_empty());
    let message = messages(&desk).await.pop().expect("the test");
    assert_eq!(message.state, MessageState::Waiting);
}

#[tokio::test(flavor = "multi_thread")]
async fn killed_while_it_sends_it_sends_the_same_message_again_and_then_no_more() {
    let hook = Hook::start(&[Reply::Silence]).await;
    let desk = out().await;
    set(&desk, &[("webhook", &hook.address)]).await.ok();
    let server = desk.server;
    drop((desk.script, desk.steward));
    let (store, folder) = server.stop().await;
    drop(store);
    let folder = folder.expect("a folder");
    // The real binary lives in the present, in which everything is late.
    let env = ["env", "OVERWINTER_WEBHOOK_PRIVATE=true"];
    let child = ChildServer::start_under(&env, folder.path());
    let came = hook.wait_for(1).await;
    child.kill();
    let child = ChildServer::start_under(&env, folder.path());
    let again = hook.wait_for(2).await;
    assert_eq!(again[0].body, again[1].body);
    let id = came[0].header("idempotency-key");
    assert_eq!(again[1].header("idempotency-key"), id);
    let steward = child.stranger();
    steward.sign_in("runa", PASSWORD).await.is(303);
    for _ in 0..400 {
        if steward
            .open(PAGE)
            .await
            .ok()
            .body()
            .contains("It answered 200.")
        {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(25)).await;
    }
    child.kill();
    let child = ChildServer::start_under(&env, folder.path());
    let steward = child.stranger();
    steward.sign_in("runa", PASSWORD).await.is(303);
    // Its first pass is over when a test that came after it was sent.
    steward.submit("/account/reminders/test", &[]).await.is(303);
    let last = hook.wait_for(3).await;
    assert_eq!(last.len(), 3);
    assert!(
        last[2].json()["remark"].is_string(),
        "only the test: {last:?}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn only_a_certificate_that_the_machine_trusts_gets_a_message() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let (certificate, hook) = standin::secure_hook(folder.path());
    let desk = out().await;
    let address = format!("https://localhost:{}/", hook.port);
    set(&desk, &[("webhook", &address)]).await.ok();
    // Everything that came near is said first, to nobody: the receiver is not trusted.
    let server = desk.server;
    drop((desk.script, desk.steward));
    let (store, data) = server.stop().await;
    drop(store);
    let data = data.expect("a folder");
    let allowed = "OVERWINTER_WEBHOOK_PRIVATE=true";
    let said = async |child: &ChildServer, words: &str| {
        let steward = child.stranger();
        steward.sign_in("runa", PASSWORD).await.is(303);
        for _ in 0..1600 {
            if steward.open(PAGE).await.ok().body().contains(words) {
                return steward;
            }
            tokio::time::sleep(std::time::Duration::from_millis(25)).await;
        }
        panic!("the page never said {words}")
    };
    let child = ChildServer::start_under(&["env", allowed], data.path());
    said(&child, "It could not be reached.").await;
    assert_eq!(hook.taken(), 0);
    child.kill();
    let trusting = format!("SSL_CERT_FILE={}", certificate.display());
    let child = ChildServer::start_under(&["env", allowed, &trusting], data.path());
    let steward = child.stranger();
    steward.sign_in("runa", PASSWORD).await.is(303);
    steward.submit("/account/reminders/test", &[]).await.is(303);
    said(&child, "It answered 204.").await;
    assert_eq!(hook.taken(), 1);
}

/// TLS begun at once and by STARTTLS, with a name and a password, against a mail server whose certificate the
/// machine trusts by `SSL_CERT_FILE`.
#[tokio::test(flavor = "multi_thread")]
async fn mail_goes_over_tls_begun_at_once_and_after_a_bare_beginning() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let desk = out().await;
    let server = desk.server;
    drop((desk.script, desk.steward));
    let (store, data) = server.stop().await;
    drop(store);
    let data = data.expect("a folder");
    for how in ["full", "start"] {
        let (certificate, post) = standin::secure_post(folder.path(), how);
        let set = [
            format!("SSL_CERT_FILE={}", certificate.display()),
            format!("OVERWINTER_SMTP_PORT={}", post.port),
            format!("OVERWINTER_SMTP_TLS={how}"),
            "OVERWINTER_SMTP_HOST=localhost".to_owned(),
            "OVERWINTER_SMTP_USER=runa".to_owned(),
            "OVERWINTER_SMTP_PASSWORD=marmot".to_owned(),
            "OVERWINTER_MAIL_FROM=overwinter@example.org".to_owned(),
        ];
        let set: Vec<&str> = std::iter::once("env")
            .chain(set.iter().map(String::as_str))
            .collect();
        let child = ChildServer::start_under(&set, data.path());
        let steward = child.stranger();
        steward.sign_in("runa", PASSWORD).await.is(303);
        let fields = [
            ("mail", &*format!("{how}@example.org")),
            ("webhook", ""),
            ("days_ahead", "0"),
        ];
        steward.submit(PAGE, &fields).await.redirects_to(PAGE);
        for _ in 0..1600 {
            // Other things are due in the present, in which the real binary lives, and go the same way.
            if post.taken() > 0 {
                break;
            }
            tokio::time::sleep(std::time::Duration::from_millis(25)).await;
        }
        assert!(
            post.taken() > 0,
            "{how}: {}",
            steward.open(PAGE).await.body()
        );
        child.kill();
    }
}

#[tokio::test]
async fn whatever_is_typed_comes_back_as_it_was() {
    let desk = out().await;
    for field in ["mail", "webhook", "days_ahead"] {
        for value in hostile() {
            let shown = set(&desk, &[(field, &value)]).await;
            if value.trim().is_empty() && field != "days_ahead" {
                shown.is(303);
                continue;
            }
            shown.refused();
            let shown_again = shown.texts("[role=alert]");
            assert!(!shown_again.is_empty(), "{field} {value:?}");
        }
    }
    for path in ["", "/test", "/key", "/retry"] {
        let shown = desk.steward.submit(&format!("{PAGE}{path}"), &[]).await;
        assert!(
            matches!(shown.status.as_u16(), 303 | 422),
            "{path}: {}",
            shown.status
        );
    }
}

#[tokio::test]
async fn a_key_is_shown_once_and_another_address_gets_another() {
    let desk = out().await;
    let first = set(&desk, &[("webhook", "http://127.0.0.1:9/a")]).await;
    assert_eq!(first.ok().header("cache-control"), "no-store");
    let key = first.text("#f-key");
    assert_eq!(key.len(), 64);
    let page = desk.steward.open(PAGE).await;
    assert!(!page.ok().body().contains(&key));
    let sheet = Sheet::of(&page, "main form");
    assert_eq!(sheet.value("webhook"), "http://127.0.0.1:9/a");
    sheet.send(&desk.steward, PAGE).await.redirects_to(PAGE);
    let other = set(&desk, &[("webhook", "http://127.0.0.1:9/b")]).await;
    assert_ne!(other.ok().text("#f-key"), key);
    let renewed = desk.steward.submit("/account/reminders/key", &[]).await;
    assert_ne!(renewed.ok().text("#f-key"), other.text("#f-key"));
}
