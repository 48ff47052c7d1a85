//! The steward's pages about pieces: instruments, specimens, the round, exposure.

use super::{Route, Who, get, post};
use crate::web::steward;

/// The steward's pages about pieces: instruments, specimens, the round.
pub(super) fn rows() -> Vec<Route> {
    use Who::StudySteward;
    use steward::{
        entry_void, instrument_list, reading_correct, round, specimen_list, specimen_new,
        specimen_print, specimen_reject, specimen_show,
    };
    const INSTRUMENTS: &str = "/desk/{study}/instruments";
    const BATCH: &str = "/desk/{study}/specimens/new";
    const CORRECT: &str = "/desk/{study}/readings/{entry}/correct";
    const VOID: &str = "/desk/{study}/entries/{entry}/void";
    const REJECT: &str = "/desk/{study}/specimens/{code}/reject";
    vec![
        get(
            "instruments",
            INSTRUMENTS,
            StudySteward,
            instrument_list::show,
        ),
        post(
            "instrument-save",
            INSTRUMENTS,
            StudySteward,
            instrument_list::save,
        ),
        get(
            "specimens",
            "/desk/{study}/specimens",
            StudySteward,
            specimen_list::show,
        ),
        get("batch", BATCH, StudySteward, specimen_new::show),
        post("batch-save", BATCH, StudySteward, specimen_new::save),
        get(
            "code-list",
            "/desk/{study}/specimens/print",
            StudySteward,
            specimen_print::show,
        ),
        get(
            "specimen",
            "/desk/{study}/specimens/{code}",
            StudySteward,
            specimen_show::show,
        ),
        post(
            "specimen-reject",
            REJECT,
            StudySteward,
            specimen_reject::save,
        ),
        get("correction", CORRECT, StudySteward, reading_correct::show),
        post(
            "correction-save",
            CORRECT,
            StudySteward,
            reading_correct::save,
        ),
        get("void", VOID, StudySteward, entry_void::show),
        post("void-save", VOID, StudySteward, entry_void::save),
        get("round", "/desk/{study}/round", StudySteward, round::show),
        post(
            "round-save",
            "/desk/{study}/round",
            StudySteward,
            round::save,
        ),
    ]
}

/// The steward's pages about what is out.
pub(super) fn exposure() -> Vec<Route> {
    use Who::StudySteward;
    use steward::{
        exposure_handle, exposure_in, exposure_incident, exposure_nameless, exposure_out,
        exposure_show, exposure_waive,
    };
    const OUT: &str = "/desk/{study}/exposure/out";
    const WAIVE: &str = "/desk/{study}/exposure/waive";
    const HANDLE: &str = "/desk/{study}/exposure/handle";
    const INCIDENT: &str = "/desk/{study}/exposure/incident";
    const IN: &str = "/desk/{study}/exposure/in";
    const NAMELESS: &str = "/desk/{study}/exposure/nameless";
    vec![
        get(
            "exposure",
            "/desk/{study}/exposure",
            StudySteward,
            exposure_show::show,
        ),
        get("put-out", OUT, StudySteward, exposure_out::show),
        post("put-out-save", OUT, StudySteward, exposure_out::save),
        get("waiver", WAIVE, StudySteward, exposure_waive::show),
        post("waiver-save", WAIVE, StudySteward, exposure_waive::save),
        get("handling", HANDLE, StudySteward, exposure_handle::show),
        post("handling-save", HANDLE, StudySteward, exposure_handle::save),
        get("incident", INCIDENT, StudySteward, exposure_incident::show),
        post(
            "incident-save",
            INCIDENT,
            StudySteward,
            exposure_incident::save,
        ),
        get("take-in", IN, StudySteward, exposure_in::show),
        post("take-in-save", IN, StudySteward, exposure_in::save),
        get("nameless", NAMELESS, StudySteward, exposure_nameless::show),
        post(
            "nameless-save",
            NAMELESS,
            StudySteward,
            exposure_nameless::save,
        ),
    ]
}
