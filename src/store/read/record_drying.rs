//! The drying of a study's pieces. Void weighings are included and say so, void overrides are not;
//! other studies' rows are not.

use sqlx::sqlite::SqliteConnection;

use super::record_pieces::unit;
use crate::store::rows::{choice, parsed, standing};
use crate::store::{StoreError, moment_from_text};
use crate::study::drying::DryingWeighing;
use crate::study::reading::Occasion;
use crate::study::record::{DryingRecord, OverrideRecord, WeighingRecord};
use crate::study::units::AsTyped;

const DOING: &str = "reading how a study's pieces dry";

pub(super) async fn drying(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<DryingRecord, StoreError> {
    Ok(DryingRecord {
        weighings: weighings(db, study).await?,
        overrides: overrides(db, study).await?,
    })
}

async fn weighings(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Vec<WeighingRecord>, StoreError> {
    let rows = sqlx::query!(
        r#"select d.entry, d.specimen, d.occasion, d.at, d.mass, d.typed, d.unit, d.instrument,
            d.is_confirmed_doubt as "is_confirmed_doubt: bool", d.standing, j.note
        from drying d join journal j on j.id = d.entry
        where d.study = ?1
        order by d.at, j.seq"#,
        study
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let mut weighings = Vec::with_capacity(rows.len());
    for row in rows {
        weighings.push(WeighingRecord {
            entry: parsed("entry", &row.entry)?,
            weighing: DryingWeighing {
                specimen: parsed("code", &row.specimen)?,
                occasion: choice("occasion", &row.occasion, Occasion::parse)?,
                at: moment_from_text(&row.at)?,
                mass_g: row.mass,
                typed: AsTyped {
                    text: row.typed,
                    unit: unit(&row.unit)?,
                },
                instrument: parsed("instrument", &row.instrument)?,
                is_confirmed_doubt: row.is_confirmed_doubt,
            },
            standing: standing(&row.standing)?,
            note: row.note,
        });
    }
    Ok(weighings)
}

async fn overrides(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Vec<OverrideRecord>, StoreError> {
    let rows = sqlx::query!(
        "select o.entry, o.specimen, o.occasion, o.at, j.note
        from drying_override o join journal j on j.id = o.entry
        where o.study = ?1 and o.standing = 'current'
        order by j.seq, o.specimen",
        study
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let mut overrides = Vec::with_capacity(rows.len());
    for row in rows {
        overrides.push(OverrideRecord {
            entry: parsed("entry", &row.entry)?,
            specimen: parsed("code", &row.specimen)?,
            occasion: choice("occasion", &row.occasion, Occasion::parse)?,
            reason: row.note.unwrap_or_default(),
            at: moment_from_text(&row.at)?,
        });
    }
    Ok(overrides)
}
