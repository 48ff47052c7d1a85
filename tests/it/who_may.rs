//! Who may do what, on a study that is really there: every route of the table against a visitor, a
//! reader, the steward of another study, the steward, and testers whose link is open, revoked or ended.

use crate::house::half::Half;
use crate::house::{Person, Shown};
use overwinter::commands::demo::HOOKS;
use overwinter::study::entry::Entry;
use overwinter::study::record::StudyRecord;
use overwinter::web::routes::{Answer, Route, Who, table};

/// The route's path with what is really there in its braces.
pub fn filled(route: &Route, record: &StudyRecord, link: &str, token: &str) -> String {
    let consignment = record.consignments[0].id.to_string();
    let piece = &record.consignments[0].pieces[4];
    let named = |part: &str| match part {
        "{study}" => HOOKS.slug.to_owned(),
        "{link}" if route.path.starts_with("/desk") => {
            record.consignments[0].links[0].id.to_string()
        }
        "{link}" => link.to_owned(),
        "{token}" => token.to_owned(),
        "{consignment}" | "{id}" => consignment.clone(),
        "{code}" => record.specimens[0].code.to_string(),
        "{blind}" => piece.blind.to_string(),
        "{entry}" if route.path.contains("equipment") => {
            let mut items = record.equipment.iter();
            let found = items.find(|one| one.equipment.paper.is_some());
            found.expect("an item with a certificate").entry.to_string()
        }
        "{entry}" if route.path.contains("parcel/photographs") => {
            record.consignments[0].custody.photographs[0]
                .entry
                .to_string()
        }
        "{paper}" => "a4.css".to_owned(),
        "{entry}" if route.path.contains("photographs") => record.photographs[0].entry.to_string(),
        "{size}" => "small.jpg".to_owned(),
        "{entry}" if route.path.contains("test") => {
            record.consignments[0].tests[0].entry.to_string()
        }
        "{entry}" => record.readings[0].entry.to_string(),
        "{holder}" => record.plan().unwrap().plan.conditions[0].holders[0]
            .key
            .clone(),
        "{account}" => record.stewards[0].to_string(),
        "{number}" => "1".to_owned(),
        "{hash}" | "{sha256}" | "{curve}" => "none".to_owned(),
        "{place}" => "0".to_owned(),
        "{file}" | "{path}" => "none.txt".to_owned(),
        other => {
            assert!(
                !other.starts_with('{'),
                "{}: say here what stands for {other}",
                route.path
            );
            other.to_owned()
        }
    };
    route
        .path
        .split('/')
        .map(named)
        .collect::<Vec<_>>()
        .join("/")
}

async fn ask(person: &Person, route: &Route, path: &str) -> Shown {
    match route.method.as_str() {
        "GET" => person.open(path).await,
        _ => person.submit(path, &[]).await,
    }
}

/// A stranger's answer where only others are let in.
fn turns_away(route: &Route, shown: &Shown) {
    match (route.who, route.answer) {
        (Who::Signed | Who::StudySteward, Answer::Json) => {
            assert_eq!(shown.status, 401, "{}", route.name)
        }
        (Who::Signed | Who::StudySteward, Answer::Page) => {
            assert_eq!(shown.status, 303, "{}", route.name);
            assert!(
                shown.header("location").starts_with("/sign-in?next="),
                "{}",
                route.name
            );
        }
        (Who::FirstRun | Who::LabLink, _) => assert_eq!(shown.status, 404, "{}", route.name),
        (Who::Token | Who::TesterToken, _) => assert_eq!(shown.status, 401, "{}", route.name),
        (Who::StudyReader | Who::ProgramReader | Who::Anyone, _) => {
            assert!(shown.status.as_u16() < 500, "{}", route.name)
        }
    }
}

/// Signing out would end the person; it has tests of its own.
fn ends_the_session(route: &Route) -> bool {
    ["sign-out", "sessions-end", "password-update"].contains(&route.name)
}

