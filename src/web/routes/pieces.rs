//! The steward's pages about pieces: instruments, specimens, the round, exposure.

use super::{Route, Who, get, post};
use crate::web::steward;

/// Instruments and specimens.
pub(super) fn rows() -> Vec<Route> {
    use Who::StudySteward;
    use steward::{
        instrument_check, instrument_list, specimen_curve, specimen_list, specimen_new,
        specimen_print, specimen_reject, specimen_show,
    };
    const INSTRUMENTS: &str = "/desk/{study}/instruments";
    const LIST: &str = "/desk/{study}/specimens";
    const BATCH: &str = "/desk/{study}/specimens/new";
    const PRINT: &str = "/desk/{study}/specimens/print";
    const PIECE: &str = "/desk/{study}/specimens/{code}";
    const CURVE: &str = "/desk/{study}/specimens/{code}/curve.svg";
    const REJECT: &str = "/desk/{study}/specimens/{code}/reject";
    let instruments = [
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
    ];
    let checks = [post(
        "instrument-check",
        "/desk/{study}/instruments/check",
        StudySteward,
        instrument_check::save,
    )];
    let specimens = [
        get("specimens", LIST, StudySteward, specimen_list::show),
        get("batch", BATCH, StudySteward, specimen_new::show),
        post("batch-save", BATCH, StudySteward, specimen_new::save),
        get("code-list", PRINT, StudySteward, specimen_print::show),
        get("specimen", PIECE, StudySteward, specimen_show::show),
        get("specimen-curve", CURVE, StudySteward, specimen_curve::plot),
        post(
            "specimen-reject",
            REJECT,
            StudySteward,
            specimen_reject::save,
        ),
    ];
    instruments
        .into_iter()
        .chain(checks)
        .chain(specimens)
        .collect()
}

/// The round, and mending what it left.
pub(super) fn readings() -> Vec<Route> {
    use Who::StudySteward;
    use steward::{entry_void, reading_correct, round};
    const ROUND: &str = "/desk/{study}/round";
    const CORRECT: &str = "/desk/{study}/readings/{entry}/correct";
    const VOID: &str = "/desk/{study}/entries/{entry}/void";
    vec![
        get("round", ROUND, StudySteward, round::show),
        post("round-save", ROUND, StudySteward, round::save),
        get("correction", CORRECT, StudySteward, reading_correct::show),
        post(
            "correction-save",
            CORRECT,
            StudySteward,
            reading_correct::save,
        ),
        get("void", VOID, StudySteward, entry_void::show),
        post("void-save", VOID, StudySteward, entry_void::save),
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

/// Drying to constant mass.
pub(super) fn drying() -> Vec<Route> {
    use Who::StudySteward;
    use steward::{drying_list, drying_override, drying_show};
    const LIST: &str = "/desk/{study}/drying";
    const PIECE: &str = "/desk/{study}/drying/{code}";
    const TAKE: &str = "/desk/{study}/drying/{code}/take";
    const OVERRIDE: &str = "/desk/{study}/drying/override";
    vec![
        get("drying", LIST, StudySteward, drying_list::show),
        post("drying-save", LIST, StudySteward, drying_list::save),
        get("drying-piece", PIECE, StudySteward, drying_show::show),
        post("dry-mass-take", TAKE, StudySteward, drying_show::take),
        get(
            "drying-override",
            OVERRIDE,
            StudySteward,
            drying_override::show,
        ),
        post(
            "drying-override-save",
            OVERRIDE,
            StudySteward,
            drying_override::save,
        ),
    ]
}

/// The exposure record.
pub(super) fn environment() -> Vec<Route> {
    use Who::StudySteward;
    use steward::{environment_new, environment_read, environment_show, weather_fetch};
    const SHOW: &str = "/desk/{study}/environment";
    const NEW: &str = "/desk/{study}/environment/new";
    const READ: &str = "/desk/{study}/environment/read";
    const FETCH: &str = "/desk/{study}/environment/fetch";
    const FILE: &str = "/desk/{study}/environment/files/{sha256}";
    vec![
        get("environment", SHOW, StudySteward, environment_show::show),
        get(
            "environment-file",
            FILE,
            StudySteward,
            environment_show::file,
        ),
        get("series-new", NEW, StudySteward, environment_new::show),
        post("series-upload", NEW, StudySteward, environment_new::save).upload(),
        get("series-read", READ, StudySteward, environment_read::show),
        post("series-save", READ, StudySteward, environment_read::save),
        get("weather", FETCH, StudySteward, weather_fetch::show),
        post("weather-fetch", FETCH, StudySteward, weather_fetch::save).patient(),
    ]
}
