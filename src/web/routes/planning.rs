//! The steward's pages from opening a study to its seal.

use super::{Route, Who, get, post};
use crate::web::{public, steward};

/// The steward's pages from opening a study to its seal.
pub(super) fn rows() -> Vec<Route> {
    use Who::{Signed, StudyReader, StudySteward};
    use steward::{
        allocation_draw, allocation_show, plan_edit, publicity_update, seal_save, seal_show,
        steward_list, study_bring, study_bring_look, study_list, study_new, study_show,
    };
    const STUDY: &str = "/desk/{study}";
    const BRING: &str = "/desk/bring";
    const LOOK: &str = "/desk/bring/{entry}";
    const ALLOCATION: &str = "/desk/{study}/allocation";
    const SEAL: &str = "/desk/{study}/seal";
    const STEWARDS: &str = "/desk/{study}/stewards";
    const PLAN: &str = "/desk/{study}/plan";
    vec![
        get("desk", "/desk", Signed, study_list::show),
        get("study-new", "/desk/new", Signed, study_new::show),
        post("study-open", "/desk/new", Signed, study_new::save),
        get("study-bring", BRING, Signed, study_bring::show),
        post("study-bring-send", BRING, Signed, study_bring::save).upload(),
        get("study-look", LOOK, Signed, study_bring_look::show),
        post("study-look-save", LOOK, Signed, study_bring_look::save),
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
