//! The page of an edition stays below 100 kB. When it grows large, the tables of the responses that do not
//! decide go to a page of their own, and the one of every piece too when the figure that decides would have no
//! room; then as many figures are drawn within it as fit, the weightiest first, and the others are shown as
//! files.

use std::mem;

use askama::Template;

use crate::report::figures::Figure;
use crate::report::page::{EditionPage, FigureFile, SetTable};
use crate::report::tables::Table;

/// Most bytes of a page, a little below what is promised.
const MOST_BYTES: usize = 99_000;
/// A page without figures that is larger than this gives tables away.
const ROOM_FOR_TABLES: usize = 70_000;

/// The page that they go to.
pub const TABLES: &str = "tables.html";

/// What has gone to a page of its own.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Apart {
    /// The tables of the responses that do not decide.
    pub tables: bool,
    /// The table of every piece.
    pub pieces: bool,
}

/// The tables that are apart.
#[derive(Debug, Default, Template)]
#[template(path = "public/tables.html")]
struct TablesPage {
    title: String,
    number: u32,
    groups: Vec<SetTable>,
    stages: Vec<Table>,
    secondary: Vec<Table>,
    specimens: Option<Table>,
}

/// The pages as HTML: the edition's own, and the one of its further tables when there is one.
///
/// # Errors
/// When one cannot be drawn, which is a fault of ours.
pub fn fitted(page: &mut EditionPage) -> Result<(String, Option<String>), askama::Error> {
    for figure in page.figures.all_mut() {
        figure.is_inline = false;
    }
    let mut size = page.render()?.len();
    let mut further = TablesPage {
        title: page.title.clone(),
        number: page.number(),
        ..TablesPage::default()
    };
    if size > ROOM_FOR_TABLES && give_away(page, &mut further) {
        size = page.render()?.len();
    }
    let decides = page.figures.all_mut().into_iter().next();
    let decides = decides.map_or(Ok(0), |figure| drawn(figure).map(|svg| svg.len()))?;
    if size + decides > MOST_BYTES && give_pieces_away(page, &mut further) {
        size = page.render()?.len();
    }
    for figure in page.figures.all_mut() {
        // What stood for it, address and description, goes in return.
        let own = drawn(figure)?.len();
        figure.is_inline = size + own <= MOST_BYTES;
        size += if figure.is_inline { own } else { 0 };
    }
    let is_any_apart = page.apart.tables || page.apart.pieces;
    let further = is_any_apart.then(|| further.render()).transpose()?;
    Ok((page.render()?, further))
}

/// The figure as it is drawn within the page.
fn drawn(figure: &Figure) -> Result<String, askama::Error> {
    let chart = &figure.chart;
    FigureFile { chart }.render()
}

/// Takes the tables of all responses but the first off the page; whether there were any.
fn give_away(page: &mut EditionPage, further: &mut TablesPage) -> bool {
    let Some(first) = page.groups.first().map(|set| set.heading.clone()) else {
        return false;
    };
    let (kept, groups): (Vec<SetTable>, Vec<SetTable>) = mem::take(&mut page.groups)
        .into_iter()
        .partition(|set| set.heading == first);
    page.groups = kept;
    let of_others = |tables: &mut Vec<Table>| {
        let (kept, others): (Vec<Table>, Vec<Table>) = mem::take(tables)
            .into_iter()
            .partition(|table| table.caption.starts_with(&first));
        *tables = kept;
        others
    };
    let (stages, secondary) = (of_others(&mut page.stages), of_others(&mut page.secondary));
    page.apart.tables = !(groups.is_empty() && stages.is_empty() && secondary.is_empty());
    for set in &groups {
        stands_apart(page, &format!("#{}", set.id));
    }
    further.groups = groups;
    further.stages = stages;
    further.secondary = secondary;
    page.apart.tables
}

/// Takes the table of every piece off the page; whether there was one.
fn give_pieces_away(page: &mut EditionPage, further: &mut TablesPage) -> bool {
    further.specimens = page.specimens.take();
    page.apart.pieces = further.specimens.is_some();
    if page.apart.pieces {
        stands_apart(page, "#every-piece");
    }
    page.apart.pieces
}

/// Figures name the table behind them: this one has gone to the other page.
fn stands_apart(page: &mut EditionPage, id: &str) {
    for figure in page.figures.all_mut() {
        if figure.behind == id {
            figure.behind.insert_str(0, TABLES);
        }
    }
}
