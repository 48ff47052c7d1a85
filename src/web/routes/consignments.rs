//! What a steward does with consignments.

use super::{Route, Who, get, post};
use crate::web::steward;

/// Rows of the consignments.
pub(super) fn rows() -> Vec<Route> {
    use Who::StudySteward;
    use steward::{break_test_correct, consignment_list, consignment_new, consignment_print};
    use steward::{consignment_reopen, consignment_show, consignment_unblind};
    use steward::{link_save, parcel_save, parcel_show};
    let arrival = "/desk/{study}/consignments/{id}/arrival";
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
        get("parcel-arrival", arrival, StudySteward, parcel_show::show),
        post(
            "parcel-arrival-save",
            arrival,
            StudySteward,
            parcel_show::save,
        ),
        get(
            "parcel-paper",
            "/desk/{study}/consignments/{id}/equipment/{entry}/paper",
            StudySteward,
            parcel_show::paper,
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
