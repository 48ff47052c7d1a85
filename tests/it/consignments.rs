//! The steward's side of a consignment: packing, its doubts, the sheets, the links, unblinding, and
//! what the desk knows before and after.

use crate::house::ready::{DAYS, Ready, Wanted, at_the_lab};
use crate::house::{PASSWORD, Shown, TestServer};
use chrono::TimeDelta;
use overwinter::study::code::Code;

fn new_page(ready: &Ready) -> String {
    format!("/desk/{}/consignments/new", ready.slug)
}

async fn try_to_pack(ready: &Ready, contents: &str, codes: &[&Code]) -> Shown {
    let entry = ready.script.clock.new_id().to_string();
    let mut fields = vec![
        ("entry", entry.as_str()),
        ("contents", contents),
        ("lab", "Fjord Testing"),
        ("label", "covered"),
    ];
    fields.extend(codes.iter().map(|code| ("piece", code.as_str())));
    ready.person.submit(&new_page(ready), &fields).await
}

#[tokio::test]
async fn a_stage_is_offered_with_its_storage_controls_and_leaving_one_out_is_asked_about() {
    let server = TestServer::start().await;
    let ready = Wanted::small().ready(&server, "ada").await;
    let stage = format!("stage-{DAYS}");
    let page = ready
        .person
        .open(&format!("{}?contents={stage}", new_page(&ready)))
        .await;
    assert_eq!(
        page.ok().texts("input[name=piece][checked]").len(),
        9,
        "all are ticked"
    );
    assert_eq!(page.texts("td .tag"), vec!["storage control"; 3]);
    assert!(page.text(".cautions").contains("Local rules"));
    let all = ready.of_stage(DAYS);
    let without: Vec<&Code> = all
        .iter()
        .copied()
        .filter(|code| ready.condition(code) != Some(0))
        .collect();
    let shown = try_to_pack(&ready, &stage, &without).await;
    shown.refused();
    assert!(
        shown
            .text("#e-confirmed")
            .contains("3 of the 3 storage controls")
    );
    assert_eq!(
        shown.texts("input[name=piece][checked]").len(),
        6,
        "as ticked"
    );
    try_to_pack(&ready, &stage, &all).await.is(303);
    try_to_pack(&ready, &stage, &all).await.refused();
}

#[tokio::test]
async fn a_baseline_before_the_seal_is_asked_about_and_goes_by_itself() {
    let server = TestServer::start().await;
    let unsealed = Wanted {
        is_sealed: false,
        ..Wanted::small()
    };
    let ready = unsealed.ready(&server, "ada").await;
    let shown = try_to_pack(&ready, "baseline", &ready.baseline()).await;
    assert!(
        shown
            .refused()
            .text("#e-confirmed")
            .contains("sealed knowing the baseline values")
    );
    let mut mixed = ready.baseline();
    mixed.extend(ready.of_stage(DAYS).first());
    let shown = try_to_pack(&ready, "baseline", &mixed).await;
    assert!(
        shown
            .refused()
            .text("#e-piece")
            .contains("cannot be packed with these")
    );
}

#[tokio::test]
async fn sending_the_packing_twice_makes_one_consignment_with_one_order() {
    let server = TestServer::start().await;
    let ready = Wanted::small().ready(&server, "ada").await;
    let entry = ready.script.clock.new_id().to_string();
    let stage = format!("stage-{DAYS}");
    let codes = ready.of_stage(DAYS);
    let mut fields = vec![
        ("entry", entry.as_str()),
        ("contents", stage.as_str()),
        ("lab", "Fjord Testing"),
        ("label", "removed"),
    ];
    fields.extend(codes.iter().map(|code| ("piece", code.as_str())));
    for _ in 0..2 {
        let answer = ready.person.submit(&new_page(&ready), &fields).await;
        answer.redirects_to(&format!("/desk/{}/consignments/{entry}", ready.slug));
    }
    let record = server
        .app
        .store
        .study_record(&ready.slug)
        .await
        .unwrap()
        .unwrap();
    assert_eq!(record.consignments.len(), 1);
}

