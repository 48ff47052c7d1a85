//! The moment of an outing as a form gives it: read in the study's zone, and asked about once when it
//! looks like a slip of the pen.

use crate::study::fault::Faults;
use crate::study::outing;
use crate::study::record::StudyRecord;
use crate::study::typed::Typed;
use crate::study::when;
use crate::web::App;
use chrono::{DateTime, Utc};

/// Fields of a fresh form: its entry's id, and now in the study's zone.
pub(super) fn fresh(app: &App, record: &StudyRecord) -> Typed {
    let now = when::field(app.clock.now(), &record.time_zone);
    let entry = crate::web::act::fresh(app);
    Typed::from([("entry", entry.as_str()), ("at", now.as_str())])
}

/// Reads the field `at`.
pub(super) fn moment(
    typed: &Typed,
    record: &StudyRecord,
    faults: &mut Faults,
) -> Option<DateTime<Utc>> {
    let at = when::moment("at", "The time", typed.text("at"), &record.time_zone);
    faults.keep(at)
}

/// Asks about what is doubtful, unless it is confirmed.
pub(super) fn ask(typed: &Typed, doubts: impl IntoIterator<Item = String>, faults: &mut Faults) {
    let doubts: Vec<String> = doubts.into_iter().collect();
    if !doubts.is_empty() && !typed.has("confirmed") {
        faults.push("confirmed", doubts.join(" "));
    }
}

/// A moment that has not come yet.
pub(super) fn ahead(app: &App, at: DateTime<Utc>) -> Option<String> {
    outing::ahead(at, app.clock.now())
}
