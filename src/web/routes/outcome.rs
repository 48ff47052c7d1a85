//! A study's analysis, its editions and its journal, for its stewards.

use super::{Route, Who, get, post};
use crate::web::steward::{analysis_show, edition_list, journal_list, literature_list};

/// Rows of the steward's pages about what came of it.
pub(super) fn rows() -> Vec<Route> {
    use Who::StudySteward;
    vec![
        // a study's desk: its journal
        get(
            "journal",
            "/desk/{study}/journal",
            StudySteward,
            journal_list::show,
        ),
        get(
            "analysis",
            "/desk/{study}/analysis",
            StudySteward,
            analysis_show::show,
        ),
        get(
            "literature",
            "/desk/{study}/literature",
            StudySteward,
            literature_list::show,
        ),
        post(
            "literature-save",
            "/desk/{study}/literature",
            StudySteward,
            literature_list::save,
        ),
        get(
            "editions",
            "/desk/{study}/editions",
            StudySteward,
            edition_list::show,
        ),
        post(
            "edition-publish",
            "/desk/{study}/editions",
            StudySteward,
            edition_list::publish,
        ),
        post(
            "edition-withdraw",
            "/desk/{study}/editions/{number}/withdraw",
            StudySteward,
            edition_list::withdraw,
        ),
    ]
}
