//! A logger's file as it was understood, for every face on which one may be sent: what was guessed
//! stands in a form, is put right there, and read again.

use super::fault::WebFault;
use crate::study::environment::layout::{Layout, Read, ReadFault, head};
use crate::study::environment::stamp::DateOrder;
use crate::study::environment::stuck::stuck;
use crate::study::environment::{ReadAs, Values, table};
use crate::study::fault::Faults;
use crate::study::typed::Typed;
use crate::study::units::whole;
use crate::study::when;

/// Rows shown as they were understood.
const SHOWN: usize = 6;

/// Most lines before the first with data, as the form takes them.
const MOST_ABOVE: usize = 1000;

/// How many doubtful stretches of a series are listed.
const STUCK: usize = 12;

/// A column of the file.
pub(super) struct ColumnLine {
    pub(super) number: usize,
    pub(super) name: String,
    pub(super) sample: String,
}

/// What the selects of the form offer.
pub(super) struct Offered {
    pub(super) delimiters: Vec<(&'static str, &'static str)>,
    pub(super) orders: Vec<(&'static str, &'static str)>,
    pub(super) kinds: Vec<(&'static str, &'static str)>,
}

impl Offered {
    /// All of it.
    pub(super) fn all() -> Self {
        let orders = DateOrder::ALL.map(|order| (order.key(), order.label()));
        Self {
            delimiters: table::DELIMITERS.to_vec(),
            orders: orders.into(),
            kinds: ReadAs::ALL.map(|kind| (kind.key(), kind.label())).into(),
        }
    }
}

/// What came of reading it.
pub(super) struct Look {
    pub(super) period: String,
    pub(super) rows: usize,
    pub(super) step: String,
    pub(super) gaps: usize,
    pub(super) left_out: Vec<String>,
    /// Where a sensor seems to have stuck, in words.
    pub(super) stuck: Vec<String>,
    pub(super) head: Vec<String>,
    pub(super) lines: Vec<Vec<String>>,
}

/// Does what may take a second away from the tasks that answer others.
pub(super) async fn apart<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, WebFault> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(WebFault::ours)
}

/// Puts a layout into the fields of the form.
pub(super) fn fill(form: &mut Typed, layout: &Layout) {
    form.set("delimiter", layout.delimiter.as_str());
    form.set("first_row", (layout.skipped + 1).to_string());
    form.set("day_column", (layout.day_column + 1).to_string());
    let clock = layout.clock_column.map(|column| (column + 1).to_string());
    form.set("clock_column", clock.unwrap_or_default());
    form.set("date_order", layout.date_order.key());
    form.set("zone", layout.zone.as_str());
    let decimal = if layout.has_decimal_comma {
        "comma"
    } else {
        "point"
    };
    form.set("decimal", decimal);
    for column in &layout.columns {
        form.add("column", column.key());
    }
}

/// The usual time from row to row, in words.
pub(super) fn step_words(seconds: u32) -> String {
    match seconds {
        s if s.is_multiple_of(86_400) => format!("{} d", s / 86_400),
        s if s.is_multiple_of(3600) => format!("{} h", s / 3600),
        s if s.is_multiple_of(60) => format!("{} min", s / 60),
        s => format!("{s} s"),
    }
}

/// The columns of the file, and what reading it by the form gives.
pub(super) fn look(
    bytes: &[u8],
    typed: &Typed,
    zone: &str,
) -> (Vec<ColumnLine>, Result<Look, Faults>) {
    let (text, _) = table::text(bytes);
    let delimiter = table::delimiter(typed.text("delimiter")).unwrap_or(b',');
    let first: usize = typed.text("first_row").parse().unwrap_or(1);
    let skipped = first.saturating_sub(1).min(MOST_ABOVE);
    let rows = table::first(&text, delimiter, skipped + 1).unwrap_or_default();
    let names = head(&rows, skipped);
    let sample = rows.get(skipped);
    let cell = |row: Option<&Vec<String>>, at: usize| {
        let cell = row.and_then(|row| row.get(at));
        cell.map_or_else(String::new, |cell| cell.chars().take(40).collect())
    };
    let columns = (0..sample.map_or(0, Vec::len)).map(|at| ColumnLine {
        number: at + 1,
        name: cell(names, at),
        sample: cell(sample, at),
    });
    let read = layout(typed).and_then(|layout| {
        let read = layout.read(&text);
        read.map_err(|fault| Faults::one(field_of(&fault), fault.to_string()))
    });
    (columns.collect(), read.map(|read| shown(&read, zone)))
}

