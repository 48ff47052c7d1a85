//! How a logger's file is laid out, and reading it by that.

use std::fmt;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::stamp::{Clock, DateOrder};
use super::{Channel, Measurand, ReadAs, Row, Values, table};

/// Cells that stand for no value.
const NONE: [&str; 12] = [
    "", "-", "--", "---", "n/a", "na", "nan", "null", "none", "error", "err", "#n/a",
];

/// The largest part of rows that may be unreadable, in %; a file with more is laid out otherwise than
/// was said (common practice, no source).
const MOST_UNREADABLE_PERCENT: usize = 5;

/// How a file is laid out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Layout {
    /// The name of what parts the cells ([`table::DELIMITERS`]).
    pub delimiter: String,
    /// Lines before the first row of data, the names of the columns among them.
    pub skipped: u32,
    /// The column with the day, from 0.
    pub day_column: u32,
    /// The column with the clock, when it is another one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock_column: Option<u32>,
    /// In which order day, month and year stand.
    pub date_order: DateOrder,
    /// The zone of its clock: `UTC`, an offset or a place.
    pub zone: String,
    /// Whether numbers have a comma before their decimals.
    pub has_decimal_comma: bool,
    /// How each column is read.
    pub columns: Vec<ReadAs>,
}

/// Why a file cannot be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ReadFault {
    /// It is no text.
    NoText,
    /// More rows than [`table::MOST_ROWS`].
    TooManyRows,
    /// More columns than [`table::MOST_COLUMNS`].
    TooManyColumns,
    /// No row holds a moment and a number.
    NoRows,
    /// The zone is not known.
    NoZone,
    /// No column is read.
    NoColumn,
    /// Two columns are read as the same.
    Twice(&'static str),
    /// Too many rows cannot be read: how many of how many, the first one's line and text.
    Unreadable {
        /// How many.
        count: usize,
        /// Of how many.
        of: usize,
        /// The first one's line, from 1.
        line: usize,
        /// The first one's text, cut short.
        text: String,
    },
}

impl fmt::Display for ReadFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoText => f.write_str("This file is no text with rows and columns."),
            Self::TooManyRows => write!(f, "This file has more than {} rows.", table::MOST_ROWS),
            Self::TooManyColumns => {
                write!(f, "This file has more than {} columns.", table::MOST_COLUMNS)
            }
            Self::NoRows => f.write_str("No row of this file holds a moment and a number."),
            Self::NoZone => f.write_str(
                "The time zone must be UTC, an offset such as +01:00, or a place such as Europe/Oslo.",
            ),
            Self::NoColumn => f.write_str("Say of at least one column what it holds."),
            Self::Twice(what) => write!(
                f,
                "Two columns are read as {what}; add the second one as a series of its own."
            ),
            Self::Unreadable {
                count,
                of,
                line,
                text,
            } => write!(
                f,
                "{count} of {of} rows cannot be read so; the first is line {line}: “{text}”."
            ),
        }
    }
}

/// What a file gave.
#[derive(Debug, Clone, PartialEq)]
pub struct Read {
    /// The values, in the order of time.
    pub values: Values,
    /// The columns that were read.
    pub channels: Vec<Channel>,
    /// What was left out, in words.
    pub left_out: Vec<String>,
}

/// What was left out, counted.
#[derive(Debug, Default)]
struct Losses {
    unreadable: usize,
    first: Option<(usize, String)>,
    impossible: usize,
    repeated: usize,
    sorted: bool,
}

impl Layout {
    /// Reads a file's text.
    ///
    /// # Errors
    /// [`ReadFault`].
    pub fn read(&self, text: &str) -> Result<Read, ReadFault> {
        let clock = Clock::parse(&self.zone).ok_or(ReadFault::NoZone)?;
        let delimiter = table::delimiter(&self.delimiter).ok_or(ReadFault::NoText)?;
        let rows = table::rows(text, delimiter)?;
        let used = self.used()?;
        let skipped = usize::try_from(self.skipped).unwrap_or(usize::MAX);
        let mut losses = Losses::default();
        let mut found: Vec<Row> = Vec::new();
        let (mut data, mut names) = (0, None);
        for (number, cells) in rows.enumerate() {
            let cells = cells?;
            if cells.iter().all(String::is_empty) {
                continue;
            }
            if number < skipped {
                names = Some(cells);
                continue;
            }
            data += 1;
            let before = found.last().map(|row: &Row| row.at);
            match self.row(&cells, &used, (clock, before), &mut losses) {
                Some(row) => found.push(row),
                None => {
                    losses.unreadable += 1;
                    losses
                        .first
                        .get_or_insert_with(|| (number + 1, shortened(&cells.join(" "))));
                }
            }
        }
        if let Some((line, text)) = losses.first.clone()
            && losses.unreadable * 100 > data * MOST_UNREADABLE_PERCENT
        {
            return Err(ReadFault::Unreadable {
                count: losses.unreadable,
                of: data,
                line,
                text,
            });
        }
        let rows_kept = in_order(found, &mut losses);
        if rows_kept
            .iter()
            .all(|row| row.values.iter().all(Option::is_none))
        {
            return Err(ReadFault::NoRows);
        }
        Ok(Read {
            values: Values {
                measurands: used.iter().map(|(_, _, measurand)| *measurand).collect(),
                rows: rows_kept,
            },
            channels: channels(&used, names.as_deref()),
            left_out: losses.words(),
        })
    }

