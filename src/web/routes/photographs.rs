//! Photographs of pieces, for a study's stewards and their devices.

use super::{Route, Who, get, post};
use crate::web::steward::{holder_show, photograph_list, photograph_new, photograph_show};
use crate::web::sync::photograph_save;

/// Rows of the photographs.
pub(super) fn rows() -> Vec<Route> {
    use Who::{Signed, StudySteward};
    const NEW: &str = "/desk/{study}/specimens/{code}/photographs";
    const ALL: &str = "/desk/{study}/photographs";
    const ONE: &str = "/desk/{study}/photographs/{entry}";
    const HOLDER: &str = "/desk/{study}/holders/{holder}";
    const FILE: &str = "/desk/{study}/photographs/{entry}/{size}";
    vec![
        // one from a device's queue
        post("photographs", "/photographs", Signed, photograph_save::save)
            .json()
            .upload(),
        get("photograph-new", NEW, StudySteward, photograph_new::show),
        post("photograph-keep", NEW, StudySteward, photograph_new::save).upload(),
        get("holder", HOLDER, StudySteward, holder_show::show),
        post("holder-photograph", HOLDER, StudySteward, holder_show::save).upload(),
        get("photograph-list", ALL, StudySteward, photograph_list::show),
        post("photograph-add", ALL, StudySteward, photograph_list::save).upload(),
        get("photograph", ONE, StudySteward, photograph_show::show),
        post("photograph-save", ONE, StudySteward, photograph_show::save),
        get("photograph-file", FILE, StudySteward, photograph_show::file),
    ]
}
