//! What pieces lived through: for the exact time that each was out, from the series of its holder, or of
//! its condition where the holder has none. Gaps stay gaps: every figure is of what is on record, with
//! its completeness beside it.

mod dose;
mod timeline;

pub use dose::{Dose, Spread, Temperatures, Total};
pub use timeline::{Sample, Timeline};

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::custody::Handling;
use crate::study::environment::{Measurand, SeriesPlace, Values};
use crate::study::ids::EntryId;
use crate::study::record::{EventKind, SeriesRecord, Standing, StudyRecord};
use crate::study::when;

/// The values of every series that counts, by the series' entry.
pub type SeriesValues = BTreeMap<EntryId, Values>;

/// Temperature above which hours are counted unless somebody asks for another, °C: below the softening
/// of every usual plastic, above what shade reaches in temperate places (common practice, no source).
pub const HOT_CELSIUS: f64 = 30.0;

/// Some time in one holder.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stay {
    /// The condition's key.
    pub condition: String,
    /// The holder's key.
    pub holder: String,
    /// From.
    pub from: DateTime<Utc>,
    /// Until; now, for a piece that is still out.
    pub until: DateTime<Utc>,
}

/// Where a piece was while it was out, from the journal's events.
#[must_use]
pub fn stays(record: &StudyRecord, code: &Code, now: DateTime<Utc>) -> Vec<Stay> {
    let Some(piece) = record.specimen(code) else {
        return Vec::new();
    };
    let Some(Place::Exposed {
        condition, holder, ..
    }) = &piece.place
    else {
        return Vec::new();
    };
    let mut events: Vec<_> = record
        .events
        .iter()
        .filter(|event| event.specimen == *code && event.standing == Standing::Current)
        .collect();
    events.sort_by_key(|event| event.at);
    let allocated = record.draws.last().and_then(|draw| {
        let mut rows = draw.drawn.rows.iter();
        match &rows.find(|row| row.specimen == *code)?.place {
            Place::Exposed { holder, .. } => Some(holder.clone()),
            _ => None,
        }
    });
    let mut place = allocated.unwrap_or_else(|| holder.clone());
    let mut since = None;
    let mut stays = Vec::new();
    let mut close = |since: &mut Option<DateTime<Utc>>, place: &str, until: DateTime<Utc>| {
        if let Some(from) = since.take().filter(|from| *from < until) {
            stays.push(Stay {
                condition: condition.clone(),
                holder: place.to_owned(),
                from,
                until,
            });
        }
    };
    for event in events {
        match &event.what {
            EventKind::PutOut => since = Some(event.at),
            EventKind::Handled {
                what: Handling::Moved,
                into_holder: Some(into),
            } => {
                let is_out = since.is_some();
                close(&mut since, &place, event.at);
                place.clone_from(into);
                since = is_out.then_some(event.at);
            }
            EventKind::TakenIn { .. }
            | EventKind::Handled {
                what: Handling::Lost | Handling::Destroyed,
                ..
            } => close(&mut since, &place, event.at),
            EventKind::Handled { .. } | EventKind::Rejected => {}
        }
    }
    close(&mut since, &place, now);
    stays
}

/// The series of a study, made ready to be asked.
pub struct Climate<'r> {
    places: BTreeMap<SeriesPlace, BTreeMap<Measurand, Timeline>>,
    record: &'r StudyRecord,
}

impl<'r> Climate<'r> {
    /// Of a study, with the values of its series.
    #[must_use]
    pub fn of(record: &'r StudyRecord, values: &SeriesValues) -> Self {
        let mut of_place: BTreeMap<SeriesPlace, Vec<(&SeriesRecord, &Values)>> = BTreeMap::new();
        let current = record.series.iter();
        for series in current.filter(|series| series.standing == Standing::Current) {
            if let Some(values) = values.get(&series.entry) {
                let place = series.series.place.clone();
                of_place.entry(place).or_default().push((series, values));
            }
        }
        let lines = |series: Vec<(&SeriesRecord, &Values)>| {
            let lines = Measurand::ALL.into_iter().filter_map(|measurand| {
                let line = timeline::merged(measurand, &series);
                (!line.samples.is_empty()).then_some((measurand, line))
            });
            lines.collect()
        };
        Self {
            places: of_place
                .into_iter()
                .map(|(place, series)| (place, lines(series)))
                .collect(),
            record,
        }
    }

    /// The places that have a series, with what is measured there.
    pub fn places(&self) -> impl Iterator<Item = (&SeriesPlace, &BTreeMap<Measurand, Timeline>)> {
        self.places.iter()
    }

    /// The line of a measurand for a stay: the holder's own, else the condition's.
    fn line(&self, stay: &Stay, measurand: Measurand) -> Option<&Timeline> {
        let own = self.places.get(&SeriesPlace::Holder(stay.holder.clone()));
        let shared = SeriesPlace::Condition(stay.condition.clone());
        let shared = self.places.get(&shared);
        own.and_then(|lines| lines.get(&measurand))
            .or_else(|| shared.and_then(|lines| lines.get(&measurand)))
    }

    /// What pieces with these stays lived through; `None` when nothing is on record for any of them.
    #[must_use]
    pub fn dose(&self, stays: &[Stay], above: f64) -> Option<Dose> {
        let zone = when::zone(&self.record.time_zone);
        let clipped = |measurand: Measurand| {
            let found = stays.iter().filter_map(|stay| {
                let line = self.line(stay, measurand)?;
                Some(line.within(stay.from, stay.until))
            });
            found.flatten().collect::<Vec<Sample>>()
        };
        let windows: Vec<_> = stays.iter().map(|stay| (stay.from, stay.until)).collect();
        dose::of(clipped, &windows, zone, above)
    }

    /// What a place itself saw between two moments.
    #[must_use]
    pub fn dose_of_place(
        &self,
        place: &SeriesPlace,
        (from, until): (DateTime<Utc>, DateTime<Utc>),
        above: f64,
    ) -> Option<Dose> {
        let zone = when::zone(&self.record.time_zone);
        let lines = self.places.get(place)?;
        let clipped = |measurand: Measurand| {
            let line = lines.get(&measurand);
            line.map(|line| line.within(from, until))
                .unwrap_or_default()
        };
        dose::of(clipped, &[(from, until)], zone, above)
    }
}

#[cfg(test)]
mod tests;
