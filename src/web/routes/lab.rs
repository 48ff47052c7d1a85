//! The tester's face, behind a lab link.

use super::{Route, Who, get, post};
use crate::web::lab;

/// Rows of the tester's face.
pub(super) fn rows() -> Vec<Route> {
    use Who::LabLink;
    use lab::{box_check, consignment_finish, consignment_show, receipt_show, session_edit};
    use lab::{curve_file, curve_keep, curve_list, curve_plot, curve_ready};
    use lab::{grid, grid_store, test_correct, test_save, token_list};
    let test = "/lab/{link}/tests/{blind}";
    let correct = "/lab/{link}/tests/{blind}/correct";
    let ready = "/lab/{link}/curves/keep";
    let (curves, curve) = ("/lab/{link}/curves", "/lab/{link}/curves/{curve}");
    let (original, plot) = (
        "/lab/{link}/curves/{curve}/original",
        "/lab/{link}/curves/{curve}/plots/{place}",
    );
    vec![
        get("lab-curves", curves, LabLink, curve_list::show),
        post("lab-curves-send", curves, LabLink, curve_list::save).upload(),
        get("lab-curves-ready", ready, LabLink, curve_ready::show),
        post("lab-curves-keep", ready, LabLink, curve_ready::keep),
        get("lab-curve", curve, LabLink, curve_file::show),
        post("lab-curve-save", curve, LabLink, curve_keep::save),
        get(
            "lab-curve-original",
            original,
            LabLink,
            curve_file::original,
        ),
        get("lab-curve-plot", plot, LabLink, curve_plot::show),
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
        get("lab-grid", "/lab/{link}/grid", LabLink, grid::show),
        post("lab-grid-look", "/lab/{link}/grid", LabLink, grid::preview).upload(),
        post(
            "lab-grid-store",
            "/lab/{link}/grid/store",
            LabLink,
            grid_store::store,
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
            "lab-tokens",
            "/lab/{link}/tokens",
            LabLink,
            token_list::show,
        ),
        post(
            "lab-token-make",
            "/lab/{link}/tokens",
            LabLink,
            token_list::save,
        ),
        post(
            "lab-token-revoke",
            "/lab/{link}/tokens/revoke",
            LabLink,
            token_list::revoke,
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
