//! The lab's door: the link's token becomes a cookie of that consignment alone; whatever is wrong
//! with a link gives one and the same page.

use crate::house::TestServer;

#[tokio::test]
async fn the_link_gives_a_cookie_for_its_consignment_and_goes_on_without_the_token() {
    let server = TestServer::start().await;
    let (link, token) = (server.app.clock.new_id(), server.app.clock.new_token());
    server
        .app
        .store
        .put_lab_secret(link, &token.sha256())
        .await
        .unwrap();
    let way_in = format!("/lab/{link}/enter/{}", token.reveal());
    for _ in 0..3 {
        let answer = server.stranger().open(&way_in).await;
        answer.redirects_to(&format!("/lab/{link}"));
        let cookie = answer.cookie(&format!("lab-{}", link.simple()));
        assert!(cookie.contains(&format!("Path=/lab/{link};")), "{cookie}");
        assert!(cookie.contains("HttpOnly; SameSite=Lax"), "{cookie}");
        assert_eq!(answer.header("referrer-policy"), "no-referrer");
    }
}

#[tokio::test]
async fn every_wrong_link_gives_the_same_bytes() {
    let server = TestServer::start().await;
    let clock = &server.app.clock;
    let (link, other) = (clock.new_id(), clock.new_id());
    let (token, others) = (clock.new_token(), clock.new_token());
    server
        .app
        .store
        .put_lab_secret(link, &token.sha256())
        .await
        .unwrap();
    server
        .app
        .store
        .put_lab_secret(other, &others.sha256())
        .await
        .unwrap();
    let (token, others, nobodys) = (token.reveal(), others.reveal(), clock.new_token().reveal());
    let wrong = [
        format!("/lab/{link}/enter/{others}"),
        format!("/lab/{link}/enter/{nobodys}"),
        format!("/lab/{}/enter/{token}", clock.new_id()),
        format!("/lab/{link}/enter/short"),
        format!("/lab/nonsense/enter/{token}"),
        format!("/lab/{link}/enter/%FF"),
        format!("/lab/{link}/nothing-here"),
    ];
    let eve = server.stranger();
    let first = eve.open(&wrong[0]).await;
    for path in &wrong {
        let page = eve.open(path).await;
        page.is(404);
        assert_eq!(page.bytes, first.bytes, "{path}");
        let bare = |shown: &crate::house::Shown| {
            let mut headers = shown.headers.clone();
            headers.remove("date");
            headers
        };
        assert_eq!(bare(&page), bare(&first), "{path}");
    }
}