#[tokio::test(flavor = "multi_thread")]
async fn visitors_and_readers_get_what_the_table_says() {
    let half = Half::set_up().await;
    let record = half.record().await;
    let (link, token) = (half.open.0.to_string(), "0".repeat(64));
    for is_public in [false, true] {
        if is_public {
            half.script
                .say(Entry::MadePublic {})
                .await
                .expect("is public");
        }
        for route in table() {
            let visitor = half.server.stranger();
            let shown = ask(&visitor, &route, &filled(&route, &record, &link, &token)).await;
            turns_away(&route, &shown);
            if matches!(route.who, Who::StudyReader | Who::ProgramReader) && !is_public {
                assert_eq!(shown.status, 404, "{} of a private study", route.name);
            }
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_steward_of_another_study_gets_nothing_of_this_one() {
    let half = Half::set_up().await;
    let record = half.record().await;
    let other = half.server.steward("ulf").await;
    let (link, token) = (half.open.0.to_string(), "0".repeat(64));
    for route in table().into_iter().filter(|route| !ends_the_session(route)) {
        let shown = ask(&other, &route, &filled(&route, &record, &link, &token)).await;
        match route.who {
            Who::StudySteward
            | Who::StudyReader
            | Who::ProgramReader
            | Who::LabLink
            | Who::FirstRun => {
                assert_eq!(shown.status, 404, "{}", route.name);
            }
            Who::Token | Who::TesterToken => assert_eq!(shown.status, 401, "{}", route.name),
            Who::Signed | Who::Anyone => assert!(shown.status.as_u16() < 500, "{}", route.name),
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_steward_gets_every_page_of_their_study() {
    let half = Half::set_up().await;
    let record = half.record().await;
    let (link, token) = (half.open.0.to_string(), "0".repeat(64));
    for route in table().into_iter().filter(|route| !ends_the_session(route)) {
        let path = filled(&route, &record, &link, &token);
        let shown = ask(&half.steward, &route, &path).await;
        let status = shown.status.as_u16();
        match (route.who, route.method.as_str()) {
            // Values of a blind consignment are nobody's, so there is nothing to correct yet.
            (Who::StudySteward, _) if route.name.starts_with("break-test-correct") => {
                assert_eq!(status, 404, "{}", route.name);
            }
            // No series is on record yet, so that it has no original file.
            (Who::StudySteward, _) if route.name == "environment-file" => {
                assert_eq!(status, 404, "{}", route.name);
            }
            // A curve is nobody's while its consignment is blind.
            (Who::StudySteward, _) if route.name == "specimen-curve" => {
                assert_eq!(status, 404, "{}", route.name);
            }
            (Who::StudySteward, "GET") => {
                assert!(
                    matches!(status, 200 | 303),
                    "{} {path}: {status}",
                    route.name
                );
            }
            // Nothing is filled in: done where nothing is needed, or shown again with what is missing.
            (Who::StudySteward, _) if path.contains("/editions/1") => {
                assert_eq!(status, 422, "{}", route.name);
            }
            (Who::StudySteward, _) => {
                assert!(
                    matches!(status, 200 | 303 | 409 | 422),
                    "{} {path}: {status}",
                    route.name
                );
            }
            (Who::LabLink | Who::FirstRun | Who::ProgramReader, _) => {
                assert_eq!(status, 404, "{}", route.name);
            }
            (Who::Token | Who::TesterToken, _) => assert_eq!(status, 401, "{}", route.name),
            _ => assert!(status < 500, "{}: {status}", route.name),
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lab_link_opens_its_consignment_and_nothing_else() {
    let half = Half::set_up().await;
    let record = half.record().await;
    let tester = half.tester(&half.open).await;
    let (link, token) = (half.open.0.to_string(), half.open.1.clone());
    let curve = crate::lab_curves::one_sent(&tester, &format!("/lab/{link}")).await;
    for route in table() {
        let path = filled(&route, &record, &link, &token);
        let path = path.replace(&format!("/lab/{link}/curves/none"), &curve);
        let shown = ask(&tester, &route, &path).await;
        let status = shown.status.as_u16();
        match (route.who, route.method.as_str()) {
            (Who::LabLink, "GET") => assert!(
                matches!(status, 200 | 303),
                "{} {path}: {status}",
                route.name
            ),
            (Who::LabLink, _) => assert!(
                matches!(status, 303 | 422),
                "{} {path}: {status}",
                route.name
            ),
            _ => turns_away(&route, &shown),
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_revoked_and_an_ended_link_get_the_same_nothing() {
    let half = Half::set_up().await;
    let record = half.record().await;
    for dead in [&half.revoked, &half.ended] {
        let tester = half.tester(dead).await;
        let (link, token) = (dead.0.to_string(), dead.1.clone());
        for route in table()
            .into_iter()
            .filter(|route| route.who == Who::LabLink)
        {
            let shown = ask(&tester, &route, &filled(&route, &record, &link, &token)).await;
            shown.is(404);
            let never = "01890000-0000-7000-8000-000000000000";
            let nothing = ask(
                &half.server.stranger(),
                &route,
                &filled(&route, &record, never, &token),
            )
            .await;
            assert_eq!(
                shown.bytes, nothing.bytes,
                "{}: the same bytes as for no link",
                route.name
            );
        }
        tester
            .open(&format!("/lab/{link}/enter/{token}"))
            .await
            .is(404);
    }
}
