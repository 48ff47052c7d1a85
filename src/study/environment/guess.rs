//! What a logger's file looks like: a guess that says what it guessed, for a person to put right.

use super::layout::{Layout, ReadFault, head, number};
use super::stamp::DateOrder;
use super::{ReadAs, table};

/// Rows looked at.
const SAMPLE: usize = 400;
/// No moment is longer, in bytes.
const LONGEST_STAMP: usize = 100;
/// Among so many of the first.
const FIRST: usize = 2000;

/// A guess.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Guess {
    /// The layout.
    pub layout: Layout,
    /// What was guessed, and from what.
    pub said: Vec<String>,
    /// What nobody can tell from the file: its days can be read in more than one way.
    pub doubt: Option<String>,
}

/// Looks at a file; `study_zone` is the zone taken when the file names none.
///
/// # Errors
/// [`ReadFault`] when no row holds a moment and a number, whatever parts the cells.
pub fn guess(bytes: &[u8], study_zone: &str) -> Result<Guess, ReadFault> {
    let (text, encoding) = table::text(bytes);
    let mut best: Option<(usize, Found)> = None;
    let mut fault = ReadFault::NoRows;
    for (name, _) in table::DELIMITERS {
        let rows = match table::delimiter(name).map(|byte| table::first(&text, byte, FIRST)) {
            Some(Ok(rows)) => rows,
            Some(Err(why)) => {
                fault = why;
                continue;
            }
            None => continue,
        };
        if let Some(found) = find(name, rows) {
            let score = found.score();
            if best.as_ref().is_none_or(|(other, _)| score > *other) {
                best = Some((score, found));
            }
        }
    }
    let (_, found) = best.ok_or(fault)?;
    Ok(found.guess(encoding, study_zone))
}

/// A way of reading that fits.
struct Found {
    delimiter: &'static str,
    rows: Vec<Vec<String>>,
    skipped: usize,
    day_column: usize,
    clock_column: Option<usize>,
    orders: Vec<DateOrder>,
    has_decimal_comma: bool,
    numbers: Vec<usize>,
}

/// The first row that holds a moment and a number, and what follows from it.
fn find(delimiter: &'static str, rows: Vec<Vec<String>>) -> Option<Found> {
    let skipped = rows.iter().take(200).position(|row| {
        let stamps = row.iter().any(|cell| is_stamp(cell));
        stamps && row.len() > 1
    })?;
    let sample: Vec<&Vec<String>> = rows
        .iter()
        .skip(skipped)
        .filter(|row| row.iter().any(|cell| !cell.is_empty()))
        .take(SAMPLE)
        .collect();
    let first = *sample.first()?;
    let day_column = first.iter().position(|cell| is_stamp(cell))?;
    let next = first.get(day_column + 1).map_or("", String::as_str);
    let clock_column = is_clock(next).then_some(day_column + 1);
    let orders = orders(&sample, day_column);
    let is_value = |at: &usize| *at != day_column && Some(*at) != clock_column;
    let columns: Vec<usize> = (0..first.len()).filter(is_value).collect();
    let read = |comma: bool| -> Vec<usize> {
        let fits = |at: &&usize| {
            let cells = sample.iter().filter_map(|row| row.get(**at));
            let cells: Vec<&String> = cells.filter(|cell| !cell.is_empty()).collect();
            let read = cells.iter().filter(|cell| number(cell, comma).is_some());
            !cells.is_empty() && read.count() * 10 >= cells.len() * 8
        };
        columns.iter().filter(fits).copied().collect()
    };
    let (point, comma) = (read(false), read(true));
    let has_decimal_comma = comma.len() > point.len();
    let numbers = if has_decimal_comma { comma } else { point };
    (!numbers.is_empty() && !orders.is_empty()).then_some(Found {
        delimiter,
        skipped,
        day_column,
        clock_column,
        orders,
        has_decimal_comma,
        numbers,
        rows,
    })
}

