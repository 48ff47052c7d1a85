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
    table.extend(pieces());
    table.extend(exposure());
    table
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

/// The steward's pages about pieces: instruments, specimens, the round.
fn pieces() -> Vec<Route> {
    use Who::StudySteward;
    use steward::{
        entry_void, instrument_list, reading_correct, round, specimen_list, specimen_new,
        specimen_print, specimen_reject, specimen_show,
    };
    const INSTRUMENTS: &str = "/desk/{study}/instruments";
    const BATCH: &str = "/desk/{study}/specimens/new";
    const CORRECT: &str = "/desk/{study}/readings/{entry}/correct";
    const VOID: &str = "/desk/{study}/entries/{entry}/void";
    const REJECT: &str = "/desk/{study}/specimens/{code}/reject";
    vec![
        get(
            "instruments",
            INSTRUMENTS,
            StudySteward,
            instrument_list::show,
        ),
        post(
            "instrument-save",
            INSTRUMENTS,
            StudySteward,
            instrument_list::save,
        ),
        get(
            "specimens",
            "/desk/{study}/specimens",
            StudySteward,
            specimen_list::show,
        ),
        get("batch", BATCH, StudySteward, specimen_new::show),
        post("batch-save", BATCH, StudySteward, specimen_new::save),
        get(
            "code-list",
            "/desk/{study}/specimens/print",
            StudySteward,
            specimen_print::show,
        ),
        get(
            "specimen",
            "/desk/{study}/specimens/{code}",
            StudySteward,
            specimen_show::show,
        ),
        post(
            "specimen-reject",
            REJECT,
            StudySteward,
            specimen_reject::save,
        ),
        get("correction", CORRECT, StudySteward, reading_correct::show),
        post(
            "correction-save",
            CORRECT,
            StudySteward,
            reading_correct::save,
        ),
        get("void", VOID, StudySteward, entry_void::show),
        post("void-save", VOID, StudySteward, entry_void::save),
        get("round", "/desk/{study}/round", StudySteward, round::show),
        post(
            "round-save",
            "/desk/{study}/round",
            StudySteward,
            round::save,
        ),
    ]
}

/// The steward's pages about what is out.
fn exposure() -> Vec<Route> {
    use Who::StudySteward;
    use steward::{
        exposure_handle, exposure_in, exposure_incident, exposure_nameless, exposure_out,
        exposure_show, exposure_waive,
    };
    const OUT: &str = "/desk/{study}/exposure/out";
    const WAIVE: &str = "/desk/{study}/exposure/waive";
    const HANDLE: &str = "/desk/{study}/exposure/handle";
    const INCIDENT: &str = "/desk/{study}/exposure/incident";
    const IN: &str = "/desk/{study}/exposure/in";
    const NAMELESS: &str = "/desk/{study}/exposure/nameless";
    vec![
        get(
            "exposure",
            "/desk/{study}/exposure",
            StudySteward,
            exposure_show::show,
        ),
        get("put-out", OUT, StudySteward, exposure_out::show),
        post("put-out-save", OUT, StudySteward, exposure_out::save),
        get("waiver", WAIVE, StudySteward, exposure_waive::show),
        post("waiver-save", WAIVE, StudySteward, exposure_waive::save),
        get("handling", HANDLE, StudySteward, exposure_handle::show),
        post("handling-save", HANDLE, StudySteward, exposure_handle::save),
        get("incident", INCIDENT, StudySteward, exposure_incident::show),
        post(
            "incident-save",
            INCIDENT,
            StudySteward,
            exposure_incident::save,
        ),
        get("take-in", IN, StudySteward, exposure_in::show),
        post("take-in-save", IN, StudySteward, exposure_in::save),
        get("nameless", NAMELESS, StudySteward, exposure_nameless::show),
        post(
            "nameless-save",
            NAMELESS,
            StudySteward,
            exposure_nameless::save,
        ),
    ]
}
