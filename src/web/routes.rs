//! The whole table of addresses: what each is called, who may reach it, what answers. The router is
//! built from it and the tests walk it, so that a page without a row does not exist.

use super::{App, assets, health, lab, public, steward, sync};
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
    /// Everybody when the study named by `{study}` is public, otherwise its stewards; others get 404.
    StudyReader,
    /// The browser that opened the lab link named by `{link}`; everybody else gets the same 404.
    LabLink,
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
    use Who::{Anyone, FirstRun, Signed};
    use steward::{account_show, first_run, password_update, session_end, sign_in};
    let mut table = vec![
        // everybody
        get("home", "/", Anyone, public::home::show),
        get("health", "/healthz", Anyone, health::show).json(),
        get("asset", "/static/{hash}/{file}", Anyone, assets::show),
        get("scan", "/s/{code}", Anyone, public::scan::show),
        // coming and going
        get("first-run", "/first-run", FirstRun, first_run::show),
        post("first-run-save", "/first-run", FirstRun, first_run::save),
        get("sign-in", "/sign-in", Anyone, sign_in::show),
        post("sign-in-save", "/sign-in", Anyone, sign_in::save),
        post("sign-out", "/sign-out", Signed, session_end::this_one),
        // one's own account
        get("account", "/account", Signed, account_show::show),
        post(
            "password-update",
            "/account/password",
            Signed,
            password_update::save,
        ),
        post(
            "sessions-end",
            "/account/sessions/end",
            Signed,
            session_end::all,
        ),
        // one door for everything that devices send
        post("entries", "/entries", Anyone, sync::entry_save::save).json(),
        // the lab's door
        get(
            "lab-door",
            "/lab/{link}/enter/{token}",
            Anyone,
            lab::door::enter,
        ),
    ];
    table.extend(consignment_routes());
    table.extend(lab_routes());
    table
}

/// A consignment on its steward's desk.
macro_rules! consignment {
    ($rest:literal) => {
        concat!("/desk/{study}/consignments/{id}", $rest)
    };
}

/// What a steward does with consignments: packing, and the sheets of one.
fn consignment_routes() -> Vec<Route> {
    use Who::StudySteward as Steward;
    use steward::consignment_print::{customs, key, packing};
    use steward::{consignment_list, consignment_new, consignment_show};
    let all = "/desk/{study}/consignments";
    let new = "/desk/{study}/consignments/new";
    let mut routes = vec![
        get("consignments", all, Steward, consignment_list::show),
        get("consignment-new", new, Steward, consignment_new::show),
        post("consignment-save", new, Steward, consignment_new::save),
        get(
            "consignment",
            consignment!(""),
            Steward,
            consignment_show::show,
        ),
        get("consignment-key", consignment!("/key"), Steward, key),
        get(
            "consignment-packing",
            consignment!("/packing"),
            Steward,
            packing,
        ),
        get(
            "consignment-customs",
            consignment!("/customs"),
            Steward,
            customs,
        ),
    ];
    routes.extend(consignment_acts());
    routes
}

/// What happens to one consignment on the desk.
fn consignment_acts() -> Vec<Route> {
    use Who::StudySteward as Steward;
    use steward::{break_test_correct, consignment_reopen, consignment_unblind};
    use steward::{link_save, parcel_save};
    let extend = consignment!("/links/{link}/extend");
    let revoke = consignment!("/links/{link}/revoke");
    let unblind = consignment!("/unblind");
    let test = consignment!("/tests/{blind}");
    vec![
        post(
            "parcel-save",
            consignment!("/parcel"),
            Steward,
            parcel_save::save,
        ),
        post(
            "link-issue",
            consignment!("/links"),
            Steward,
            link_save::issue,
        ),
        post("link-extend", extend, Steward, link_save::extend),
        post("link-revoke", revoke, Steward, link_save::revoke),
        post(
            "consignment-reopen",
            consignment!("/reopen"),
            Steward,
            consignment_reopen::save,
        ),
        get(
            "consignment-unblind",
            unblind,
            Steward,
            consignment_unblind::show,
        ),
        post(
            "consignment-unblind-save",
            unblind,
            Steward,
            consignment_unblind::save,
        ),
        get(
            "break-test-correct",
            test,
            Steward,
            break_test_correct::show,
        ),
        post(
            "break-test-correct-save",
            test,
            Steward,
            break_test_correct::save,
        ),
    ]
}

/// The tester's face, behind a lab link.
fn lab_routes() -> Vec<Route> {
    use Who::LabLink;
    use lab::{box_check, consignment_finish, consignment_show, receipt_show, session_edit};
    use lab::{test_correct, test_save};
    let test = "/lab/{link}/tests/{blind}";
    let correct = "/lab/{link}/tests/{blind}/correct";
    let (set_up, finish) = ("/lab/{link}/set-up", "/lab/{link}/finish");
    vec![
        get("lab", "/lab/{link}", LabLink, consignment_show::show),
        get("lab-box", "/lab/{link}/box", LabLink, box_check::show),
        post("lab-box-save", "/lab/{link}/box", LabLink, box_check::save),
        get("lab-set-up", set_up, LabLink, session_edit::show),
        post("lab-set-up-save", set_up, LabLink, session_edit::save),
        get("lab-test", test, LabLink, test_save::show),
        post("lab-test-save", test, LabLink, test_save::save),
        get("lab-correct", correct, LabLink, test_correct::show),
        post("lab-correct-save", correct, LabLink, test_correct::save),
        get("lab-finish", finish, LabLink, consignment_finish::show),
        post("lab-finish-save", finish, LabLink, consignment_finish::save),
        get(
            "lab-receipt",
            "/lab/{link}/receipt",
            LabLink,
            receipt_show::show,
        ),
        get(
            "lab-receipt-text",
            "/lab/{link}/receipt.txt",
            LabLink,
            receipt_show::text,
        ),
    ]
}