fn is_stamp(cell: &str) -> bool {
    let mut orders = DateOrder::ALL.into_iter();
    cell.len() <= LONGEST_STAMP && orders.any(|order| order.read(cell).is_some())
}

fn is_clock(cell: &str) -> bool {
    let has_colon = cell.contains(':') && !cell.contains(['/', '.']) && cell.len() <= 14;
    has_colon
        && DateOrder::YearMonthDay
            .read(&format!("2026-01-01 {cell}"))
            .is_some()
}

/// The orders that read every sampled day, the ones that read them as rising before the others.
fn orders(sample: &[&Vec<String>], column: usize) -> Vec<DateOrder> {
    let read = |order: &DateOrder| -> Option<Vec<_>> {
        let cells = sample.iter().filter_map(|row| row.get(column));
        let stamps: Vec<_> = cells.filter_map(|cell| order.read(cell)).collect();
        let is_most = stamps.len() * 10 >= sample.len() * 9;
        is_most.then(|| stamps.iter().map(|stamp| stamp.local).collect())
    };
    let fits = DateOrder::ALL.into_iter().filter_map(|order| {
        let days: Vec<chrono::NaiveDateTime> = read(&order)?;
        let falls = days
            .windows(2)
            .filter(|pair| pair.first() > pair.last())
            .count();
        let span = days.last().zip(days.first()).map(|(b, a)| (*b - *a).abs());
        Some((falls, span, order))
    });
    let mut fits: Vec<_> = fits.collect();
    fits.sort_by_key(|(falls, span, _)| (*falls, *span));
    let least = fits.first().map(|(falls, _, _)| *falls);
    let kept = fits
        .into_iter()
        .filter(|(falls, _, _)| Some(*falls) == least);
    kept.map(|(_, _, order)| order).collect()
}

impl Found {
    /// More columns that hold numbers are better, then more rows.
    fn score(&self) -> usize {
        self.numbers.len() * FIRST * 10 + self.rows.len()
    }

    fn guess(&self, encoding: &str, study_zone: &str) -> Guess {
        let decimal = if self.has_decimal_comma {
            "comma"
        } else {
            "point"
        };
        let order = self.orders.first().copied();
        let order = order.unwrap_or(DateOrder::YearMonthDay);
        let mut said = vec![
            format!(
                "The text is {encoding}, its cells are parted by the {}, numbers have a decimal {decimal}.",
                self.delimiter,
            ),
            format!(
                "The first row with data is line {}; column {} holds the moment: {}.",
                self.skipped + 1,
                self.day_column + 1,
                order.label()
            ),
        ];
        let others = self.orders.iter().skip(1).map(|order| order.label());
        let others: Vec<&str> = others.collect();
        let others = others.join(" or ");
        let doubt = (!others.is_empty()).then(|| {
            let order = order.label();
            format!("Its days can be read as {order}, and also as {others}.")
        });
        if doubt.is_some() {
            said.push(format!(
                "Its days can also be read as {others}: look whether the period below is the right one."
            ));
        }
        let columns = self.columns(&mut said);
        let (zone, from) = self.zone(study_zone);
        said.push(from);
        Guess {
            layout: Layout {
                delimiter: self.delimiter.to_owned(),
                skipped: u32::try_from(self.skipped).unwrap_or(u32::MAX),
                day_column: u32::try_from(self.day_column).unwrap_or(u32::MAX),
                clock_column: self.clock_column.and_then(|at| u32::try_from(at).ok()),
                date_order: order,
                zone,
                has_decimal_comma: self.has_decimal_comma,
                columns,
            },
            said,
            doubt,
        }
    }

    /// What each column holds; a second one of the same is left out.
    fn columns(&self, said: &mut Vec<String>) -> Vec<ReadAs> {
        let names = head(&self.rows, self.skipped);
        let width = self.rows.get(self.skipped).map_or(0, Vec::len);
        let mut columns = vec![ReadAs::Unused; width];
        for at in &self.numbers {
            let name = names.and_then(|names| names.get(*at));
            let name = name.map_or("", String::as_str);
            let held = read_as(name);
            let is_taken = columns
                .iter()
                .any(|known| known.measurand().is_some() && known.measurand() == held.measurand());
            if let Some(column) = columns.get_mut(*at).filter(|_| !is_taken) {
                *column = held;
                said.push(format!("Column {}, “{name}”: {}.", at + 1, held.label()));
            }
        }
        columns
    }