/// The field that a fault is about.
pub(super) fn field_of(fault: &ReadFault) -> &'static str {
    match fault {
        ReadFault::NoZone => "zone",
        ReadFault::NoColumn | ReadFault::Twice(_) => "column",
        ReadFault::Unreadable { .. } | ReadFault::NoRows => "first_row",
        ReadFault::NoText | ReadFault::TooManyRows | ReadFault::TooManyColumns => "delimiter",
    }
}

/// Where a sensor seems to have stuck, in words; the first few.
pub(super) fn stuck_words(values: &Values, zone: &str) -> Vec<String> {
    let found = stuck(values);
    let more = found.len().saturating_sub(STUCK);
    let listed = found.iter().take(STUCK).map(|run| {
        format!(
            "{} {} {} in {} readings in a row, {} to {}",
            run.measurand.label(),
            run.value,
            run.measurand.unit(),
            run.readings,
            when::in_words(run.from, zone),
            when::in_words(run.until, zone)
        )
    });
    let mut words: Vec<String> = listed.collect();
    if more > 0 {
        words.push(format!("and {more} more"));
    }
    words
}

fn shown(read: &Read, zone: &str) -> Look {
    let values = &read.values;
    let words = |at| when::in_words(at, zone);
    let period = values.rows.first().zip(values.rows.last());
    let period = period.map_or_else(String::new, |(first, last)| {
        format!("{} to {}", words(first.at), words(last.at))
    });
    let measurands = values.measurands.iter();
    let names = measurands.map(|m| format!("{}, {}", m.label(), m.unit()));
    let line = |row: &crate::study::environment::Row| {
        let cells = row.values.iter().map(|value| match value {
            Some(value) => format!("{value:.2}"),
            None => "–".to_owned(),
        });
        std::iter::once(words(row.at)).chain(cells).collect()
    };
    Look {
        period,
        rows: values.rows.len(),
        step: step_words(values.step_s()),
        gaps: values.gaps().len(),
        left_out: read.left_out.clone(),
        stuck: stuck_words(values, zone),
        head: std::iter::once("Moment".to_owned()).chain(names).collect(),
        lines: values.rows.iter().take(SHOWN).map(line).collect(),
    }
}

/// Reads the layout from the fields of the form.
///
/// # Errors
/// Every fault of the form.
pub(super) fn layout(typed: &Typed) -> Result<Layout, Faults> {
    let mut faults = Faults::none();
    let delimiter = typed.text("delimiter").to_owned();
    if table::delimiter(&delimiter).is_none() {
        faults.push("delimiter", "Choose what parts the cells.");
    }
    let count = |field: &str, called: &str, most: u32| {
        whole(field, called, typed.text(field), 1, most).map(|n| n - 1)
    };
    let skipped = faults.keep(count("first_row", "The first line with data", 1000));
    let day_column = faults.keep(count("day_column", "The column of the moment", 60));
    let has_clock = typed.has("clock_column");
    let clock = has_clock.then(|| count("clock_column", "The column of the clock", 60));
    let clock_column = clock.map(|clock| faults.keep(clock));
    let order = DateOrder::typed("date_order", "The order of a day", typed.text("date_order"));
    let order = faults.keep(order);
    let columns: Vec<ReadAs> = typed
        .all("column")
        .into_iter()
        .take(table::MOST_COLUMNS)
        .map(|key| ReadAs::parse(key).unwrap_or(ReadAs::Unused))
        .collect();
    let layout = || {
        Some(Layout {
            delimiter,
            skipped: skipped?,
            day_column: day_column?,
            clock_column: match clock_column {
                Some(column) => Some(column?),
                None => None,
            },
            date_order: order?,
            zone: typed.text("zone").to_owned(),
            has_decimal_comma: typed.text("decimal") == "comma",
            columns,
        })
    };
    let layout = layout();
    faults.and_some(layout)
}
