//! The pieces of a study: specimens, readings, draws, waivers, events, incidents. Superseded and void
//! rows are included and say so; other studies' rows are not.

use std::collections::BTreeMap;

use sqlx::sqlite::SqliteConnection;

use crate::store::rows::{all, bad, choice, json, parsed, place, standing};
use crate::store::{StoreError, moment_from_text};
use crate::study::custody::Handling;
use crate::study::ids::EntryId;
use crate::study::reading::{MoistureState, Occasion, Quantity, Reading};
use crate::study::record::{
    CheckRecord, DrawRecord, EventKind, EventRecord, IncidentRecord, ReadingRecord, SpecimenRecord,
    WaiverRecord,
};
use crate::study::specimen::{Identity, Recovery, Whereabouts};
use crate::study::units::{ALL, AsTyped, Unit};

const DOING: &str = "reading a study's pieces";

pub(super) async fn specimens(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Vec<SpecimenRecord>, StoreError> {
    let query = sqlx::query!(
        r#"select code, number as "number: u32", lot, build, build_order as "build_order: u32", role,
            condition, stage_days as "stage_days: u32", holder, whereabouts,
            is_nameless as "is_nameless: bool", out_at, in_at, recovery, identity, made_at
        from specimen
        where study = ?1
        order by number"#,
        study
    );
    let rows = all(&mut *db, DOING, query).await?;
    let mut specimens = Vec::with_capacity(rows.len());
    for row in rows {
        specimens.push(SpecimenRecord {
            code: parsed("code", &row.code)?,
            number: row.number,
            lot: row.lot,
            build: row.build,
            order: row.build_order,
            place: place(row.role, row.condition, row.stage_days, row.holder)?,
            whereabouts: choice("whereabouts", &row.whereabouts, Whereabouts::parse)?,
            is_nameless: row.is_nameless,
            out_at: row.out_at.as_deref().map(moment_from_text).transpose()?,
            in_at: row.in_at.as_deref().map(moment_from_text).transpose()?,
            recovery: row
                .recovery
                .map(|text| choice("state on recovery", &text, Recovery::parse))
                .transpose()?,
            identity: row
                .identity
                .map(|text| choice("identity", &text, Identity::parse))
                .transpose()?,
            made_at: Some(moment_from_text(&row.made_at)?),
            retest: None,
        });
    }
    Ok(specimens)
}

/// Reads a unit's key.
pub(super) fn unit(text: &str) -> Result<Unit, StoreError> {
    choice("unit", text, |text| {
        ALL.into_iter().find(|unit| unit.key() == text)
    })
}

pub(super) async fn readings(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Vec<ReadingRecord>, StoreError> {
    let query = sqlx::query!(
        r#"select r.entry, r.specimen, r.quantity, r.occasion, r.repeat as "repeat: u8", r.state,
            r.value, r.typed, r.unit, r.instrument,
            r.is_confirmed_doubt as "is_confirmed_doubt: bool", r.taken_at, r.standing, r.supersedes,
            j.note
        from reading r join journal j on j.id = r.entry
        where r.study = ?1
        order by j.seq"#,
        study
    );
    let rows = all(&mut *db, DOING, query).await?;
    let mut readings = Vec::with_capacity(rows.len());
    for row in rows {
        let quantity = Quantity::try_from(row.quantity).map_err(StoreError::while_doing(DOING))?;
        readings.push(ReadingRecord {
            entry: parsed("entry", &row.entry)?,
            reading: Reading {
                specimen: parsed("code", &row.specimen)?,
                quantity,
                occasion: choice("occasion", &row.occasion, Occasion::parse)?,
                repeat: row.repeat,
                state: choice("moisture state", &row.state, MoistureState::parse)?,
                value: row.value,
                typed: AsTyped {
                    text: row.typed,
                    unit: unit(&row.unit)?,
                },
                instrument: parsed("instrument", &row.instrument)?,
                is_confirmed_doubt: row.is_confirmed_doubt,
            },
            taken_at: moment_from_text(&row.taken_at)?,
            standing: standing(&row.standing)?,
            supersedes: row.supersedes.map(|id| parsed("entry", &id)).transpose()?,
            note: row.note,
        });
    }
    Ok(readings)
}

/// Why entries were declared void, by the entry; an erased reason is missing.
pub(super) async fn voidings(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<BTreeMap<EntryId, String>, StoreError> {
    let query = sqlx::query!(
        r#"select v.entry, j.note as "note!"
        from voiding v join journal j on j.id = v.by_entry
        where v.study = ?1 and j.note is not null"#,
        study
    );
    let rows = all(&mut *db, DOING, query).await?;
    rows.into_iter()
        .map(|row| Ok((parsed("entry", &row.entry)?, row.note)))
        .collect()
}

pub(super) async fn draws(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Vec<DrawRecord>, StoreError> {
    let query = sqlx::query!(
        "select d.body, d.at, j.note from draw d join journal j on j.id = d.entry
        where d.study = ?1
        order by j.seq",
        study
    );
    let rows = all(&mut *db, DOING, query).await?;
    let mut draws = Vec::with_capacity(rows.len());
    for row in rows {
        let (drawn, at) = (json(&row.body)?, moment_from_text(&row.at)?);
        draws.push(DrawRecord {
            drawn,
            at,
            reason: row.note,
        });
    }
    Ok(draws)
}

/// Waivers that count.
pub(super) async fn waivers(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Vec<WaiverRecord>, StoreError> {
    let query = sqlx::query!(
        "select w.entry, w.specimen, w.at, j.note from waiver w join journal j on j.id = w.entry
        where w.study = ?1 and w.standing = 'current'
        order by j.seq, w.specimen",
        study
    );
    let rows = all(&mut *db, DOING, query).await?;
    let mut waivers = Vec::with_capacity(rows.len());
    for row in rows {
        waivers.push(WaiverRecord {
            entry: parsed("entry", &row.entry)?,
            specimen: parsed("code", &row.specimen)?,
            reason: row.note.unwrap_or_default(),
            at: moment_from_text(&row.at)?,
        });
    }
    Ok(waivers)
}

/// Events of pieces; that one was packed stands in its consignment.
pub(super) async fn events(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Vec<EventRecord>, StoreError> {
    let query = sqlx::query!(
        "select e.entry, e.specimen, e.kind, e.detail, e.extra, e.at, e.received_at, e.standing, j.note
        from event e join journal j on j.id = e.entry
        where e.study = ?1 and e.kind <> 'packed'
        order by e.seq, e.specimen",
        study
    );
    let rows = all(&mut *db, DOING, query).await?;
    let mut events = Vec::with_capacity(rows.len());
    for row in rows {
        events.push(EventRecord {
            entry: parsed("entry", &row.entry)?,
            specimen: parsed("code", &row.specimen)?,
            what: event_kind(
                &row.kind,
                row.detail.as_deref().unwrap_or_default(),
                row.extra,
            )?,
            at: moment_from_text(&row.at)?,
            received_at: moment_from_text(&row.received_at)?,
            standing: standing(&row.standing)?,
            note: row.note,
        });
    }
    Ok(events)
}

fn event_kind(kind: &str, detail: &str, extra: Option<String>) -> Result<EventKind, StoreError> {
    match kind {
        "put_out" => Ok(EventKind::PutOut),
        "rejected" => Ok(EventKind::Rejected),
        "handled" => {
            let what = choice("handling", detail, Handling::parse)?;
            Ok(EventKind::Handled {
                what,
                into_holder: extra,
            })
        }
        "taken_in" => Ok(EventKind::TakenIn {
            recovery: choice("state on recovery", detail, Recovery::parse)?,
            identity: choice("identity", &extra.unwrap_or_default(), Identity::parse)?,
        }),
        other => Err(bad("event", other)),
    }
}

pub(super) async fn incidents(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Vec<IncidentRecord>, StoreError> {
    let query = sqlx::query!(
        "select i.entry, i.body, i.received_at, i.standing, j.note
        from incident i join journal j on j.id = i.entry
        where i.study = ?1
        order by j.seq",
        study
    );
    let rows = all(&mut *db, DOING, query).await?;
    let mut incidents = Vec::with_capacity(rows.len());
    for row in rows {
        incidents.push(IncidentRecord {
            entry: parsed("entry", &row.entry)?,
            incident: json(&row.body)?,
            note: row.note.unwrap_or_default(),
            received_at: moment_from_text(&row.received_at)?,
            standing: standing(&row.standing)?,
        });
    }
    Ok(incidents)
}

pub(super) async fn checks(
    db: &mut SqliteConnection,
    id: &str,
) -> Result<Vec<CheckRecord>, StoreError> {
    let query = sqlx::query!(
        "select entry, body, taken_at from instrument_check where study = ?1 order by seq",
        id
    );
    let rows = all(&mut *db, DOING, query).await?;
    let check = |entry: &str, body: &str, taken_at: &str| {
        Ok(CheckRecord {
            entry: parsed("entry", entry)?,
            check: json(body)?,
            taken_at: moment_from_text(taken_at)?,
        })
    };
    rows.iter()
        .map(|row| check(&row.entry, &row.body, &row.taken_at))
        .collect()
}
