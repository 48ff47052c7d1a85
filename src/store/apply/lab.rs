//! Entries about consignments: packed, on their way, tested, finished, unblinded.

use chrono::{DateTime, Duration, Utc};
use sqlx::sqlite::SqliteConnection;

use super::events::{Event, note_event, settle};
use super::{Applied, At, custody};
use crate::store::moment_to_text;
use crate::study::break_test::BreakTest;
use crate::study::code::Code;
use crate::study::consignment::{Arrival, Consigned, Contents, ParcelState};
use crate::study::curve::KeptCurve;
use crate::study::entry::Entry;
use crate::study::specimen::Whereabouts;

pub(super) async fn apply(db: &mut SqliteConnection, at: &At<'_>, entry: &Entry) -> Applied {
    match entry {
        Entry::Consigned(packed) => pack(db, at, packed).await,
        Entry::ParcelMoved {
            consignment,
            state,
            at: time,
        } => move_parcel(db, at, &consignment.to_string(), *state, *time).await,
        Entry::LinkIssued {
            link,
            consignment,
            days,
            latest,
        } => {
            let (link, consignment) = (link.to_string(), consignment.to_string());
            let (days, latest) = (i64::from(*days), moment_to_text(*latest));
            issue_link(db, at, &link, &consignment, days, &latest).await
        }
        Entry::LinkExtended { link, latest } => {
            let (link, latest) = (link.to_string(), moment_to_text(*latest));
            sqlx::query!(
                "update lab_link set ends_at = ?2 where id = ?1",
                link,
                latest
            )
            .execute(db)
            .await?;
            Ok(())
        }
        Entry::LinkRevoked { link } => {
            let link = link.to_string();
            sqlx::query!("update lab_link set is_revoked = 1 where id = ?1", link)
                .execute(db)
                .await?;
            Ok(())
        }
        Entry::SetUpBrought(brought) => custody::bring(db, brought).await,
        other => test(db, at, other).await,
    }
}

/// What the tester does, and what ends it.
async fn test(db: &mut SqliteConnection, at: &At<'_>, entry: &Entry) -> Applied {
    match entry {
        Entry::Arrived { .. } | Entry::Guessed { .. } => note_piece(db, at, entry).await,
        Entry::SessionSet(session) => {
            let (consignment, body) = (
                session.consignment.to_string(),
                serde_json::to_string(session)?,
            );
            sqlx::query!(
                "update consignment set session = ?2 where id = ?1",
                consignment,
                body
            )
            .execute(&mut *db)
            .await?;
            custody::set_session(db, at, session).await
        }
        Entry::CurveKept(curve) => keep_curve(db, at, curve).await,
        Entry::BreakTested(test) => note_test(db, at, test, None).await,
        Entry::BreakTestCorrected { supersedes, test } => {
            let earlier = supersedes.to_string();
            sqlx::query!(
                "update break_test set standing = 'superseded' where entry = ?1",
                earlier
            )
            .execute(&mut *db)
            .await?;
            note_test(db, at, test, Some(earlier)).await
        }
        other => end(db, at, other).await,
    }
}

/// What the tester says of a piece as it lies there.
async fn note_piece(db: &mut SqliteConnection, at: &At<'_>, entry: &Entry) -> Applied {
    match entry {
        Entry::Arrived {
            consignment,
            blind,
            arrival,
        } => {
            let (consignment, blind) = (consignment.to_string(), blind.as_str());
            arrive(db, at, &consignment, blind, *arrival).await
        }
        Entry::Guessed {
            consignment,
            blind,
            looks,
        } => {
            let (consignment, blind) = (consignment.to_string(), blind.as_str());
            let looks = looks.key();
            sqlx::query!(
                "update piece set looks = ?3 where consignment = ?1 and blind = ?2",
                consignment,
                blind,
                looks,
            )
            .execute(db)
            .await?;
            Ok(())
        }
        _ => Ok(()),
    }
}

