//! A table of the archive: columns with their kinds and units, rows, and the CSV file of both (RFC 4180).

use chrono::{DateTime, NaiveDate, SecondsFormat, Utc};

use crate::report::download::{CsvFault, inert};

/// What stands in a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Words or a code.
    Text,
    /// A number with a point before the decimals.
    Number,
    /// A whole number.
    Whole,
    /// `yes` or `no`.
    Claim,
    /// A day: `2025-03-04`.
    Day,
    /// A moment in UTC: `2025-03-04T05:06:07Z`.
    Moment,
}

/// A column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Field {
    pub name: String,
    pub kind: Kind,
    /// The unit's symbol; empty without one.
    pub unit: &'static str,
    /// What stands in it, in words.
    pub what: String,
}

/// A column of words.
pub(super) fn text(name: &str, what: &str) -> Field {
    field(name, Kind::Text, "", what)
}

/// A column of any kind.
pub(super) fn field(name: &str, kind: Kind, unit: &'static str, what: &str) -> Field {
    Field {
        name: name.to_owned(),
        kind,
        unit,
        what: what.to_owned(),
    }
}

/// A column as a table's file lists it: name, kind, unit, what stands in it.
pub(super) type Column = (&'static str, Kind, &'static str, &'static str);

/// A column of words in such a list.
pub(super) const fn words(name: &'static str, what: &'static str) -> Column {
    (name, Kind::Text, "", what)
}

/// A column of numbers with their unit.
pub(super) const fn figure(name: &'static str, unit: &'static str, what: &'static str) -> Column {
    (name, Kind::Number, unit, what)
}

/// A column of numbers without decimals.
pub(super) const fn whole(name: &'static str, what: &'static str) -> Column {
    (name, Kind::Whole, "", what)
}

/// A column of `yes` and `no`.
pub(super) const fn claim(name: &'static str, what: &'static str) -> Column {
    (name, Kind::Claim, "", what)
}

/// A column of moments.
pub(super) const fn moment(name: &'static str, what: &'static str) -> Column {
    (name, Kind::Moment, "", what)
}

/// Columns from such a list.
pub(super) fn fields(columns: &[Column]) -> Vec<Field> {
    let one = |(name, kind, unit, what): &Column| field(name, *kind, unit, what);
    columns.iter().map(one).collect()
}

/// What stands in one place.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Cell {
    Text(String),
    Number(f64),
    Whole(i64),
    Claim(bool),
    Day(NaiveDate),
    Moment(DateTime<Utc>),
    /// Nothing, and why: one of the table's own words; empty where the row itself says why.
    Missing(&'static str),
}

impl Cell {
    /// A number, or why there is none.
    pub(super) fn number(value: Option<f64>, why: &'static str) -> Self {
        value.map_or(Self::Missing(why), Self::Number)
    }

    /// Words, or why there are none.
    pub(super) fn words(value: Option<impl Into<String>>, why: &'static str) -> Self {
        let value = value.map(Into::into).filter(|text| !text.is_empty());
        value.map_or(Self::Missing(why), Self::Text)
    }

    /// A moment, or why there is none.
    pub(super) fn moment(value: Option<DateTime<Utc>>, why: &'static str) -> Self {
        value.map_or(Self::Missing(why), Self::Moment)
    }

    /// A count.
    pub(super) fn count(value: impl TryInto<i64>) -> Self {
        Self::Whole(value.try_into().unwrap_or(i64::MAX))
    }

    /// As it stands in the CSV file: numbers in the shortest digits that read back as the same number.
    pub(super) fn written(&self) -> String {
        match self {
            Self::Text(text) => text.clone(),
            Self::Number(value) => value.to_string(),
            Self::Whole(value) => value.to_string(),
            Self::Claim(true) => "yes".to_owned(),
            Self::Claim(false) => "no".to_owned(),
            Self::Day(day) => day.to_string(),
            Self::Moment(at) => at.to_rfc3339_opts(SecondsFormat::AutoSi, true),
            Self::Missing(why) => (*why).to_owned(),
        }
    }

    fn read(kind: Kind, text: &str) -> Self {
        let found = match kind {
            _ if text.is_empty() => Some(Self::Missing("")),
            Kind::Text => None,
            Kind::Number => text.parse().ok().map(Self::Number),
            Kind::Whole => text.parse().ok().map(Self::Whole),
            Kind::Claim => ["no", "yes"]
                .iter()
                .position(|word| *word == text)
                .map(|at| Self::Claim(at == 1)),
            Kind::Day => text.parse().ok().map(Self::Day),
            Kind::Moment => text.parse().ok().map(Self::Moment),
        };
        found.unwrap_or_else(|| Self::Text(text.to_owned()))
    }
}

/// A word that stands where a value is missing, and what it means.
pub(super) type Reason = (&'static str, &'static str);

/// Nothing to say, as the rest of the row shows.
pub(super) const SAID: Reason = ("", "no value; the other columns of the row say why");

/// A table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Table {
    /// Its name, and that of its file.
    pub name: String,
    /// In a few words.
    pub title: String,
    pub fields: Vec<Field>,
    pub rows: Vec<Vec<Cell>>,
    /// What may stand where a value is missing.
    pub missing: Vec<Reason>,
    /// The columns that name a row.
    pub key: Vec<&'static str>,
    /// A column whose values stand in a table's column: (own, table, its column).
    pub refers: Vec<(&'static str, &'static str, &'static str)>,
    /// Whether it also stands in the spreadsheet.
    pub is_for_spreadsheet: bool,
}

impl Table {
    /// An empty table.
    pub(super) fn new(name: &str, title: &str, fields: Vec<Field>) -> Self {
        Self {
            name: name.to_owned(),
            title: title.to_owned(),
            fields,
            rows: Vec::new(),
            missing: vec![SAID],
            key: Vec::new(),
            refers: Vec::new(),
            is_for_spreadsheet: true,
        }
    }

    /// A table that is a CSV file already; `field` says what a column of some name holds.
    pub(super) fn of_csv(
        (name, title): (&str, &str),
        bytes: &[u8],
        field: impl Fn(&str) -> Field,
    ) -> Result<Self, CsvFault> {
        let mut file = csv::Reader::from_reader(bytes);
        let fields: Vec<Field> = file.headers()?.iter().map(field).collect();
        let mut table = Self::new(name, title, fields);
        for record in file.records() {
            let record = record?;
            let cells = table.fields.iter().zip(record.iter());
            let row = cells.map(|(field, text)| Cell::read(field.kind, text));
            table.rows.push(row.collect());
        }
        Ok(table)
    }

    /// Where it stands in the archive.
    pub(super) fn path(&self) -> String {
        format!("data/{}.csv", self.name)
    }

    /// The CSV file: RFC 4180, UTF-8, lines ended by CR LF.
    pub(super) fn to_csv(&self) -> Result<Vec<u8>, CsvFault> {
        let mut writer = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(Vec::new());
        writer.write_record(self.fields.iter().map(|field| field.name.as_str()))?;
        for row in &self.rows {
            let cells = row
                .iter()
                .map(|cell| match (cell, self.is_for_spreadsheet) {
                    (Cell::Text(words), true) => inert(words),
                    _ => cell.written(),
                });
            writer.write_record(cells)?;
        }
        let done = writer.into_inner().map_err(|fault| fault.into_error());
        done.map_err(|fault| csv::Error::from(fault).into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_reads_back_to_the_same_bytes() {
        let given = b"specimen,load_n,when\r\n'=A1,-0.25,2025-03-04\r\n\"b,c\",,\r\n";
        let kind = |name: &str| match name {
            "load_n" => field(name, Kind::Number, "N", ""),
            "when" => field(name, Kind::Day, "", ""),
            _ => text(name, ""),
        };
        let table = Table::of_csv(("t", ""), given, kind).unwrap();
        assert_eq!(table.rows[0][1], Cell::Number(-0.25));
        assert_eq!(table.rows[1][2], Cell::Missing(""));
        assert_eq!(table.to_csv().unwrap(), given);
    }
}
