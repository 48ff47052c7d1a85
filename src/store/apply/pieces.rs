//! Entries about specimens: made, read, allocated, put out, handled, taken in.

use sqlx::sqlite::SqliteConnection;

use super::events::{Event, note_event, settle};
use super::{Applied, At};
use crate::store::moment_to_text;
use crate::study::allocation::{Allocated, Place, Placed};
use crate::study::custody::{Handling, Incident, NamelessFound, TakenIn};
use crate::study::entry::Entry;
use crate::study::reading::Reading;
use crate::study::specimen::{Identity, Made, Whereabouts};

pub(super) async fn apply(db: &mut SqliteConnection, at: &At<'_>, entry: &Entry) -> Applied {
    match entry {
        Entry::SpecimensMade { pieces } => make(db, at, pieces).await,
        Entry::ReadingTaken { reading } => read(db, at, reading, None).await,
        Entry::ReadingCorrected {
            supersedes,
            reading,
        } => {
            let earlier = supersedes.to_string();
            sqlx::query!(
                "update reading set standing = 'superseded' where entry = ?1",
                earlier
            )
            .execute(&mut *db)
            .await?;
            read(db, at, reading, Some(earlier)).await
        }
        Entry::Voided { entry } => void(db, at, &entry.to_string()).await,
        Entry::AllocationDrawn(drawn) => allocate(db, at, drawn).await,
        Entry::GroupingReported { rows } => {
            let drawn = Allocated {
                draw: 0,
                plan_version: 0,
                seed: String::new(),
                method: "reported".to_owned(),
                candidates_sha256: String::new(),
                rows: rows.clone(),
            };
            allocate(db, at, &drawn).await
        }
        Entry::Waived { specimens } => {
            for specimen in specimens {
                waive(db, at, specimen.as_str()).await?;
            }
            Ok(())
        }
        Entry::Incident(incident) => note_incident(db, at, incident).await,
        Entry::NamelessFound(found) => find_nameless(db, at, found).await,
        other => happen(db, at, other).await,
    }
}

/// The entries that are events of pieces.
async fn happen(db: &mut SqliteConnection, at: &At<'_>, entry: &Entry) -> Applied {
    match entry {
        Entry::SpecimenRejected { specimen } => {
            let leaves = Some(Whereabouts::Rejected);
            let event = Event {
                kind: "rejected",
                leaves,
                ..Event::at(at.received_at)
            };
            note_event(db, at, specimen.as_str(), &event).await
        }
        Entry::PutOut(out) => {
            let time = moment_to_text(out.at);
            let event = Event {
                kind: "put_out",
                leaves: Some(Whereabouts::Out),
                ..Event::at(&time)
            };
            for specimen in &out.specimens {
                note_event(db, at, specimen.as_str(), &event).await?;
            }
            Ok(())
        }
        Entry::Handled(handled) => {
            let time = moment_to_text(handled.at);
            let leaves = match handled.what {
                Handling::Lost => Some(Whereabouts::Lost),
                Handling::Destroyed => Some(Whereabouts::Destroyed),
                _ => None,
            };
            let detail = Some(handled.what.key());
            let extra = handled.into_holder.as_deref();
            let event = Event {
                kind: "handled",
                detail,
                extra,
                leaves,
                at: &time,
            };
            for specimen in &handled.specimens {
                note_event(db, at, specimen.as_str(), &event).await?;
            }
            Ok(())
        }
        Entry::TakenIn(taken) => take_in(db, at, taken).await,
        _ => Ok(()),
    }
}

async fn take_in(db: &mut SqliteConnection, at: &At<'_>, taken: &TakenIn) -> Applied {
    let time = moment_to_text(taken.at);
    for piece in &taken.pieces {
        let event = Event {
            kind: "taken_in",
            detail: Some(piece.recovery.key()),
            extra: Some(piece.identity.key()),
            leaves: Some(piece.recovery.whereabouts()),
            at: &time,
        };
        note_event(db, at, piece.specimen.as_str(), &event).await?;
    }
    Ok(())
}

async fn make(db: &mut SqliteConnection, at: &At<'_>, pieces: &[Made]) -> Applied {
    for piece in pieces {
        let (code, order) = (piece.code.as_str(), i64::from(piece.order));
        sqlx::query!(
            "insert into specimen (code, study, number, lot, build, build_order, whereabouts,
                made_at)
            select ?1, ?2, 1 + coalesce((select max(number) from specimen where study = ?2), 0),
                ?3, ?4, ?5, 'bench', ?6",
            code,
            at.study,
            piece.lot,
            piece.build,
            order,
            at.taken_at,
        )
        .execute(&mut *db)
        .await?;
    }
    Ok(())
}