    /// The columns that are read: where, how, and what they measure.
    fn used(&self) -> Result<Vec<(usize, ReadAs, Measurand)>, ReadFault> {
        let columns = self.columns.iter().enumerate();
        let used: Vec<(usize, ReadAs, Measurand)> = columns
            .filter_map(|(at, read_as)| Some((at, *read_as, read_as.measurand()?)))
            .collect();
        for (position, (_, _, measurand)) in used.iter().enumerate() {
            let mut before = used.iter().take(position);
            if before.any(|(_, _, other)| other == measurand) {
                return Err(ReadFault::Twice(measurand.label()));
            }
        }
        if used.is_empty() {
            Err(ReadFault::NoColumn)
        } else {
            Ok(used)
        }
    }

    fn row(
        &self,
        cells: &[String],
        used: &[(usize, ReadAs, Measurand)],
        (clock, before): (Clock, Option<DateTime<Utc>>),
        losses: &mut Losses,
    ) -> Option<Row> {
        let cell = |at: u32| usize::try_from(at).ok().and_then(|at| cells.get(at));
        let day = cell(self.day_column)?;
        let stamp = match self.clock_column {
            Some(column) => self.date_order.read(&format!("{day} {}", cell(column)?))?,
            None => self.date_order.read(day)?,
        };
        let at = clock.moment(stamp, before)?;
        let mut values = Vec::with_capacity(used.len());
        for (column, read_as, measurand) in used {
            let text = cells.get(*column).map_or("", String::as_str);
            if NONE.contains(&text.to_lowercase().as_str()) {
                values.push(None);
                continue;
            }
            let value = read_as.to_kept(number(text, self.has_decimal_comma)?);
            let is_possible = measurand.possible().contains(&value);
            losses.impossible += usize::from(!is_possible);
            values.push(is_possible.then_some(value));
        }
        Some(Row { at, values })
    }
}

/// The columns that were read, by the names above them.
fn channels(used: &[(usize, ReadAs, Measurand)], names: Option<&[String]>) -> Vec<Channel> {
    let channel = |(at, read_as, _): &(usize, ReadAs, Measurand)| {
        let name = names.and_then(|names| names.get(*at));
        let name = name.filter(|name| !name.is_empty());
        Channel {
            column: name.map_or_else(|| format!("column {}", at + 1), |name| shortened(name)),
            read_as: *read_as,
        }
    };
    used.iter().map(channel).collect()
}

/// The line with the names of the columns: the last one before the data that is not empty.
#[must_use]
pub fn head(rows: &[Vec<String>], skipped: usize) -> Option<&Vec<String>> {
    let before = rows.get(..skipped.min(rows.len()))?;
    before
        .iter()
        .rev()
        .find(|row| row.iter().any(|cell| !cell.is_empty()))
}

/// Reads a number with the file's decimal mark; a unit behind it is let through (`12.5 °C`).
#[must_use]
pub fn number(text: &str, has_decimal_comma: bool) -> Option<f64> {
    let bare: String = text
        .chars()
        .take_while(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '−' | '+' | 'e' | 'E'))
        .collect();
    let rest = text.get(bare.len()..).unwrap_or_default().trim();
    if rest.chars().any(|c| c.is_ascii_digit()) || rest.chars().count() > 6 {
        return None;
    }
    let bare = bare.replace('−', "-");
    let plain = if has_decimal_comma {
        if bare.contains('.') {
            return None;
        }
        bare.replace(',', ".")
    } else {
        bare
    };
    plain.parse().ok().filter(|value: &f64| value.is_finite())
}

/// In the order of time, each moment once.
fn in_order(mut rows: Vec<Row>, losses: &mut Losses) -> Vec<Row> {
    losses.sorted = !rows.is_sorted_by_key(|row| row.at);
    rows.sort_by_key(|row| row.at);
    let before = rows.len();
    rows.dedup_by_key(|row| row.at);
    losses.repeated = before - rows.len();
    rows
}

fn shortened(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(60).collect()
}

impl Losses {
    fn words(&self) -> Vec<String> {
        let mut words = Vec::new();
        let mut say = |count: usize, what: &str| {
            if count > 0 {
                words.push(format!("{count} {what}"));
            }
        };
        say(self.unreadable, "rows cannot be read and are left out");
        say(
            self.impossible,
            "values are outside what can be and are left out",
        );
        say(
            self.repeated,
            "rows repeat a moment; the first of each is kept",
        );
        if self.sorted {
            words.push("Rows do not stand in the order of time; they were sorted".to_owned());
        }
        words.into_iter().map(|words| format!("{words}.")).collect()
    }
}
