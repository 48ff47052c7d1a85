//! The page of an edition stays below 100 kB: as many figures are drawn within it as fit, the weightiest
//! first; the others it shows as files.

use askama::Template;

use crate::report::page::{EditionPage, FigureFile};

/// Most bytes of a page, a little below what is promised.
const MOST_BYTES: usize = 97_000;

/// The page as HTML.
///
/// # Errors
/// When it cannot be drawn, which is a fault of ours.
pub fn fitted(page: &mut EditionPage) -> Result<String, askama::Error> {
    for figure in page.figures.all_mut() {
        figure.is_inline = false;
    }
    let mut size = page.render()?.len();
    for figure in page.figures.all_mut() {
        let drawn = FigureFile {
            chart: &figure.chart,
        };
        // What stood for it, address and description, goes in return.
        let own = drawn.render()?.len();
        figure.is_inline = size + own <= MOST_BYTES;
        size += if figure.is_inline { own } else { 0 };
    }
    page.render()
}
