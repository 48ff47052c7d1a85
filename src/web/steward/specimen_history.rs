//! Everything on record about one piece, in the order in which it happened. Of a consignment that is
//! not unblinded it says that the piece was packed, and no more.

use super::piece_words::{self, plan_of};
use crate::study::code::Code;
use crate::study::record::{
    ConsignmentRecord, EventKind, EventRecord, IncidentRecord, ReadingRecord, Standing,
    StudyRecord, WeighingRecord,
};
use crate::study::when;
use chrono::{DateTime, Utc};

/// One thing on record, ready to print.
pub(super) struct HistoryLine {
    at: DateTime<Utc>,
    pub(super) when: String,
    /// When it was written down, where that was another day.
    pub(super) recorded: Option<String>,
    pub(super) what: String,
    /// Whether it counts: nothing to say when it does.
    pub(super) standing: Option<&'static str>,
    /// Asked about and confirmed.
    pub(super) is_confirmed_doubt: bool,
    pub(super) note: String,
    /// The reading's entry, when it can be corrected.
    pub(super) correct: Option<String>,
    /// The entry, when it can be declared void.
    pub(super) void: Option<String>,
}

/// The whole history of a piece.
pub(super) fn of(record: &StudyRecord, code: &Code) -> Vec<HistoryLine> {
    let teller = Teller { record, code };
    let readings = record
        .readings
        .iter()
        .filter(|r| r.reading.specimen == *code);
    let events = record.events.iter().filter(|event| event.specimen == *code);
    let mut lines: Vec<HistoryLine> = readings.map(|reading| teller.reading(reading)).collect();
    lines.extend(events.map(|event| teller.event(event)));
    lines.extend(teller.draws());
    lines.extend(teller.drying());
    lines.extend(teller.waivers());
    lines.extend(teller.incidents());
    lines.extend(record.consignments.iter().filter_map(|c| teller.packed(c)));
    lines.extend(record.consignments.iter().flat_map(|c| teller.tests(c)));
    lines.sort_by_key(|line| line.at);
    lines
}

struct Teller<'r> {
    record: &'r StudyRecord,
    code: &'r Code,
}

