//! What everybody may see of a public study.

use super::{Route, Who, get};
use crate::web::public::{edition_show, study_show};

/// Rows of the public face.
pub(super) fn rows() -> Vec<Route> {
    use Who::StudyReader;
    vec![
        get("study", "/studies/{study}", StudyReader, study_show::show),
        // what everybody may see of a public study
        get(
            "edition",
            "/studies/{study}/editions/{number}/",
            StudyReader,
            edition_show::show,
        ),
        get(
            "edition-file",
            "/studies/{study}/editions/{number}/{file}",
            StudyReader,
            edition_show::file,
        ),
    ]
}
