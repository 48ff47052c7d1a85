//! The lab's door: the link's token becomes a cookie of that consignment alone; whatever is wrong
//! with a link gives one and the same page.

use crate::house::TestServer;
use crate::house::ready::{DAYS, Wanted};

#[tokio::test]
async fn the_link_gives_a_cookie_for_its_consignment_and_goes_on_without_the_token() {
    let server = TestServer::start().await;
    let ready = Wanted::small().ready(&server, "ada").await;
    let desk = ready.pack("baseline", &ready.baseline()).await;
    let way_in = ready.link(&desk).await;
    let (link, _) = way_in
        .trim_start_matches("/lab/")
        .split_once('/')
        .expect("a link");
    let record = server
        .app
        .store
        .study_record(&ready.slug)
        .await
        .unwrap()
        .unwrap();
    for _ in 0..3 {
        let answer = server.stranger().open(&way_in).await;
        answer.redirects_to(&format!("/lab/{link}"));
        let cookie = answer.cookie(&format!("lab-{}", link.replace('-', "")));
        assert!(cookie.contains(&format!("Path=/lab/{link};")), "{cookie}");
        assert!(cookie.contains("HttpOnly; SameSite=Lax"), "{cookie}");
        assert_eq!(answer.header("referrer-policy"), "no-referrer");
    }
    let after = server
        .app
        .store
        .study_record(&ready.slug)
        .await
        .unwrap()
        .unwrap();
    assert_eq!(after.head, record.head, "opening it changes nothing");
}

#[tokio::test]
async fn every_wrong_link_gives_the_same_bytes() {
    let server = TestServer::start().await;
    let clock = &server.app.clock;
    let ready = Wanted::small().ready(&server, "ada").await;
    let one = ready.pack("baseline", &ready.baseline()).await;
    let two = ready
        .pack(&format!("stage-{DAYS}"), &ready.of_stage(DAYS))
        .await;
    let (one, two) = (ready.link(&one).await, ready.link(&two).await);
    let part = |way_in: &str, n: usize| way_in.split('/').nth(n).expect("a part").to_owned();
    let (link, token, others) = (part(&one, 2), part(&one, 4), part(&two, 4));
    let nobodys = clock.new_token().reveal();
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