    /// The zone and where it is from: the moments themselves, the lines above, or the study.
    fn zone(&self, study_zone: &str) -> (String, String) {
        let cell = self
            .rows
            .get(self.skipped)
            .and_then(|row| row.get(self.day_column));
        let order = self.orders.first();
        let stamp = cell.zip(order).and_then(|(cell, order)| order.read(cell));
        if stamp.is_some_and(|stamp| stamp.offset.is_some()) {
            let said = "Each moment says its own offset from UTC.";
            return ("UTC".to_owned(), said.to_owned());
        }
        let above: String = self
            .rows
            .iter()
            .take(self.skipped)
            .flatten()
            .map(|cell| cell.to_uppercase() + " ")
            .collect();
        for mark in ["UTC", "GMT"] {
            if let Some(at) = above.find(mark) {
                let rest = above.get(at + 3..).unwrap_or_default();
                let offset: String = rest
                    .chars()
                    .take_while(|c| c.is_ascii_digit() || matches!(c, '+' | '-' | ':'))
                    .collect();
                let zone = match super::stamp::Clock::parse(&offset) {
                    Some(_) if !offset.is_empty() => offset,
                    _ => "UTC".to_owned(),
                };
                let said = format!("The lines above the data name the zone: {zone}.");
                return (zone, said);
            }
        }
        let said = format!(
            "The file names no time zone: {study_zone} is taken, the study's own, with its clock changes. \
             Many loggers keep winter time all year; then an offset such as +01:00 is right."
        );
        (study_zone.to_owned(), said)
    }
}

/// What a column's name says that it holds.
#[must_use]
pub fn read_as(name: &str) -> ReadAs {
    let low = name.to_lowercase();
    let has = |words: &[&str]| words.iter().any(|word| low.contains(word));
    let is_fahrenheit = has(&["°f", "degf", "deg f", "[f]", "(f)", "_f", "fahrenheit"]);
    let is_celsius = has(&["°c", "degc", "deg c", "[c]", "(c)", "celsius"]);
    if has(&[
        "dew", "taupunkt", "wind", "press", "volt", "batt", "snow", "uv",
    ]) {
        return ReadAs::Unused;
    }
    if has(&["humid", "rh", "r.h", "feucht", "fukt"]) {
        return ReadAs::Percent;
    }
    if has(&["rain", "precip", "niederschlag", "nedbør"]) {
        let is_inch = has(&["inch", "(in)", "[in]", "_in"]);
        return if is_inch {
            ReadAs::RainInch
        } else {
            ReadAs::RainMillimetre
        };
    }
    if has(&[
        "irradiance",
        "radiation",
        "radiant",
        "solar",
        "globalstrahlung",
        "pyrano",
    ]) {
        return if has(&["mj"]) {
            ReadAs::MegajoulePerSquareMetre
        } else if has(&["kwh"]) {
            ReadAs::KilowattHourPerSquareMetre
        } else {
            ReadAs::WattPerSquareMetre
        };
    }
    if has(&["temp", "tmin", "tmax"]) || is_celsius || is_fahrenheit {
        let (low_day, high_day) = (has(&["min", "low"]), has(&["max", "high"]));
        return match (low_day, high_day, is_fahrenheit) {
            (true, false, false) => ReadAs::LowCelsius,
            (true, false, true) => ReadAs::LowFahrenheit,
            (false, true, false) => ReadAs::HighCelsius,
            (false, true, true) => ReadAs::HighFahrenheit,
            (_, _, true) => ReadAs::Fahrenheit,
            (_, _, false) => ReadAs::Celsius,
        };
    }
    ReadAs::Unused
}