/// The piece's curve from now on; the ones before stay, and count no more.
async fn keep_curve(db: &mut SqliteConnection, at: &At<'_>, curve: &KeptCurve) -> Applied {
    let (consignment, blind) = (curve.consignment.to_string(), curve.blind.as_str());
    let body = serde_json::to_string(curve)?;
    sqlx::query!(
        "update curve set standing = 'superseded' where consignment = ?1 and blind = ?2",
        consignment,
        blind
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "insert into curve (entry, consignment, blind, file_sha256, body) values (?1, ?2, ?3, ?4, ?5)",
        at.entry,
        consignment,
        blind,
        curve.file_sha256,
        body,
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn arrive(
    db: &mut SqliteConnection,
    at: &At<'_>,
    consignment: &str,
    blind: &str,
    arrival: Arrival,
) -> Applied {
    let arrival = arrival.key();
    sqlx::query!(
        "update piece set arrival = ?3, arrived_by = ?4 where consignment = ?1 and blind = ?2",
        consignment,
        blind,
        arrival,
        at.entry,
    )
    .execute(&mut *db)
    .await?;
    custody::arrived_anew(db, consignment, blind).await
}

async fn end(db: &mut SqliteConnection, at: &At<'_>, entry: &Entry) -> Applied {
    match entry {
        Entry::Finished { consignment } => {
            let consignment = consignment.to_string();
            sqlx::query!(
                "update consignment set finished_at = ?2 where id = ?1",
                consignment,
                at.received_at
            )
            .execute(db)
            .await?;
        }
        Entry::Reopened { consignment } => {
            let consignment = consignment.to_string();
            sqlx::query!(
                "update consignment set finished_at = null where id = ?1",
                consignment
            )
            .execute(&mut *db)
            .await?;
            sqlx::query!(
                "insert into reopening (entry, consignment) values (?1, ?2)",
                at.entry,
                consignment
            )
            .execute(db)
            .await?;
        }
        Entry::Unblinded { consignment } => {
            let consignment = consignment.to_string();
            sqlx::query!(
                "update consignment
                set unblinded_at = ?2, unblinded_by = ?3, is_early = finished_at is null
                where id = ?1",
                consignment,
                at.received_at,
                at.entry,
            )
            .execute(db)
            .await?;
        }
        _ => {}
    }
    Ok(())
}

async fn pack(db: &mut SqliteConnection, at: &At<'_>, packed: &Consigned) -> Applied {
    let id = packed.consignment.to_string();
    let stage = match packed.contents {
        Contents::Baseline => None,
        Contents::Stage { days } => Some(i64::from(days)),
    };
    let parcel = ParcelState::Packed.key();
    sqlx::query!(
        "insert into consignment (id, study, lab, stage_days, packed_at, parcel)
        values (?1, ?2, ?3, ?4, ?5, ?6)",
        id,
        at.study,
        packed.lab,
        stage,
        at.received_at,
        parcel,
    )
    .execute(&mut *db)
    .await?;
    for (position, piece) in (1_i64..).zip(&packed.pieces) {
        let (blind, specimen) = (piece.blind.as_str(), piece.specimen.as_str());
        let label = piece.label.key();
        let retest_of = piece.retest_of.as_ref().map(Code::as_str);
        sqlx::query!(
            "insert into piece (consignment, blind, specimen, position, label, retest_of)
            values (?1, ?2, ?3, ?4, ?5, ?6)",
            id,
            blind,
            specimen,
            position,
            label,
            retest_of,
        )
        .execute(&mut *db)
        .await?;
        let leaves = Some(Whereabouts::Consigned);
        let event = Event {
            kind: "packed",
            leaves,
            ..Event::at(at.received_at)
        };
        note_event(db, at, specimen, &event).await?;
    }
    Ok(())
}

async fn move_parcel(
    db: &mut SqliteConnection,
    at: &At<'_>,
    consignment: &str,
    state: ParcelState,
    time: DateTime<Utc>,
) -> Applied {
    let (key, moment) = (state.key(), moment_to_text(time));
    sqlx::query!(
        "insert into parcel_event (entry, consignment, state, at, seq) values (?1, ?2, ?3, ?4, ?5)",
        at.entry,
        consignment,
        key,
        moment,
        at.seq,
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "update consignment set parcel = ?2 where id = ?1",
        consignment,
        key
    )
    .execute(&mut *db)
    .await?;
    if state != ParcelState::Received {
        return Ok(());
    }
    // A link's end counts from the receipt.
    let links = sqlx::query!(
        "select id, days from lab_link where consignment = ?1",
        consignment
    )
    .fetch_all(&mut *db)
    .await?;
    for link in links {
        let ends_at = moment_to_text(time + Duration::days(link.days));
        sqlx::query!(
            "update lab_link set ends_at = ?2 where id = ?1",
            link.id,
            ends_at
        )
        .execute(&mut *db)
        .await?;
    }
    Ok(())
}

async fn issue_link(
    db: &mut SqliteConnection,
    at: &At<'_>,
    link: &str,
    consignment: &str,
    days: i64,
    latest: &str,
) -> Applied {
    sqlx::query!(
        "insert into lab_link (id, study, consignment, days, ends_at) values (?1, ?2, ?3, ?4, ?5)",
        link,
        at.study,
        consignment,
        days,
        latest,
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn note_test(
    db: &mut SqliteConnection,
    at: &At<'_>,
    test: &BreakTest,
    supersedes: Option<String>,
) -> Applied {
    let (consignment, blind) = (test.consignment.to_string(), test.blind.as_str());
    let (outcome, mode) = (test.outcome.key(), test.mode.key());
    let failure = test
        .failure
        .as_ref()
        .map(serde_json::to_string)
        .transpose()?;
    let typed = test.typed.as_ref().map(|typed| typed.text.as_str());
    let unit = test.typed.as_ref().map(|typed| typed.unit.key());
    let (is_out, doubt) = (
        i64::from(test.is_out_of_order),
        i64::from(test.is_confirmed_doubt),
    );
    sqlx::query!(
        "insert into break_test (entry, consignment, blind, outcome, max_load_n, typed, unit, mode,
            is_out_of_order, is_confirmed_doubt, received_at, supersedes, energy_j, failure, session,
            is_knowing_group)
        select ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14,
            coalesce(
                (select session from break_test where entry = ?12),
                (select session_number from consignment where id = ?2)
            ),
            exists (select 1 from consignment where id = ?2 and unblinded_at is not null)",
        at.entry,
        consignment,
        blind,
        outcome,
        test.max_load_n,
        typed,
        unit,
        mode,
        is_out,
        doubt,
        at.received_at,
        supersedes,
        test.energy_j,
        failure,
    )
    .execute(&mut *db)
    .await?;
    let specimen = sqlx::query_scalar!(
        "select specimen from piece where consignment = ?1 and blind = ?2",
        consignment,
        blind
    )
    .fetch_one(&mut *db)
    .await?;
    settle(db, &specimen).await
}
