//! Coming and going, one's own account, and the doors for devices and labs.

use super::{Route, Who, get, post};
use crate::web::{assets, health, lab, public, steward, sync};

/// Rows of the house.
pub(super) fn rows() -> Vec<Route> {
    use Who::{Anyone, FirstRun, Signed};
    use steward::{account_show, first_run, password_update, session_end, sign_in};
    vec![
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
        get(
            "waiting",
            "/desk/waiting",
            Signed,
            steward::waiting_show::show,
        ),
        // one door for everything that devices send, and what they say of their queues
        post("entries", "/entries", Anyone, sync::entry_save::save).json(),
        post("sync", "/sync", Signed, sync::greeting_save::save).json(),
        get("sync-pages", "/sync/pages", Signed, sync::page_list::show).json(),
        get("worker", "/sw.js", Anyone, sync::worker::script),
        get(
            "manifest",
            "/manifest.webmanifest",
            Anyone,
            sync::worker::manifest,
        ),
        get("offline", "/offline", Anyone, sync::worker::offline),
        post(
            "set-aside",
            "/sync/set-aside",
            Signed,
            sync::entry_set_aside::save,
        )
        .json(),
        // the lab's door
        get(
            "lab-door",
            "/lab/{link}/enter/{token}",
            Anyone,
            lab::door::enter,
        ),
    ]
}
