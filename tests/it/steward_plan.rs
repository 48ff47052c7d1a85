//! The steward's way from opening a study to its seal, over HTTP.

use crate::house::{PASSWORD, Person, TestServer};

/// The hidden id of the entry that a page's form would write.
pub fn entry_of(page: &crate::house::Shown) -> String {
    page.attribute("input[name=entry]", "value")
}

async fn opened(server: &TestServer, name: &str) -> Person {
    let steward = server.steward(name).await;
    let page = steward.open("/desk/new").await;
    let entry = entry_of(page.ok());
    let fields = [
        ("entry", entry.as_str()),
        ("title", "Fleece pegs"),
        ("slug", ""),
        ("time_zone", "europe/oslo"),
    ];
    steward
        .submit("/desk/new", &fields)
        .await
        .redirects_to("/desk/fleece-pegs");
    steward
}

#[tokio::test]
async fn a_study_is_opened_once_however_often_it_is_sent_and_leads_to_its_plan() {
    let server = TestServer::start().await;
    let ada = server.steward("ada").await;
    assert_eq!(ada.open("/").await.attribute("main a", "href"), "/desk");
    let desk = ada.open("/desk").await;
    assert_eq!(desk.ok().attribute("main a.button", "href"), "/desk/new");
    let entry = entry_of(&ada.open("/desk/new").await);
    let fields = [
        ("entry", entry.as_str()),
        ("title", "Fleece pegs"),
        ("time_zone", "UTC"),
    ];
    for _ in 0..2 {
        let sent = ada.submit("/desk/new", &fields).await;
        sent.redirects_to("/desk/fleece-pegs");
    }
    assert_eq!(ada.open("/desk").await.texts(".list li").len(), 1);
    let study = ada.open("/desk/fleece-pegs").await;
    let next = study.ok().attribute(".next a.button", "href");
    assert_eq!(next, "/desk/fleece-pegs/plan");
    assert!(study.texts(".steps .done").is_empty());
}

#[tokio::test]
async fn what_is_wrong_about_a_new_study_stands_beside_its_field() {
    let server = TestServer::start().await;
    let ada = opened(&server, "ada").await;
    let again = [("title", "Fleece pegs"), ("time_zone", "UTC")];
    let taken = ada.submit("/desk/new", &again).await;
    assert!(taken.refused().fault("slug").contains("Another study"));
    for (field, value) in [
        ("title", "a\0b"),
        ("slug", "new"),
        ("slug", "a/b"),
        ("time_zone", "Middle Earth"),
        ("title", ""),
    ] {
        let mut fields = vec![("title", "Pegs"), ("slug", "pegs"), ("time_zone", "UTC")];
        fields.retain(|(name, _)| *name != field);
        fields.push((field, value));
        fields.push((field, "second"));
        let shown = ada.submit("/desk/new", &fields).await;
        assert!(!shown.refused().fault(field).is_empty());
        let focus = shown.attribute("[autofocus]", "name");
        assert_eq!(focus, field);
    }
    let bob = server.steward("bob").await;
    bob.open("/desk/fleece-pegs").await.is(404);
    let entry = entry_of(&bob.open("/desk/new").await);
    let fields = [
        ("entry", entry.as_str()),
        ("title", "Fleece pegs"),
        ("time_zone", "UTC"),
    ];
    bob.submit("/desk/new", &fields).await.refused();
    let _ = PASSWORD;
}

#[tokio::test]
async fn a_study_is_private_until_it_is_opened_and_can_be_closed() {
    let server = TestServer::start().await;
    let ada = opened(&server, "ada").await;
    let page = ada.open("/desk/fleece-pegs").await;
    assert_eq!(page.text(".tag"), "private");
    let entry = entry_of(&page);
    ada.submit("/desk/fleece-pegs/make-public", &[("entry", &entry)])
        .await
        .redirects_to("/desk/fleece-pegs");
    let page = ada.open("/desk/fleece-pegs").await;
    assert_eq!(page.text(".tag"), "public");
    let home = server.stranger().open("/").await;
    assert!(home.body().contains("/studies/fleece-pegs"));
    let entry = entry_of(&page);
    ada.submit("/desk/fleece-pegs/make-private", &[("entry", &entry)])
        .await
        .redirects_to("/desk/fleece-pegs");
    let home = server.stranger().open("/").await;
    assert!(!home.body().contains("/studies/fleece-pegs"));
}
