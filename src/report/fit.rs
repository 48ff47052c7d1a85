//! The page of an edition stays below 100 kB. When it grows large, the tables of the responses that do not
//! decide go to a page of their own; then as many figures are drawn within it as fit, the weightiest first,
//! and the others are shown as files.

use std::mem;

use askama::Template;

use crate::report::page::{EditionPage, FigureFile, SetTable};
use crate::report::tables::Table;

/// Most bytes of a page, a little below what is promised.
const MOST_BYTES: usize = 99_000;
/// A page without figures that is larger than this gives tables away.
const ROOM_FOR_TABLES: usize = 70_000;

/// The page that they go to.
pub const TABLES: &str = "tables.html";

/// The tables of the responses that do not decide.
#[derive(Debug, Template)]
#[template(path = "public/tables.html")]
struct TablesPage {
    title: String,
    number: u32,
    groups: Vec<SetTable>,
    stages: Vec<Table>,
    secondary: Vec<Table>,
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
    let mut further = None;
    if size > ROOM_FOR_TABLES
        && let Some(tables) = give_away(page)
    {
        further = Some(tables.render()?);
        size = page.render()?.len();
    }
    for figure in page.figures.all_mut() {
        let drawn = FigureFile {
            chart: &figure.chart,
        };
        // What stood for it, address and description, goes in return.
        let own = drawn.render()?.len();
        figure.is_inline = size + own <= MOST_BYTES;
        size += if figure.is_inline { own } else { 0 };
    }
    Ok((page.render()?, further))
}

/// Takes the tables of all responses but the first off the page.
fn give_away(page: &mut EditionPage) -> Option<TablesPage> {
    let first = page.groups.first()?.heading.clone();
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
    if groups.is_empty() && stages.is_empty() && secondary.is_empty() {
        return None;
    }
    page.has_more_tables = true;
    for figure in page.figures.all_mut() {
        let id = figure.behind.strip_prefix('#');
        if groups.iter().any(|set| Some(set.id.as_str()) == id) {
            figure.behind.insert_str(0, TABLES);
        }
    }
    Some(TablesPage {
        title: page.title.clone(),
        number: page.number(),
        groups,
        stages,
        secondary,
    })
}