impl Teller<'_> {
    fn line(&self, at: DateTime<Utc>, what: String) -> HistoryLine {
        HistoryLine {
            at,
            when: when::in_words(at, &self.record.time_zone),
            recorded: None,
            what,
            standing: None,
            is_confirmed_doubt: false,
            note: String::new(),
            correct: None,
            void: None,
        }
    }

    fn recorded(&self, at: DateTime<Utc>, received_at: DateTime<Utc>) -> Option<String> {
        recorded(at, received_at, &self.record.time_zone)
    }

    fn reading(&self, found: &ReadingRecord) -> HistoryLine {
        let reading = &found.reading;
        let instrument = self.record.instruments.iter();
        let instrument = instrument.clone().find(|i| i.id == reading.instrument);
        let name = instrument.map_or("", |instrument| instrument.name.as_str());
        let repeat = match reading.repeat {
            1 => String::new(),
            n => format!(", reading {n}"),
        };
        let what = format!(
            "{} {}{repeat}: {} {} ({}, {name})",
            reading.quantity.label(),
            reading.occasion.label(),
            reading.typed.text,
            reading.typed.unit.symbol(),
            reading.state.label(),
        );
        let is_current = found.standing == Standing::Current;
        let entry = is_current.then(|| found.entry.to_string());
        HistoryLine {
            standing: standing(found.standing),
            is_confirmed_doubt: reading.is_confirmed_doubt,
            note: found.note.clone().unwrap_or_default(),
            correct: entry.clone(),
            void: entry,
            ..self.line(found.taken_at, what)
        }
    }

    fn event(&self, event: &EventRecord) -> HistoryLine {
        let is_current = event.standing == Standing::Current;
        // A rejection stands, and a move by an incident is undone with the incident.
        let is_own = !self.record.incidents.iter().any(|i| i.entry == event.entry);
        let can_be_void = is_current && is_own && event.what != EventKind::Rejected;
        HistoryLine {
            recorded: self.recorded(event.at, event.received_at),
            standing: standing(event.standing),
            note: event.note.clone().unwrap_or_default(),
            void: can_be_void.then(|| event.entry.to_string()),
            ..self.line(event.at, event_words(self.record, &event.what))
        }
    }

    fn draws(&self) -> impl Iterator<Item = HistoryLine> {
        let plan = plan_of(self.record);
        self.record.draws.iter().filter_map(move |draw| {
            let row = draw
                .drawn
                .rows
                .iter()
                .find(|row| row.specimen == *self.code)?;
            let place = piece_words::place(plan, Some(&row.place));
            let what = match draw.drawn.draw {
                0 => format!("grouping reported, not drawn: {place}"),
                n => format!("allocated by draw {n}: {place}"),
            };
            Some(HistoryLine {
                note: draw.reason.clone().unwrap_or_default(),
                ..self.line(draw.at, what)
            })
        })
    }

    fn waivers(&self) -> impl Iterator<Item = HistoryLine> {
        let waivers = self.record.waivers.iter();
        let own = waivers.filter(|waiver| waiver.specimen == *self.code);
        own.map(|waiver| HistoryLine {
            note: waiver.reason.clone(),
            void: Some(waiver.entry.to_string()),
            ..self.line(waiver.at, "baseline readings waived".to_owned())
        })
    }

    fn drying(&self) -> impl Iterator<Item = HistoryLine> {
        let weighings = self.record.drying.weighings.iter();
        let weighings = weighings.filter(|found| found.weighing.specimen == *self.code);
        let weighed = weighings.map(|found| {
            let is_current = found.standing == Standing::Current;
            HistoryLine {
                standing: standing(found.standing),
                is_confirmed_doubt: found.weighing.is_confirmed_doubt,
                note: found.note.clone().unwrap_or_default(),
                void: is_current.then(|| found.entry.to_string()),
                ..self.line(found.weighing.at, weighing_words(found))
            }
        });
        let overrides = self.record.drying.overrides.iter();
        let overrides = overrides.filter(|found| found.specimen == *self.code);
        let overridden = overrides.map(|found| HistoryLine {
            note: found.reason.clone(),
            void: Some(found.entry.to_string()),
            ..self.line(found.at, OVERRIDDEN.to_owned())
        });
        weighed.chain(overridden)
    }

    fn incidents(&self) -> impl Iterator<Item = HistoryLine> {
        let holders = holders_of(self.record, self.code);
        let reached = move |incident: &&IncidentRecord| holders.contains(&incident.incident.holder);
        self.record.incidents.iter().filter(reached).map(|found| {
            let what = incident_words(self.record, found);
            HistoryLine {
                standing: standing(found.standing),
                note: found.note.clone(),
                ..self.line(found.received_at, what)
            }
        })
    }

    fn packed(&self, consignment: &ConsignmentRecord) -> Option<HistoryLine> {
        let is_in = consignment
            .pieces
            .iter()
            .any(|piece| piece.specimen == *self.code);
        let what = format!("packed for {}", consignment.lab);
        is_in.then(|| self.line(consignment.packed_at, what))
    }

    /// Tests, once the consignment is unblinded.
    fn tests(&self, consignment: &ConsignmentRecord) -> Vec<HistoryLine> {
        let own = consignment
            .pieces
            .iter()
            .find(|piece| piece.specimen == *self.code);
        let Some(piece) = own.filter(|_| !consignment.is_blind()) else {
            return Vec::new();
        };
        let tests = consignment
            .tests
            .iter()
            .filter(|t| t.test.blind == piece.blind);
        let line = |found: &crate::study::record::TestRecord| {
            let load = found.test.typed.as_ref().map_or_else(String::new, |typed| {
                format!("{} {}, ", typed.text, typed.unit.symbol())
            });
            let (outcome, mode) = (found.test.outcome.label(), found.test.mode.label());
            HistoryLine {
                standing: standing(found.standing),
                is_confirmed_doubt: found.test.is_confirmed_doubt,
                note: found.note.clone().unwrap_or_default(),
                ..self.line(
                    found.received_at,
                    format!("break test as {}: {load}{outcome}, {mode}", piece.blind),
                )
            }
        };
        tests.map(line).collect()
    }
}