#[tokio::test]
async fn the_sheets_that_travel_hold_no_secret_and_the_key_holds_the_codes() {
    let server = TestServer::start().await;
    let ready = Wanted::small().ready(&server, "ada").await;
    let desk = ready
        .pack(&format!("stage-{DAYS}"), &ready.of_stage(DAYS))
        .await;
    let record = server
        .app
        .store
        .study_record(&ready.slug)
        .await
        .unwrap()
        .unwrap();
    let pieces = &record.consignments[0].pieces;
    let in_order: Vec<String> = pieces.iter().map(|piece| piece.blind.to_string()).collect();
    let packing = ready.person.open(&format!("{desk}/packing")).await;
    assert_eq!(packing.ok().texts("th.code"), in_order);
    let customs = ready.person.open(&format!("{desk}/customs")).await;
    assert!(customs.ok().body().contains("used plastic test pieces"));
    for sheet in [&packing, &customs] {
        let main = sheet.text("main");
        for secret in ready.secrets() {
            assert!(!main.contains(&secret), "{secret}");
        }
        assert!(!main.contains("Bent hooks") && !main.contains("baseline"));
    }
    let key = ready.person.open(&format!("{desk}/key")).await;
    assert!(key.ok().text(".notice.fault").contains("must not travel"));
    let (own, blind) = (key.texts("th.code"), key.texts("td.code"));
    for piece in pieces {
        let row = own
            .iter()
            .position(|code| *code == piece.specimen.to_string());
        assert_eq!(blind[row.expect("its row")], piece.blind.to_string());
    }
}

#[tokio::test]
async fn a_links_address_is_shown_once_and_kept_nowhere() {
    let server = TestServer::start().await;
    let ready = Wanted::small().ready(&server, "ada").await;
    let desk = ready.pack("baseline", &ready.baseline()).await;
    let links = format!("{desk}/links");
    let entry = ready.script.clock.new_id().to_string();
    let wrong = ready
        .person
        .submit(&links, &[("entry", &entry), ("days", "4000")])
        .await;
    assert!(wrong.refused().fault("days").contains("from 1 to 365"));
    assert_eq!(wrong.attribute("#f-days", "value"), "4000");
    let fields = [("entry", entry.as_str()), ("days", "60")];
    let shown = ready.person.submit(&links, &fields).await;
    let url = shown.ok().text("#f-link");
    let token = url.rsplit('/').next().unwrap().to_owned();
    assert_eq!(token.len(), 64, "256 bits");
    assert_eq!(shown.header("cache-control"), "no-store");
    assert!(
        shown
            .headers
            .values()
            .all(|value| !value.to_str().unwrap().contains(&token))
    );
    let again = ready.person.submit(&links, &fields).await;
    assert!(!again.ok().body().contains(&token));
    let page = ready.person.open(&desk).await;
    assert!(!page.ok().body().contains(&token));
    assert_eq!(page.texts("ul.links li").len(), 1, "sent twice, made once");
    server.app.clock.advance(TimeDelta::days(364));
    at_the_lab(
        &server,
        &format!("/lab/{}", url.split_once("/lab/").unwrap().1),
    )
    .await;
}

#[tokio::test]
async fn a_link_lasts_from_the_receipt_on_and_can_be_extended_without_a_new_address() {
    let server = TestServer::start().await;
    let ready = Wanted::small().ready(&server, "ada").await;
    let desk = ready.pack("baseline", &ready.baseline()).await;
    let way_in = ready.link(&desk).await;
    let (tester, path) = at_the_lab(&server, &way_in).await;
    let link = path.trim_start_matches("/lab/").to_owned();
    let entry = ready.script.clock.new_id().to_string();
    let fields = [
        ("entry", entry.as_str()),
        ("state", "received"),
        ("at", "2026-03-02"),
    ];
    ready
        .person
        .submit(&format!("{desk}/parcel"), &fields)
        .await
        .redirects_to(&desk);
    server.app.clock.advance(TimeDelta::days(50));
    ready
        .person
        .sign_in("ada", PASSWORD)
        .await
        .redirects_to("/desk");
    let extend = format!("{desk}/links/{link}/extend");
    for (until, status) in [
        ("2036-01-01", 422),
        ("2026-03-05", 422),
        ("", 422),
        ("2026-06-30", 303),
    ] {
        let entry = ready.script.clock.new_id().to_string();
        let shown = ready
            .person
            .submit(&extend, &[("entry", &entry), ("until", until)])
            .await;
        shown.is(status);
        if status == 422 {
            assert!(!shown.fault("until").is_empty());
        }
    }
    server
        .app
        .clock
        .set(crate::house::server::start_of_tests() + TimeDelta::days(100));
    tester.open(&path).await.ok();
    server
        .app
        .clock
        .set(crate::house::server::start_of_tests() + TimeDelta::days(125));
    tester.open(&path).await.is(404);
}

