//! The steward's pages from opening a study to its seal.

use super::{Route, Who, get, post};
use crate::web::steward;

/// The steward's pages from opening a study to its seal.
pub(super) fn rows() -> Vec<Route> {
    use Who::{Signed, StudySteward};
    use steward::plan_edit;
    use steward::{plan_seal, steward_list};
    use steward::{publicity_update, study_list, study_new, study_show};
    const STUDY: &str = "/desk/{study}";
    const PLAN: &str = "/desk/{study}/plan";
    vec![
        get("desk", "/desk", Signed, study_list::show),
        get("study-new", "/desk/new", Signed, study_new::show),
        post("study-open", "/desk/new", Signed, study_new::save),
        get("desk-study", STUDY, StudySteward, study_show::show),
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
        get("seal", "/desk/{study}/seal", StudySteward, plan_seal::show),
        post(
            "seal-save",
            "/desk/{study}/seal",
            StudySteward,
            plan_seal::save,
        ),
        post(
            "witness-note",
            "/desk/{study}/seal/witness",
            StudySteward,
            plan_seal::witness,
        ),
        get(
            "stewards",
            "/desk/{study}/stewards",
            StudySteward,
            steward_list::show,
        ),
        post(
            "steward-invite",
            "/desk/{study}/stewards",
            StudySteward,
            steward_list::save,
        ),
        post(
            "steward-remove",
            "/desk/{study}/stewards/remove",
            StudySteward,
            steward_list::remove,
        ),
    ]
}
