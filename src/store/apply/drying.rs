//! Entries about drying.

use sqlx::sqlite::SqliteConnection;

use super::{Applied, At};
use crate::store::moment_to_text;
use crate::study::drying::DryingWeighing;
use crate::study::entry::Entry;

pub(super) async fn apply(db: &mut SqliteConnection, at: &At<'_>, entry: &Entry) -> Applied {
    match entry {
        Entry::DryingWeighed(weighing) => weigh(db, at, weighing).await,
        Entry::DryingOverridden {
            specimens,
            occasion,
        } => {
            for specimen in specimens {
                override_rule(db, at, specimen.as_str(), occasion.key()).await?;
            }
            Ok(())
        }
        _ => Ok(()),
    }
}

async fn weigh(db: &mut SqliteConnection, at: &At<'_>, weighing: &DryingWeighing) -> Applied {
    let (specimen, occasion) = (weighing.specimen.as_str(), weighing.occasion.key());
    let (time, unit) = (moment_to_text(weighing.at), weighing.typed.unit.key());
    let (instrument, doubt) = (
        weighing.instrument.to_string(),
        i64::from(weighing.is_confirmed_doubt),
    );
    sqlx::query!(
        "insert into drying (entry, study, specimen, occasion, at, mass, typed, unit, instrument,
            is_confirmed_doubt)
        values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        at.entry,
        at.study,
        specimen,
        occasion,
        time,
        weighing.mass_g,
        weighing.typed.text,
        unit,
        instrument,
        doubt,
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn override_rule(
    db: &mut SqliteConnection,
    at: &At<'_>,
    specimen: &str,
    occasion: &str,
) -> Applied {
    sqlx::query!(
        "insert into drying_override (entry, specimen, study, occasion, at)
        values (?1, ?2, ?3, ?4, ?5)",
        at.entry,
        specimen,
        at.study,
        occasion,
        at.received_at,
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Declares a weighing or an override void.
pub(super) async fn void(db: &mut SqliteConnection, entry: &str) -> Applied {
    sqlx::query!(
        "update drying set standing = 'void' where entry = ?1",
        entry
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "update drying_override set standing = 'void' where entry = ?1",
        entry
    )
    .execute(&mut *db)
    .await?;
    Ok(())
}
