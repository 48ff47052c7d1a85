//! How the drying of a piece stands, for the guards.

use std::collections::BTreeSet;

use sqlx::sqlite::SqliteConnection;

use crate::store::rows::bad;
use crate::store::{StoreError, moment_from_text};
use crate::study::drying::Weighing;
use crate::study::reading::Occasion;

const DOING: &str = "reading how a piece dries";

fn occasion(text: &str) -> Result<Occasion, StoreError> {
    Occasion::parse(text).ok_or_else(|| bad("occasion", text))
}

/// The weighings that count, in the order of their times.
pub(super) async fn weighings(
    db: &mut SqliteConnection,
    specimen: &str,
) -> Result<Vec<(Occasion, Weighing)>, StoreError> {
    let rows = sqlx::query!(
        "select d.occasion, d.at, d.mass, i.readability
        from drying d join instrument i on i.id = d.instrument
        where d.specimen = ?1 and d.standing = 'current'
        order by d.at, d.entry",
        specimen
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let mut weighings = Vec::with_capacity(rows.len());
    for row in rows {
        let weighing = Weighing {
            at: moment_from_text(&row.at)?,
            mass_g: row.mass,
            readability_g: row.readability,
        };
        weighings.push((occasion(&row.occasion)?, weighing));
    }
    Ok(weighings)
}

/// The occasions for which the rule is overridden.
pub(super) async fn overrides(
    db: &mut SqliteConnection,
    specimen: &str,
) -> Result<BTreeSet<Occasion>, StoreError> {
    let rows = sqlx::query_scalar!(
        "select occasion from drying_override where specimen = ?1 and standing = 'current'",
        specimen
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    rows.iter().map(|text| occasion(text)).collect()
}
