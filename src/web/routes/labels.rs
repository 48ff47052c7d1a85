//! Labels and marks, for a study's stewards.

use super::{Route, Who, get};
use crate::web::steward::{label_choose, label_list, label_sheet, marks_show};

/// Rows of the labels.
pub(super) fn rows() -> Vec<Route> {
    use Who::StudySteward;
    const CHOOSE: &str = "/desk/{study}/labels";
    const SHEETS: &str = "/desk/{study}/labels/sheets";
    const PAPER: &str = "/desk/{study}/labels/paper.css";
    const LIST: &str = "/desk/{study}/labels/list";
    const FILE: &str = "/desk/{study}/labels/list.csv";
    const MARKS: &str = "/desk/{study}/labels/marks";
    vec![
        get("labels", CHOOSE, StudySteward, label_choose::show),
        get("label-sheets", SHEETS, StudySteward, label_sheet::show),
        get("label-paper", PAPER, StudySteward, label_sheet::paper),
        get("label-list", LIST, StudySteward, label_list::show),
        get("label-file", FILE, StudySteward, label_list::file),
        get("marks", MARKS, StudySteward, marks_show::show),
    ]
}
