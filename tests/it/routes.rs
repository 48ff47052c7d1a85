//! Who may do what: the table of routes is walked, and every route answers everybody as its `who`
//! says. A route with a `who` that is not judged here fails to compile.

use crate::house::{Person, Shown, TestServer};
use overwinter::web::routes::{Answer, Route, Who, table};
use std::collections::HashSet;

/// The path with something in its braces that names nothing.
fn filled(route: &Route) -> String {
    let path = route.path.replace("{study}", "no-such-study");
    let path = path.replace("{link}", "01890000-0000-7000-8000-000000000000");
    let parts = path
        .split('/')
        .map(|part| if part.starts_with('{') { "none" } else { part });
    parts.collect::<Vec<_>>().join("/")
}

async fn ask(person: &Person, route: &Route) -> Shown {
    match route.method.as_str() {
        "GET" => person.open(&filled(route)).await,
        _ => person.submit(&filled(route), &[]).await,
    }
}

#[tokio::test]
async fn a_stranger_gets_what_the_table_says() {
    let server = TestServer::start().await;
    server.with_account("somebody").await;
    let stranger = server.stranger();
    for route in table() {
        let shown = ask(&stranger, &route).await;
        let status = shown.status.as_u16();
        match (route.who, route.answer) {
            (Who::Anyone, _) => assert!(status < 500, "{}: {status}", route.name),
            (Who::FirstRun | Who::LabLink | Who::StudyReader | Who::ProgramReader, _) => {
                assert_eq!(status, 404, "{}", route.name);
            }
            (Who::Signed | Who::StudySteward, Answer::Json)
            | (Who::Token | Who::TesterToken, _) => {
                assert_eq!(status, 401, "{}", route.name);
            }
            (Who::Signed | Who::StudySteward, Answer::Page) => {
                assert_eq!(status, 303, "{}", route.name);
                let location = shown.header("location");
                assert!(
                    location.starts_with("/sign-in?next=%2F"),
                    "{}: {location}",
                    route.name
                );
            }
        }
    }
}

#[tokio::test]
async fn a_steward_gets_no_study_or_consignment_that_is_not_theirs() {
    let server = TestServer::start().await;
    for route in table() {
        // Signed in afresh for each, since signing out is among them.
        let ada = server.steward(&format!("ada-{}", route.name)).await;
        let status = ask(&ada, &route).await.status.as_u16();
        match route.who {
            Who::StudySteward
            | Who::StudyReader
            | Who::ProgramReader
            | Who::LabLink
            | Who::FirstRun => {
                assert_eq!(status, 404, "{}", route.name);
            }
            // A cookie is no token.
            Who::Token | Who::TesterToken => assert_eq!(status, 401, "{}", route.name),
            // A form is nothing that a JSON door reads.
            Who::Signed if route.answer == Answer::Json => {
                assert!(matches!(status, 200 | 415), "{}: {status}", route.name);
            }
            // Nobody has sent the file that is named here.
            Who::Signed if route.path.contains("{entry}") => {
                assert_eq!(status, 404, "{}", route.name);
            }
            Who::Signed => assert!(
                matches!(status, 200 | 303 | 422),
                "{}: {status}",
                route.name
            ),
            Who::Anyone => assert!(status < 500, "{}: {status}", route.name),
        }
    }
}

#[test]
fn every_route_has_a_name_and_an_address_of_its_own() {
    let mut names = HashSet::new();
    let mut addresses = HashSet::new();
    for route in table() {
        assert!(
            names.insert(route.name),
            "two routes are called {}",
            route.name
        );
        assert!(
            addresses.insert((route.method.clone(), route.path)),
            "{} twice",
            route.path
        );
        assert!(
            // An edition's own address is a folder, so that its relative links work anywhere.
            route.path == "/" || !route.path.ends_with('/') || route.name == "edition",
            "{}",
            route.path
        );
        let names_study = route.path.contains("{study}");
        let needs_study = matches!(
            route.who,
            Who::StudySteward | Who::StudyReader | Who::ProgramReader
        );
        assert!(
            !needs_study || names_study,
            "{} guards a study that it does not name",
            route.name
        );
        assert_eq!(
            route.who.is_for_programs(),
            route.path.starts_with("/api/v1/"),
            "{}",
            route.name
        );
        assert!(
            route.who != Who::LabLink || route.path.starts_with("/lab/{link}"),
            "{}",
            route.name
        );
    }
}

#[tokio::test]
async fn what_is_not_in_the_table_is_not_there() {
    let server = TestServer::start().await;
    let ada = server.steward("ada").await;
    ada.open("/no/such/page").await.is(404);
    ada.open("/account/").await.is(404);
    assert_eq!(
        ada.submit("/account", &[]).await.is(405).text("h1"),
        "Not done"
    );
}
