//! Signing in: the way through, the same words for an unknown name, being slowed, signing out,
//! running out, and an account that is closed.

use crate::house::{PASSWORD, TestServer};
use chrono::TimeDelta;

#[tokio::test]
async fn signing_in_goes_on_to_the_page_that_was_asked_for() {
    let server = TestServer::start().await;
    let ada = server.with_account("ada").await;
    ada.open("/account")
        .await
        .redirects_to("/sign-in?next=%2Faccount");
    let form = ada.open("/sign-in?next=%2Faccount").await;
    assert_eq!(form.ok().attribute("input[name=next]", "value"), "/account");
    let fields = [
        ("name", " Ada "),
        ("password", PASSWORD),
        ("next", "/account"),
    ];
    ada.submit("/sign-in", &fields)
        .await
        .redirects_to("/account");
    let account = ada.open("/account").await;
    assert_eq!(account.ok().text("h1"), "Your account");
    assert_eq!(account.text("nav a.who"), "ada the steward");
}

#[tokio::test]
async fn a_link_to_the_sign_in_page_cannot_lead_elsewhere() {
    let server = TestServer::start().await;
    let ada = server.with_account("ada").await;
    let fields = [
        ("name", "ada"),
        ("password", PASSWORD),
        ("next", "//evil.example/"),
    ];
    ada.submit("/sign-in", &fields).await.redirects_to("/desk");
}

#[tokio::test]
async fn an_unknown_name_and_a_wrong_password_get_the_same_page() {
    let server = TestServer::start().await;
    let somebody = server.with_account("ada").await;
    let wrong = somebody.sign_in("ada", "not the password").await;
    let unknown = somebody.sign_in("eve", "not the password").await;
    assert_eq!(
        wrong.refused().fault("password"),
        "This name and password do not go together."
    );
    assert_eq!(
        wrong.attribute("#f-name", "value"),
        "ada",
        "what was typed stays"
    );
    assert_eq!(
        wrong.attribute("#f-password", "value"),
        "",
        "a password is never shown again"
    );
    assert_eq!(
        wrong.body().replace("value=\"ada\"", "value=\"eve\""),
        unknown.refused().body()
    );
}

#[tokio::test]
async fn guessing_at_a_name_is_slowed_and_says_for_how_long() {
    let server = TestServer::start().await;
    let eve = server.with_account("ada").await;
    for _ in 0..5 {
        eve.sign_in("ada", "a guess at it").await.refused();
    }
    let slowed = eve.sign_in("ada", PASSWORD).await;
    assert_eq!(slowed.is(429).header("retry-after"), "1");
    assert!(
        slowed.text("[role=alert]").contains("too many attempts"),
        "{}",
        slowed.body()
    );
    server.app.clock.advance(TimeDelta::seconds(1));
    eve.sign_in("ada", PASSWORD).await.redirects_to("/desk");
    for _ in 0..5 {
        // The right password wiped the slate.
        eve.sign_in("ada", "a guess at it").await.refused();
    }
}

#[tokio::test]
async fn guessing_at_many_names_from_one_address_is_slowed_too() {
    let server = TestServer::start().await;
    let eve = server.stranger();
    for guess in 0..20 {
        eve.sign_in(&format!("name-{guess}"), "a guess at it")
            .await
            .refused();
    }
    eve.sign_in("another", "a guess at it").await.is(429);
}

#[tokio::test]
async fn signing_out_makes_the_cookie_worthless() {
    let server = TestServer::start().await;
    let ada = server.steward("ada").await;
    let cookie = ada
        .sign_in("ada", PASSWORD)
        .await
        .cookie("session")
        .to_owned();
    let pair = cookie.split(';').next().unwrap();
    let thief = server.stranger();
    let with_cookie = || {
        thief
            .request(reqwest::Method::GET, "/account")
            .header("cookie", pair)
    };
    thief.send(with_cookie()).await.ok();
    ada.submit("/sign-out", &[]).await.redirects_to("/sign-in");
    assert_eq!(
        ada.open("/sign-in").await.text("[role=status]"),
        "You are signed out."
    );
    assert!(
        ada.open("/sign-in").await.texts("[role=status]").is_empty(),
        "said once"
    );
    ada.open("/account").await.is(303);
    thief.send(with_cookie()).await.is(303);
}

#[tokio::test]
async fn a_session_ends_a_month_after_it_was_last_used() {
    let server = TestServer::start().await;
    let ada = server.steward("ada").await;
    server.app.clock.advance(TimeDelta::days(29));
    ada.open("/account").await.ok();
    server.app.clock.advance(TimeDelta::days(29));
    ada.open("/account").await.ok();
    server.app.clock.advance(TimeDelta::days(31));
    ada.open("/account").await.is(303);
}

#[tokio::test]
async fn a_closed_account_loses_its_sessions_and_cannot_sign_in_and_others_keep_theirs() {
    let server = TestServer::start().await;
    let (ada, bob) = (server.steward("ada").await, server.steward("bob").await);
    let account = server.app.store.find_account("ada").await.unwrap().unwrap();
    let now = server.app.clock.now();
    assert!(
        server
            .app
            .store
            .close_account(account.id, now)
            .await
            .unwrap()
    );
    ada.open("/account").await.is(303);
    ada.sign_in("ada", PASSWORD).await.refused();
    bob.open("/account").await.ok();
}

#[tokio::test]
async fn a_session_that_begins_while_its_account_is_closed_signs_nobody_in() {
    let server = TestServer::start().await;
    let _ada = server.with_account("ada").await;
    let (store, clock) = (&server.app.store, &server.app.clock);
    let account = store.find_account("ada").await.unwrap().unwrap();
    store.close_account(account.id, clock.now()).await.unwrap();
    let token = clock.new_token().sha256();
    let late = overwinter::store::NewSession {
        token_sha256: token,
        account: account.id,
        made_at: clock.now(),
        expires_at: clock.now() + TimeDelta::days(1),
        device: "A browser".into(),
    };
    store.begin_session(&late).await.unwrap();
    assert!(
        store
            .find_session(&token, clock.now())
            .await
            .unwrap()
            .is_none()
    );
}
