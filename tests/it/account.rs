//! One's own account: changing the password, seeing and ending one's sessions.

use crate::house::{PASSWORD, TestServer};

const NEW: &str = "another long password";

#[tokio::test]
async fn a_changed_password_ends_every_other_session() {
    let server = TestServer::start().await;
    let desk = server.steward("ada").await;
    let phone = server.stranger();
    phone.sign_in("ada", PASSWORD).await.redirects_to("/desk");
    let fields = [("password", PASSWORD), ("new_password", NEW)];
    desk.submit("/account/password", &fields)
        .await
        .redirects_to("/account");
    assert!(
        desk.open("/account")
            .await
            .ok()
            .text("[role=status]")
            .contains("is changed")
    );
    phone.open("/account").await.is(303);
    phone.sign_in("ada", PASSWORD).await.refused();
    phone.sign_in("ada", NEW).await.redirects_to("/desk");
}

#[tokio::test]
async fn the_present_password_is_asked_for_and_the_new_one_must_be_long() {
    let server = TestServer::start().await;
    let ada = server.steward("ada").await;
    let wrong = [("password", "not my password"), ("new_password", NEW)];
    let page = ada.submit("/account/password", &wrong).await;
    assert_eq!(
        page.refused().fault("password"),
        "This is not your present password."
    );
    let short = [("password", PASSWORD), ("new_password", "short")];
    assert!(
        ada.submit("/account/password", &short)
            .await
            .refused()
            .fault("new_password")
            .len()
            > 9
    );
    server
        .stranger()
        .sign_in("ada", PASSWORD)
        .await
        .redirects_to("/desk");
}

#[tokio::test]
async fn one_sees_ones_own_devices_only_and_can_end_them_all() {
    let server = TestServer::start().await;
    let (ada, _bob) = (server.steward("ada").await, server.steward("bob").await);
    let phone = server.stranger();
    phone.sign_in("ada", PASSWORD).await.redirects_to("/desk");
    let page = ada.open("/account").await;
    assert_eq!(page.ok().texts("tbody tr").len(), 2);
    assert_eq!(page.texts("tbody .tag"), ["this one"]);
    ada.submit("/account/sessions/end", &[])
        .await
        .redirects_to("/sign-in");
    phone.open("/account").await.is(303);
    ada.open("/account").await.is(303);
}

#[tokio::test]
async fn a_stopped_server_lets_its_folder_go() {
    let server = TestServer::start().await;
    let folder = server.app.store.folder().to_owned();
    let hold = overwinter::store::Hold::Alone;
    let held = overwinter::store::Store::open(&folder, hold).await;
    assert!(held.is_err_and(|error| error.to_string().contains("is held by another")));
    let (store, _folder) = server.stop().await;
    store.close().await.unwrap();
    assert!(overwinter::store::Store::open(&folder, hold).await.is_ok());
}
