//! The page of a single file's findings: the same page as an edition's, in one file that needs nothing
//! beside it, without what only a record can tell (seal, journal, allocation, sessions).

use askama::Template;
use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};

use crate::analysis::findings::Findings;
use crate::analysis::names;
use crate::report::edition::STYLE;
use crate::report::figures::figures;
use crate::report::method::{self, Part, part};
use crate::report::page::{FromFile, Source, common};
use crate::study::plan::{Condition, Plan};

/// What a page or a summary says of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileNote {
    /// Its name.
    pub name: String,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// What was read of it, in sentences.
    pub reading: Vec<String>,
    /// Version of the program.
    pub program: String,
}

/// The whole page as HTML, style sheet and figures within.
///
/// # Errors
/// When the page cannot be drawn, which is a fault of ours.
pub fn file_page(
    plan: &Plan,
    findings: &Findings,
    file: &FileNote,
) -> Result<String, askama::Error> {
    let mut figures = figures(plan, findings);
    for figure in figures.all_mut() {
        // There is no file beside the page that could hold it.
        figure.is_inline = true;
    }
    let source = Source::File(FromFile {
        name: file.name.clone(),
        sha256: file.sha256.clone(),
    });
    let mut page = common(plan, findings, figures, source);
    // A style sheet written into the page would pass through the escaping of templates; as an address
    // it does not, and no policy against inline styles has to be loosened for it.
    let style = utf8_percent_encode(STYLE, NON_ALPHANUMERIC);
    page.stylesheet = format!("data:text/css;charset=utf-8,{style}");
    page.method = parts(plan, findings, file);
    page.limits = limits(findings);
    page.program.clone_from(&file.program);
    page.render()
}

/// How it was done, as far as a file tells.
#[must_use]
pub fn parts(plan: &Plan, findings: &Findings, file: &FileNote) -> Vec<Part> {
    let place = |condition: &Condition| method::place(condition);
    let parts = [
        part("The file", file.reading.clone()),
        part(
            "Where they were",
            plan.conditions.iter().map(place).collect(),
        ),
        part("From numbers to words", method::analysis(plan, findings)),
    ];
    parts
        .into_iter()
        .filter(|part| !part.paragraphs.is_empty())
        .collect()
}

/// What the findings do not reach.
#[must_use]
pub fn limits(findings: &Findings) -> Vec<String> {
    let pieces = names::plural(&findings.study.piece_name);
    vec![format!(
        "For the {pieces} in the file, in these places and at these times. Other lots, places and years \
         may differ."
    )]
}
