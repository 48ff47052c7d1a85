//! The first run: guarded by the code on the terminal, possible once.

use crate::house::TestServer;

fn fields<'a>(code: &'a str, password: &'a str) -> [(&'a str, &'a str); 4] {
    [
        ("code", code),
        ("display_name", "Ada K."),
        ("name", "ada"),
        ("password", password),
    ]
}

#[tokio::test]
async fn whoever_has_the_code_makes_the_first_account_and_is_signed_in() {
    let server = TestServer::start().await;
    let ada = server.stranger();
    let home = ada.open("/").await;
    assert_eq!(home.ok().attribute("main a.button", "href"), "/first-run");
    let code = server.app.first_run_code();
    ada.submit("/first-run", &fields(code, "long enough a word"))
        .await
        .redirects_to("/desk");
    assert_eq!(
        ada.open("/").await.text("[role=status]"),
        "Your account is made."
    );
    assert!(ada.open("/account").await.ok().body().contains("Ada K."));
}

#[tokio::test]
async fn a_wrong_code_makes_nothing_and_everything_wrong_is_said_at_once() {
    let server = TestServer::start().await;
    let eve = server.stranger();
    let page = eve
        .submit("/first-run", &fields("WRONGCODE222", "short"))
        .await;
    assert!(page.refused().fault("code").contains("not the code"));
    assert!(page.fault("password").contains("at least 12"));
    assert_eq!(page.attribute("#f-display_name", "value"), "Ada K.");
    assert!(
        page.body()
            .contains(r#"aria-describedby="h-code e-code" autofocus"#)
    );
    assert!(!server.app.store.has_any_account().await.unwrap());
}

#[tokio::test]
async fn guessing_at_the_code_is_slowed() {
    let server = TestServer::start().await;
    let eve = server.stranger();
    for _ in 0..20 {
        eve.submit("/first-run", &fields("WRONGCODE222", "long enough a word"))
            .await
            .refused();
    }
    eve.submit("/first-run", &fields("WRONGCODE222", "long enough a word"))
        .await
        .is(429);
}

#[tokio::test]
async fn after_the_first_account_the_page_is_gone() {
    let server = TestServer::start().await;
    let _ada = server.steward("ada").await;
    let eve = server.stranger();
    eve.open("/first-run").await.is(404);
    let code = server.app.first_run_code();
    eve.submit("/first-run", &fields(code, "long enough a word"))
        .await
        .is(404);
    assert_eq!(eve.open("/").await.texts("a.button").len(), 0);
}

#[tokio::test]
async fn two_at_once_make_one_account() {
    let server = TestServer::start().await;
    let (ada, bob) = (server.stranger(), server.stranger());
    let code = server.app.first_run_code();
    let mut bobs = fields(code, "long enough a word");
    bobs[2] = ("name", "bob");
    let adas = fields(code, "long enough a word");
    let (one, two) = tokio::join!(
        ada.submit("/first-run", &adas),
        bob.submit("/first-run", &bobs)
    );
    let mut statuses = [one.status.as_u16(), two.status.as_u16()];
    statuses.sort_unstable();
    assert_eq!(statuses, [303, 404]);
    assert_eq!(server.app.store.accounts().await.unwrap().len(), 1);
}
