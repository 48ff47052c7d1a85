//! The part of the form about the stages.

use super::or_default;
use super::rows::{Rows, row_field};
use crate::study::fault::Faults;
use crate::study::plan::Stage;
use crate::study::typed::Typed;
use crate::study::units::whole;

/// Most stages of a plan.
pub(super) const MOST_STAGES: usize = 40;

/// Longest exposure, in days: a hundred years.
const LONGEST_DAYS: u32 = 36_525;

pub(super) fn read(typed: &Typed, faults: &mut Faults) -> Vec<Stage> {
    let rows = Rows::of(typed, &["stage_days", "stage_window"]);
    let mut stages: Vec<Stage> = Vec::new();
    for row in rows.filled(MOST_STAGES, "stages", faults) {
        let days_field = row.field("stage_days");
        let days = whole(
            &days_field,
            "A stage",
            row.text("stage_days"),
            1,
            LONGEST_DAYS,
        );
        let window = row.field("stage_window");
        let typed_window = or_default(row.text("stage_window"), "7");
        let window = whole(&window, "A stage's window", typed_window, 0, 365);
        let (days, window) = (faults.keep(days), faults.keep(window));
        if let (Some(days), Some(window_days)) = (days, window) {
            if stages.last().is_some_and(|last| last.days >= days) {
                let sentence = "The stages must stand in ascending order, none twice.";
                faults.push(days_field, sentence);
            }
            stages.push(Stage { days, window_days });
        }
    }
    if rows.column("stage_days").iter().all(|days| days.is_empty()) {
        let sentence = "Name at least one stage, in days after putting out.";
        faults.push(row_field("stage_days", 0), sentence);
    }
    stages
}
