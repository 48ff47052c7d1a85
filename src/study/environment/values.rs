//! The values of a series, and their form as a file: CSV with the moment in UTC and one column for each
//! measurand; an empty cell is no value.

use chrono::{DateTime, SecondsFormat, Utc};

use super::Measurand;

/// The values of a series, in the order of time.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Values {
    /// What the columns hold.
    pub measurands: Vec<Measurand>,
    /// The rows.
    pub rows: Vec<Row>,
}

/// One moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// When.
    pub at: DateTime<Utc>,
    /// One value for each measurand; `None` where there is none.
    pub values: Vec<Option<f64>>,
}

impl Values {
    /// The file.
    ///
    /// # Errors
    /// When a row cannot be written; writing to memory does not fail.
    pub fn to_bytes(&self) -> Result<Vec<u8>, csv::Error> {
        let mut file = csv::Writer::from_writer(Vec::new());
        let names = self.measurands.iter().map(|measurand| measurand.key());
        file.write_record(std::iter::once("utc").chain(names))?;
        for row in &self.rows {
            let at = row.at.to_rfc3339_opts(SecondsFormat::Secs, true);
            let cells = row.values.iter().map(|value| match value {
                Some(value) => value.to_string(),
                None => String::new(),
            });
            file.write_record(std::iter::once(at).chain(cells))?;
        }
        file.into_inner().map_err(|full| full.into_error().into())
    }

    /// Reads the file back; `None` when it is none of ours.
    #[must_use]
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let mut file = csv::Reader::from_reader(bytes);
        let head = file.headers().ok()?.clone();
        let measurands: Option<Vec<Measurand>> =
            head.iter().skip(1).map(Measurand::parse).collect();
        let mut rows = Vec::new();
        for record in file.records() {
            let record = record.ok()?;
            let at = record.get(0)?.parse().ok()?;
            let value = |cell: &str| match cell {
                "" => Some(None),
                text => text.parse::<f64>().ok().map(Some),
            };
            let values: Option<Vec<Option<f64>>> = record.iter().skip(1).map(value).collect();
            rows.push(Row {
                at,
                values: values?,
            });
        }
        Some(Self {
            measurands: measurands?,
            rows,
        })
    }

    /// The usual time from row to row in seconds: the median; a day for a single row.
    #[must_use]
    pub fn step_s(&self) -> u32 {
        let pairs = self.rows.iter().zip(self.rows.iter().skip(1));
        let mut steps: Vec<i64> = pairs.map(|(a, b)| (b.at - a.at).num_seconds()).collect();
        steps.sort_unstable();
        let median = steps.get(steps.len() / 2).copied().unwrap_or(86_400);
        u32::try_from(median).unwrap_or(u32::MAX).max(1)
    }

    /// Times from row to row that are longer than one and a half steps: nothing is on record there.
    #[must_use]
    pub fn gaps(&self) -> Vec<(DateTime<Utc>, DateTime<Utc>)> {
        let most = i64::from(self.step_s()) * 3 / 2;
        let pairs = self.rows.iter().zip(self.rows.iter().skip(1));
        pairs
            .filter(|(a, b)| (b.at - a.at).num_seconds() > most)
            .map(|(a, b)| (a.at, b.at))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeDelta;

    #[test]
    fn the_file_reads_back_with_its_gaps() {
        let start: DateTime<Utc> = "2026-03-01T00:00:00Z".parse().unwrap();
        let row = |hour: i64, value| Row {
            at: start + TimeDelta::hours(hour),
            values: vec![value, Some(0.1 + 0.2)],
        };
        let values = Values {
            measurands: vec![Measurand::Temperature, Measurand::Rain],
            rows: vec![
                row(0, Some(-1.5)),
                row(1, None),
                row(2, Some(0.0)),
                row(7, None),
            ],
        };
        let bytes = values.to_bytes().unwrap();
        assert_eq!(Values::from_bytes(&bytes), Some(values.clone()));
        assert_eq!(values.step_s(), 3600);
        let hours = |n| start + TimeDelta::hours(n);
        assert_eq!(values.gaps(), [(hours(2), hours(7))]);
        assert_eq!(
            Values::from_bytes(b"utc,hope\n2026-03-01T00:00:00Z,1\n"),
            None
        );
    }
}
