//! The page that leads to the editions of a study in a folder of plain files. The editions' own pages
//! link to it as to the study's current address.

use crate::report::format::day;
use crate::study::record::EditionRecord;
use askama::Template;

/// An edition in the folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    number: u32,
    day: String,
    is_interim: bool,
}

impl Listed {
    /// As the page names it, with its day in the study's time zone.
    #[must_use]
    pub fn new(edition: &EditionRecord, time_zone: &str) -> Self {
        Self {
            number: edition.number,
            day: day(edition.at, time_zone),
            is_interim: edition.is_interim,
        }
    }
}

#[derive(Template)]
#[template(path = "public/export_study.html")]
struct StudyPage<'a> {
    title: &'a str,
    latest: u32,
    editions: Vec<Listed>,
}

/// The page, the latest edition first; its links are relative and lead to files, so that it works
/// without a server too.
///
/// # Errors
/// When the template cannot be rendered.
pub fn study_page(title: &str, editions: Vec<Listed>) -> Result<String, askama::Error> {
    let latest = editions.first().map_or(0, |edition| edition.number);
    StudyPage {
        title,
        latest,
        editions,
    }
    .render()
}
