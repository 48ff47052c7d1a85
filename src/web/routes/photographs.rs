//! Photographs of pieces, for a study's stewards.

use super::{Route, Who, get, post};
use crate::web::steward::{photograph_new, photograph_show};

/// Rows of the photographs.
pub(super) fn rows() -> Vec<Route> {
    use Who::StudySteward;
    const NEW: &str = "/desk/{study}/specimens/{code}/photographs";
    const ONE: &str = "/desk/{study}/photographs/{entry}";
    const FILE: &str = "/desk/{study}/photographs/{entry}/{size}";
    vec![
        get("photograph-new", NEW, StudySteward, photograph_new::show),
        post("photograph-keep", NEW, StudySteward, photograph_new::save).upload(),
        get("photograph", ONE, StudySteward, photograph_show::show),
        post("photograph-save", ONE, StudySteward, photograph_show::save),
        get("photograph-file", FILE, StudySteward, photograph_show::file),
    ]
}
