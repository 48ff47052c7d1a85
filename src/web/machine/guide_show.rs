//! The page for those who write a program: what there is, and examples that a test runs as they are printed.

use crate::web::page::{Chrome, Page};
use crate::web::routes::{self, Route, Who};
use askama::Template;
use axum::response::IntoResponse;

#[derive(Template)]
#[template(path = "public/api_guide.html")]
struct GuidePage {
    chrome: Chrome,
    addresses: Vec<Address>,
    most: usize,
}

/// An address of the interface, ready to print.
struct Address {
    method: String,
    path: &'static str,
    who: &'static str,
    what: &'static str,
}

/// Shows it.
pub(in crate::web) async fn show(chrome: Chrome) -> impl IntoResponse {
    let routes = routes::table();
    let addresses = routes.iter().filter_map(Address::of);
    Page::of(GuidePage {
        chrome: chrome.titled("For programs"),
        addresses: addresses.collect(),
        most: super::entry_send::MOST,
    })
}

impl Address {
    fn of(route: &Route) -> Option<Self> {
        let who = match route.who {
            Who::Token => "any token",
            Who::TesterToken => "a tester's token",
            Who::ProgramReader => "everybody",
            _ => return None,
        };
        Some(Self {
            method: route.method.to_string(),
            path: route.path,
            who,
            what: super::operations::summary(route.name)?,
        })
    }
}