#[tokio::test]
async fn the_desk_counts_while_blind_and_shows_and_locks_once_unblinded() {
    let server = TestServer::start().await;
    let ready = Wanted::small().ready(&server, "ada").await;
    let desk = ready
        .pack(&format!("stage-{DAYS}"), &ready.of_stage(DAYS))
        .await;
    let way_in = ready.link(&desk).await;
    let (tester, lab) = at_the_lab(&server, &way_in).await;
    let codes = tester.open(&lab).await.texts(".row-head .code");
    let id = || ready.script.clock.new_id().to_string();
    let set_up = [
        ("machine", "frame"),
        ("fixture", "pin"),
        ("unit", "N"),
        ("tested_on", "2026-03-02"),
    ];
    let mut fields = set_up.to_vec();
    let entry = id();
    fields.push(("entry", &entry));
    tester
        .submit(&format!("{lab}/set-up"), &fields)
        .await
        .is(303);
    let entry = id();
    let row = [
        ("entry", entry.as_str()),
        ("load", "317.25"),
        ("outcome", "invalid"),
        ("mode", "grip_slip"),
        ("reason", "the pin wandered"),
    ];
    tester
        .submit(&format!("{lab}/tests/{}", codes[0]), &row)
        .await
        .is(303);
    for page in [
        desk.clone(),
        format!("/desk/{}/consignments", ready.slug),
        format!("{desk}/unblind"),
    ] {
        let body = ready.person.open(&page).await.ok().body();
        assert!(body.contains("1 of 9 tested"), "{page}");
        for value in ["317.25", "the pin wandered", "slipped in the grip"] {
            assert!(!body.contains(value), "{value} on {page}");
        }
    }
    let test = format!("{desk}/tests/{}", codes[0]);
    ready.person.open(&test).await.is(404);
    let unblind = format!("{desk}/unblind");
    let entry = id();
    let bare = ready.person.submit(&unblind, &[("entry", &entry)]).await;
    assert!(bare.refused().fault("reason").contains("not finished"));
    let fields = [
        ("entry", entry.as_str()),
        ("reason", "The lab closes on Friday."),
    ];
    ready
        .person
        .submit(&unblind, &fields)
        .await
        .redirects_to(&desk);
    let shown = ready.person.open(&desk).await;
    assert!(
        shown.ok().body().contains("317.25") && shown.body().contains("The lab closes on Friday.")
    );
    tester.open(&format!("{lab}/set-up")).await.is(409);
    corrected_knowing_the_group(&server, &ready, &desk, &test).await;
}

async fn corrected_knowing_the_group(server: &TestServer, ready: &Ready, desk: &str, test: &str) {
    let page = ready.person.open(test).await;
    let supersedes = page.ok().attribute("[name=supersedes]", "value");
    let entry = ready.script.clock.new_id().to_string();
    let fields = [
        ("entry", entry.as_str()),
        ("supersedes", &supersedes),
        ("load", "317.3"),
        ("outcome", "valid"),
        ("mode", "break"),
        ("reason", "The lab's film shows no slip."),
    ];
    let bare = ready.person.submit(test, &fields[..5]).await;
    assert!(bare.refused().fault("reason").contains("Say why"));
    assert_eq!(bare.attribute("#f-load", "value"), "317.3");
    ready.person.submit(test, &fields).await.redirects_to(desk);
    let record = server
        .app
        .store
        .study_record(&ready.slug)
        .await
        .unwrap()
        .unwrap();
    let last = record.consignments[0].tests.last().unwrap();
    assert!(last.is_knowing_group);
    let shown = ready.person.open(desk).await;
    assert!(
        shown
            .texts(".tag")
            .contains(&"made knowing the group".to_owned())
    );
}