/// Every holder that a piece has been in or was allocated to.
fn holders_of(record: &StudyRecord, code: &Code) -> Vec<String> {
    use crate::study::allocation::Place;
    let piece = record.specimen(code).and_then(|piece| piece.place.as_ref());
    let drawn = record.draws.iter().flat_map(|draw| &draw.drawn.rows);
    let places = drawn
        .filter(|row| row.specimen == *code)
        .map(|row| &row.place);
    let holders = places.chain(piece).filter_map(|place| match place {
        Place::Exposed { holder, .. } => Some(holder.clone()),
        _ => None,
    });
    let moved = record.events.iter().filter(|event| event.specimen == *code);
    let moved = moved.filter_map(|event| match &event.what {
        EventKind::Handled { into_holder, .. } => into_holder.clone(),
        _ => None,
    });
    holders.chain(moved).collect()
}

/// What an override of the drying rule is called.
pub(super) const OVERRIDDEN: &str = "drying rule overridden";

/// A weighing of a drying piece, in words.
pub(super) fn weighing_words(found: &WeighingRecord) -> String {
    let weighing = &found.weighing;
    format!(
        "weighed while drying, {}: {} {}",
        weighing.occasion.label(),
        weighing.typed.text,
        weighing.typed.unit.symbol()
    )
}

/// What happened, in words.
pub(super) fn event_words(record: &StudyRecord, what: &EventKind) -> String {
    match what {
        EventKind::PutOut => "put out".to_owned(),
        EventKind::Rejected => "rejected before the allocation".to_owned(),
        EventKind::Handled { what, into_holder } => match into_holder {
            Some(holder) => {
                let name = piece_words::holder_name(plan_of(record), holder);
                format!("{}: {name}", what.label())
            }
            None => what.label().to_owned(),
        },
        EventKind::TakenIn { recovery, identity } => {
            format!("taken in: {}, {}", recovery.label(), identity.label())
        }
    }
}

/// An incident in words, without its note.
pub(super) fn incident_words(record: &StudyRecord, found: &IncidentRecord) -> String {
    use crate::study::custody::Decision;
    let plan = plan_of(record);
    let incident = &found.incident;
    let holder = piece_words::holder_name(plan, &incident.holder);
    let until = incident.until.map_or_else(String::new, |day| {
        format!(" to {}", day.format("%-d %B %Y"))
    });
    let into = incident
        .into_holder
        .as_ref()
        .map_or_else(String::new, |key| {
            format!(
                "; the pieces went into {}",
                piece_words::holder_name(plan, key)
            )
        });
    let decision = match incident.decision {
        Decision::Keep => "the pieces stay in the study",
        Decision::EndEarly => "their exposure ends early",
    };
    let from = incident.from.format("%-d %B %Y");
    format!("incident on {holder}, {from}{until}{into}; {decision}")
}

/// When something was written down, where that was another day than it happened.
pub(super) fn recorded(
    at: DateTime<Utc>,
    received_at: DateTime<Utc>,
    time_zone: &str,
) -> Option<String> {
    let (happened, written) = (
        when::day_in_words(at, time_zone),
        when::day_in_words(received_at, time_zone),
    );
    (happened != written).then_some(written)
}

fn standing(standing: Standing) -> Option<&'static str> {
    match standing {
        Standing::Current => None,
        Standing::Superseded => Some("corrected"),
        Standing::Void => Some("void"),
    }
}