async fn read(
    db: &mut SqliteConnection,
    at: &At<'_>,
    reading: &Reading,
    supersedes: Option<String>,
) -> Applied {
    let (specimen, quantity) = (
        reading.specimen.as_str(),
        String::from(reading.quantity.clone()),
    );
    let (occasion, repeat) = (reading.occasion.key(), i64::from(reading.repeat));
    let (state, unit) = (reading.state.key(), reading.typed.unit.key());
    let (instrument, doubt) = (
        reading.instrument.to_string(),
        i64::from(reading.is_confirmed_doubt),
    );
    sqlx::query!(
        "insert into reading (entry, study, specimen, quantity, occasion, repeat, state, value,
            typed, unit, instrument, is_confirmed_doubt, taken_at, supersedes)
        values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
        at.entry,
        at.study,
        specimen,
        quantity,
        occasion,
        repeat,
        state,
        reading.value,
        reading.typed.text,
        unit,
        instrument,
        doubt,
        at.taken_at,
        supersedes,
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Declares an entry void wherever it stands; pieces go back to where they were before it.
async fn void(db: &mut SqliteConnection, at: &At<'_>, entry: &str) -> Applied {
    sqlx::query!(
        "insert into voiding (entry, study, by_entry) values (?1, ?2, ?3)",
        entry,
        at.study,
        at.entry
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "update reading set standing = 'void' where entry = ?1",
        entry
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "update waiver set standing = 'void' where entry = ?1",
        entry
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "update photograph set standing = 'void', is_released = 0 where entry = ?1",
        entry
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "update incident set standing = 'void' where entry = ?1",
        entry
    )
    .execute(&mut *db)
    .await?;
    super::drying::void(db, entry).await?;
    super::series::void(db, entry).await?;
    super::literature::void(db, entry).await?;
    let pieces = sqlx::query_scalar!(
        "update event set standing = 'void' where entry = ?1 returning specimen",
        entry
    )
    .fetch_all(&mut *db)
    .await?;
    for specimen in pieces {
        settle(db, &specimen).await?;
    }
    Ok(())
}

async fn allocate(db: &mut SqliteConnection, at: &At<'_>, drawn: &Allocated) -> Applied {
    let (number, version) = (i64::from(drawn.draw), i64::from(drawn.plan_version));
    let body = serde_json::to_string(drawn)?;
    sqlx::query!(
        "insert into draw (entry, study, number, plan_version, body, at)
        values (?1, ?2, ?3, ?4, ?5, ?6)",
        at.entry,
        at.study,
        number,
        version,
        body,
        at.received_at,
    )
    .execute(&mut *db)
    .await?;
    if drawn.draw > 0 {
        // A later draw replaces the earlier one whole.
        sqlx::query!(
            "update specimen
            set role = null, condition = null, stage_days = null, allocated_holder = null, holder = null
            where study = ?1",
            at.study
        )
        .execute(&mut *db)
        .await?;
    }
    for row in &drawn.rows {
        place(db, row).await?;
    }
    Ok(())
}

async fn place(db: &mut SqliteConnection, row: &Placed) -> Applied {
    let (role, condition, stage, holder) = match &row.place {
        Place::Baseline => ("baseline", None, None, None),
        Place::Spare => ("spare", None, None, None),
        Place::LateReference => ("late_reference", None, None, None),
        Place::Exposed {
            condition,
            stage_days,
            holder,
        } => (
            "exposed",
            Some(condition),
            Some(i64::from(*stage_days)),
            Some(holder),
        ),
    };
    let code = row.specimen.as_str();
    sqlx::query!(
        "update specimen
        set role = ?2, condition = ?3, stage_days = ?4, allocated_holder = ?5, holder = ?5
        where code = ?1",
        code,
        role,
        condition,
        stage,
        holder,
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn waive(db: &mut SqliteConnection, at: &At<'_>, specimen: &str) -> Applied {
    sqlx::query!(
        "insert into waiver (entry, specimen, study, at) values (?1, ?2, ?3, ?4)",
        at.entry,
        specimen,
        at.study,
        at.received_at,
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn note_incident(db: &mut SqliteConnection, at: &At<'_>, incident: &Incident) -> Applied {
    let body = serde_json::to_string(incident)?;
    sqlx::query!(
        "insert into incident (entry, study, body, received_at) values (?1, ?2, ?3, ?4)",
        at.entry,
        at.study,
        body,
        at.received_at,
    )
    .execute(&mut *db)
    .await?;
    let Some(into) = &incident.into_holder else {
        return Ok(());
    };
    let pieces = sqlx::query_scalar!(
        "select code from specimen
        where study = ?1 and holder = ?2 and whereabouts = 'out'
        order by code",
        at.study,
        incident.holder,
    )
    .fetch_all(&mut *db)
    .await?;
    let detail = Some(Handling::Moved.key());
    let event = Event {
        kind: "handled",
        detail,
        extra: Some(into),
        ..Event::at(at.received_at)
    };
    for specimen in pieces {
        note_event(db, at, &specimen, &event).await?;
    }
    Ok(())
}

async fn find_nameless(db: &mut SqliteConnection, at: &At<'_>, found: &NamelessFound) -> Applied {
    let (code, stage) = (found.code.as_str(), i64::from(found.stage_days));
    sqlx::query!(
        "insert into specimen (code, study, number, lot, build, build_order, role, condition,
            stage_days, allocated_holder, holder, whereabouts, is_nameless, made_at)
        select ?1, ?2, 1 + coalesce((select max(number) from specimen where study = ?2), 0),
            '', '', 0, 'exposed', ?5, ?4, ?3, ?3, 'in', 1, ?6",
        code,
        at.study,
        found.holder,
        stage,
        found.condition,
        at.taken_at,
    )
    .execute(&mut *db)
    .await?;
    let time = moment_to_text(found.at);
    let event = Event {
        kind: "taken_in",
        detail: Some(found.recovery.key()),
        extra: Some(Identity::Unknown.key()),
        leaves: Some(found.recovery.whereabouts()),
        at: &time,
    };
    note_event(db, at, code, &event).await
}
