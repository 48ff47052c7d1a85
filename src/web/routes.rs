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
    use Who::{Anyone, FirstRun, Signed, StudyReader, StudySteward};
    use public::edition_show;
    use steward::{
        account_show, analysis_show, edition_list, first_run, journal_list, password_update,
        session_end, sign_in,
    };
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
        // a study's desk: its journal
        get(
            "journal",
            "/desk/{study}/journal",
            StudySteward,
            journal_list::show,
        ),
        get(
            "analysis",
            "/desk/{study}/analysis",
            StudySteward,
            analysis_show::show,
        ),
        get(
            "editions",
            "/desk/{study}/editions",
            StudySteward,
            edition_list::show,
        ),
        post(
            "edition-publish",
            "/desk/{study}/editions",
            StudySteward,
            edition_list::publish,
        ),
        post(
            "edition-withdraw",
            "/desk/{study}/editions/{number}/withdraw",
            StudySteward,
            edition_list::withdraw,
        ),
        // what everybody may see of a public study
        get(
            "edition",
            "/studies/{study}/editions/{number}/",
            StudyReader,
            edition_show::show,
        ),
        get(
            "edition-file",
            "/studies/{study}/editions/{number}/{file}",
            StudyReader,
            edition_show::file,
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

/// What a steward does with consignments.
fn consignment_routes() -> Vec<Route> {
    use Who::StudySteward;
    use steward::{break_test_correct, consignment_list, consignment_new, consignment_print};
    use steward::{consignment_reopen, consignment_show, consignment_unblind};
    use steward::{link_save, parcel_save};
    let all = "/desk/{study}/consignments";
    let new = "/desk/{study}/consignments/new";
    let one = "/desk/{study}/consignments/{id}";
    let unblind = "/desk/{study}/consignments/{id}/unblind";
    let test = "/desk/{study}/consignments/{id}/tests/{blind}";
    vec![
        get("consignments", all, StudySteward, consignment_list::show),
        get("consignment-new", new, StudySteward, consignment_new::show),
        post("consignment-save", new, StudySteward, consignment_new::save),
        get("consignment", one, StudySteward, consignment_show::show),
        get(
            "consignment-key",
            "/desk/{study}/consignments/{id}/key",
            StudySteward,
            consignment_print::key,
        ),
        get(
            "consignment-packing",
            "/desk/{study}/consignments/{id}/packing",
            StudySteward,
            consignment_print::packing,
        ),
        get(
            "consignment-customs",
            "/desk/{study}/consignments/{id}/customs",
            StudySteward,
            consignment_print::customs,
        ),
        post(
            "parcel-save",
            "/desk/{study}/consignments/{id}/parcel",
            StudySteward,
            parcel_save::save,
        ),
        post(
            "link-issue",
            "/desk/{study}/consignments/{id}/links",
            StudySteward,
            link_save::issue,
        ),
        post(
            "link-extend",
            "/desk/{study}/consignments/{id}/links/{link}/extend",
            StudySteward,
            link_save::extend,
        ),
        post(
            "link-revoke",
            "/desk/{study}/consignments/{id}/links/{link}/revoke",
            StudySteward,
            link_save::revoke,
        ),
        post(
            "consignment-reopen",
            "/desk/{study}/consignments/{id}/reopen",
            StudySteward,
            consignment_reopen::save,
        ),
        get(
            "consignment-unblind",
            unblind,
            StudySteward,
            consignment_unblind::show,
        ),
        post(
            "consignment-unblind-save",
            unblind,
            StudySteward,
            consignment_unblind::save,
        ),
        get(
            "break-test-correct",
            test,
            StudySteward,
            break_test_correct::show,
        ),
        post(
            "break-test-correct-save",
            test,
            StudySteward,
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
    vec![
        get("lab", "/lab/{link}", LabLink, consignment_show::show),
        get("lab-box", "/lab/{link}/box", LabLink, box_check::show),
        post("lab-box-save", "/lab/{link}/box", LabLink, box_check::save),
        get(
            "lab-set-up",
            "/lab/{link}/set-up",
            LabLink,
            session_edit::show,
        ),
        post(
            "lab-set-up-save",
            "/lab/{link}/set-up",
            LabLink,
            session_edit::save,
        ),
        get("lab-test", test, LabLink, test_save::show),
        post("lab-test-save", test, LabLink, test_save::save),
        get("lab-correct", correct, LabLink, test_correct::show),
        post("lab-correct-save", correct, LabLink, test_correct::save),
        get(
            "lab-finish",
            "/lab/{link}/finish",
            LabLink,
            consignment_finish::show,
        ),
        post(
            "lab-finish-save",
            "/lab/{link}/finish",
            LabLink,
            consignment_finish::save,
        ),
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
