//! What the lab works with, the parcel as it arrived, and the sheet for the bench, behind a lab link.

use super::{Route, Who, get, post};
use crate::web::lab;

/// Rows of the lab's own record and of its sheet.
pub(super) fn equipment() -> Vec<Route> {
    use Who::LabLink;
    use lab::{equipment_edit, equipment_list, sheet_show};
    let item = "/lab/{link}/equipment/{entry}";
    vec![
        get(
            "lab-equipment",
            "/lab/{link}/equipment",
            LabLink,
            equipment_list::show,
        ),
        get(
            "lab-equipment-new",
            "/lab/{link}/equipment/new",
            LabLink,
            equipment_edit::new,
        ),
        post(
            "lab-equipment-add",
            "/lab/{link}/equipment/new",
            LabLink,
            equipment_edit::add,
        )
        .upload(),
        get("lab-item", item, LabLink, equipment_edit::show),
        post("lab-item-save", item, LabLink, equipment_edit::change_item).upload(),
        get(
            "lab-item-paper",
            "/lab/{link}/equipment/{entry}/paper",
            LabLink,
            equipment_list::paper,
        ),
        get(
            "lab-item-picture",
            "/lab/{link}/equipment/{entry}/picture/{size}",
            LabLink,
            equipment_list::picture,
        ),
        get("lab-sheet", "/lab/{link}/sheet", LabLink, sheet_show::show),
        get(
            "lab-sheet-paper",
            "/lab/{link}/sheet/{paper}",
            LabLink,
            sheet_show::paper,
        ),
    ]
}

/// Rows of the parcel.
pub(super) fn parcel() -> Vec<Route> {
    use Who::LabLink;
    use lab::{parcel_logger, parcel_show};
    let (parcel, logger) = ("/lab/{link}/parcel", "/lab/{link}/parcel/logger");
    vec![
        get("lab-parcel", parcel, LabLink, parcel_show::show),
        post("lab-parcel-save", parcel, LabLink, parcel_show::save),
        post(
            "lab-parcel-settle",
            "/lab/{link}/parcel/settle",
            LabLink,
            parcel_show::settle,
        ),
        post(
            "lab-parcel-photograph",
            "/lab/{link}/parcel/photographs",
            LabLink,
            parcel_show::photograph,
        )
        .upload(),
        get(
            "lab-parcel-picture",
            "/lab/{link}/parcel/photographs/{entry}/{size}",
            LabLink,
            parcel_show::file,
        ),
        post("lab-logger-send", logger, LabLink, parcel_logger::send).upload(),
        get("lab-logger", logger, LabLink, parcel_logger::show),
        post(
            "lab-logger-keep",
            "/lab/{link}/parcel/logger/keep",
            LabLink,
            parcel_logger::save,
        ),
    ]
}
