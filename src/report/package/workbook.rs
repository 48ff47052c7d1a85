//! The tables as a spreadsheet (Office Open XML): a sheet each, one heading row, days and moments as ISO text,
//! so that every value reads as in the CSV file.

use chrono::{Datelike, Timelike};
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, Worksheet, XlsxError};

use super::Source;
use super::table::{Cell, Table};
use crate::report::download::inert;
use crate::report::edition::RenderFault;
use crate::report::page::Meta;

/// The whole file.
pub(super) fn workbook(
    source: &Source<'_>,
    tables: &[Table],
    meta: &Meta,
) -> Result<Vec<u8>, RenderFault> {
    write(source, tables, meta).map_err(|cause| RenderFault::Spreadsheet(cause.to_string()))
}

fn write(source: &Source<'_>, tables: &[Table], meta: &Meta) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    let (day, time) = (meta.at.date_naive(), meta.at.time());
    let part = |n: u32| u8::try_from(n).unwrap_or(1);
    let year = u16::try_from(day.year()).unwrap_or(1980);
    // Not the clock's time: the same edition gives the same bytes.
    let made = ExcelDateTime::from_ymd(year, part(day.month()), part(day.day()))?.and_hms(
        u16::try_from(time.hour()).unwrap_or(0),
        part(time.minute()),
        f64::from(time.second()),
    )?;
    let properties = DocProperties::new()
        .set_title(&source.record.title)
        .set_creation_datetime(&made);
    book.set_properties(&properties);
    let head = Format::new().set_bold().set_text_wrap();
    about(book.add_worksheet(), source, tables, meta)?;
    for table in tables.iter().filter(|table| table.is_for_spreadsheet) {
        sheet(book.add_worksheet(), table, &head)?;
    }
    book.save_to_buffer()
}

fn about(
    sheet: &mut Worksheet,
    source: &Source<'_>,
    tables: &[Table],
    meta: &Meta,
) -> Result<(), XlsxError> {
    sheet.set_name("about")?;
    sheet.set_column_width(0, 20)?;
    sheet.set_column_width(1, 90)?;
    let licence = meta.licence.map_or("none given", |licence| licence.name());
    let mut lines = vec![
        ("title", source.record.title.clone()),
        ("question", source.plan.question.clone()),
        ("edition", meta.number.to_string()),
        ("licence", licence.to_owned()),
        (
            "units",
            "the end of a column's name; datapackage.json in data.zip tells each".to_owned(),
        ),
        ("moments", "UTC, as in ISO 8601".to_owned()),
    ];
    let shown = tables.iter().filter(|table| table.is_for_spreadsheet);
    lines.extend(shown.map(|table| (table.name.as_str(), table.title.clone())));
    for (row, (name, words)) in (0..).zip(&lines) {
        sheet.write_string(row, 0, *name)?;
        sheet.write_string(row, 1, words)?;
    }
    Ok(())
}

fn sheet(sheet: &mut Worksheet, table: &Table, head: &Format) -> Result<(), XlsxError> {
    sheet.set_name(&table.name)?;
    sheet.set_freeze_panes(1, 1)?;
    for (column, field) in (0..).zip(&table.fields) {
        sheet.write_string_with_format(0, column, &field.name, head)?;
        sheet.set_column_width(column, 16)?;
    }
    for (row, cells) in (1..).zip(&table.rows) {
        for (column, cell) in (0..).zip(cells) {
            match cell {
                Cell::Number(value) => sheet.write_number(row, column, *value)?,
                // Exact up to 2^53; every count here is far below.
                Cell::Whole(value) => sheet.write_number(row, column, *value as f64)?,
                Cell::Missing("") => continue,
                other => sheet.write_string(row, column, inert(&other.written()))?,
            };
        }
    }
    Ok(())
}
