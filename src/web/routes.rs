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
    /// Everybody when the study named by `{study}` is public, otherwise its stewards; others get
    /// 404.
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
    let mut table = house();
    table.extend(planning());
    table
}

/// The steward's pages from opening a study to its seal.
fn planning() -> Vec<Route> {
    use Who::{Signed, StudyReader, StudySteward};
    use steward::{
        allocation_draw, allocation_show, plan_edit, publicity_update, seal_save, seal_show,
        steward_list, study_list, study_new, study_show,
    };
    const STUDY: &str = "/desk/{study}";
    const ALLOCATION: &str = "/desk/{study}/allocation";
    const SEAL: &str = "/desk/{study}/seal";
    const STEWARDS: &str = "/desk/{study}/stewards";
    const PLAN: &str = "/desk/{study}/plan";
    vec![
        get("desk", "/desk", Signed, study_list::show),
        get("study-new", "/desk/new", Signed, study_new::show),
        post("study-open", "/desk/new", Signed, study_new::save),
        get("study", STUDY, StudySteward, study_show::show),
        post(
            "make-public",
            "/desk/{study}/make-public",
            StudySteward,
            publicity_update::open,
        ),
        post(
            "make-private",
            "/desk/{study}/make-private",
            StudySteward,
            publicity_update::close,
        ),
        get("plan", PLAN, StudySteward, plan_edit::show),
        post("plan-save", PLAN, StudySteward, plan_edit::save),
        get(
            "allocation",
            ALLOCATION,
            StudySteward,
            allocation_show::show,
        ),
        post("draw", ALLOCATION, StudySteward, allocation_draw::draw),
        post(
            "grouping",
            "/desk/{study}/grouping",
            StudySteward,
            allocation_draw::report,
        ),
        get("seal", SEAL, StudySteward, seal_show::show),
        post("seal-save", SEAL, StudySteward, seal_save::seal),
        post(
            "witness",
            "/desk/{study}/witness",
            StudySteward,
            seal_save::witness,
        ),
        get("stewards", STEWARDS, StudySteward, steward_list::show),
        post(
            "steward-invite",
            STEWARDS,
            StudySteward,
            steward_list::invite,
        ),
        post(
            "steward-remove",
            "/desk/{study}/stewards/remove",
            StudySteward,
            steward_list::remove,
        ),
        get(
            "plan-file",
            "/studies/{study}/plan.json",
            StudyReader,
            public::plan_file::show,
        ),
    ]
}

/// Coming and going, and the doors.
fn house() -> Vec<Route> {
    use Who::{Anyone, FirstRun, Signed, StudySteward};
    use steward::{account_show, first_run, journal_list, password_update, session_end, sign_in};
    vec![
        // everybody
        get("home", "/", Anyone, public::home::show),
        get("health", "/healthz", Anyone, health::show).json(),
        get("asset", "/static/{hash}/{file}", Anyone, assets::show),
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
        // a study's desk: its journal
        get(
            "journal",
            "/desk/{study}/journal",
            StudySteward,
            journal_list::show,
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
    ]
}
