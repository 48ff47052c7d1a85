//! What everybody may see of a public study.

use super::{Route, Who, get};
use crate::web::public::{edition_show, feed_show, photograph_show, study_show};

/// Rows of the public face.
pub(super) fn rows() -> Vec<Route> {
    use Who::{Anyone, StudyReader};
    vec![
        get("feed", "/feed.atom", Anyone, feed_show::all),
        get(
            "study-feed",
            "/studies/{study}/feed.atom",
            StudyReader,
            feed_show::of_study,
        ),
        get("study", "/studies/{study}", StudyReader, study_show::show),
        // a photograph of the study as a whole, before there are results
        get(
            "study-photograph",
            "/studies/{study}/photographs/{entry}/{size}",
            StudyReader,
            photograph_show::show,
        ),
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
