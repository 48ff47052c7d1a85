//! The whole table of addresses: what each is called, who may reach it, what answers. The router is
//! built from it and the tests walk it, so that a page without a row does not exist.

mod consignments;
mod due;
mod house;
mod lab;
mod lab_record;
mod labels;
mod machine;
mod outcome;
mod photographs;
mod pieces;
mod planning;
mod public;

use super::App;
use axum::handler::Handler;
use axum::http::Method;
use axum::routing::{MethodFilter, MethodRouter, on};
use std::time::Duration;

/// One address with one method.
pub struct Route {
    /// What the log calls it; paths are never logged, since a lab's path opens its consignment.
    pub name: &'static str,
    /// GET or POST. A GET changes nothing.
    pub method: Method,
    /// As the router reads it: `/studies/{study}`.
    pub path: &'static str,
    /// Who may reach it.
    pub who: Who,
    /// Whether its faults are pages or JSON.
    pub answer: Answer,
    /// The largest body taken, in bytes.
    pub body_limit: usize,
    /// How long it may take before the sender is told to try again.
    pub patience: Duration,
    pub(super) handler: MethodRouter<App>,
}

/// Who may reach a route. Everybody else gets what the comment says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Who {
    /// Everybody.
    Anyone,
    /// Whoever has the code from the terminal, while no account exists; afterwards 404.
    FirstRun,
    /// Anybody signed in; others go to sign-in (JSON: 401).
    Signed,
    /// A steward of the study named by `{study}`; strangers go to sign-in, other stewards get 404.
    StudySteward,
    /// Everybody when the study named by `{study}` is public, otherwise its stewards; others get
    /// 404.
    StudyReader,
    /// The browser that opened the lab link named by `{link}`; everybody else gets the same 404.
    LabLink,
    /// A program with a token of any kind that still opens something; others get 401. No cookie counts.
    Token,
    /// A program with a tester's token; others get 401, with a steward's token 403.
    TesterToken,
    /// Everybody when the study named by `{study}` is public, otherwise a program with a token of one of
    /// its stewards; others get 404. No cookie counts.
    ProgramReader,
}

impl Who {
    /// Whether it is for programs, which show a token and never a cookie.
    pub fn is_for_programs(self) -> bool {
        matches!(self, Self::Token | Self::TesterToken | Self::ProgramReader)
    }
}

/// What a route's faults look like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// An HTML page.
    Page,
    /// A JSON problem.
    Json,
}

/// A form of our largest page, with room to spare.
const BODY_LIMIT: usize = 2 * 1024 * 1024;
/// A photograph or a curve with the form around it.
const UPLOAD_LIMIT: usize = 34 * 1024 * 1024;

impl Route {
    /// Answers faults in JSON.
    pub fn json(mut self) -> Self {
        self.answer = Answer::Json;
        self
    }

    /// Asks another server, which may take its time.
    pub fn patient(mut self) -> Self {
        self.patience = Duration::from_secs(150);
        self
    }

    /// Takes files, and time to send them over a weak line.
    pub fn upload(mut self) -> Self {
        self.body_limit = UPLOAD_LIMIT;
        self.patience = Duration::from_secs(300);
        self
    }
}

fn get<H, T>(name: &'static str, path: &'static str, who: Who, handler: H) -> Route
where
    H: Handler<T, App>,
    T: 'static,
{
    route(name, Method::GET, path, who, on(MethodFilter::GET, handler))
}

fn post<H, T>(name: &'static str, path: &'static str, who: Who, handler: H) -> Route
where
    H: Handler<T, App>,
    T: 'static,
{
    route(
        name,
        Method::POST,
        path,
        who,
        on(MethodFilter::POST, handler),
    )
}

fn route(
    name: &'static str,
    method: Method,
    path: &'static str,
    who: Who,
    handler: MethodRouter<App>,
) -> Route {
    let patience = Duration::from_secs(30);
    let (answer, body_limit) = (Answer::Page, BODY_LIMIT);
    Route {
        name,
        method,
        path,
        who,
        answer,
        body_limit,
        patience,
        handler,
    }
}

/// Every address there is.
pub fn table() -> Vec<Route> {
    [
        house::rows(),
        due::rows(),
        planning::rows(),
        pieces::rows(),
        pieces::readings(),
        pieces::exposure(),
        labels::rows(),
        photographs::rows(),
        pieces::drying(),
        pieces::environment(),
        consignments::rows(),
        outcome::rows(),
        lab::rows(),
        lab_record::equipment(),
        lab_record::parcel(),
        public::rows(),
        machine::rows(),
    ]
    .into_iter()
    .flatten()
    .collect()
}
