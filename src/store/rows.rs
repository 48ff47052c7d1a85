//! From text in rows to the types of `study`: the thirty lines that keep that room free of SQL.

use sqlx::IntoArguments;
use sqlx::query::Map;
use sqlx::sqlite::{Sqlite, SqliteConnection, SqliteRow};

use super::StoreError;
use crate::study::allocation::Place;
use crate::study::record::Standing;

const DOING: &str = "reading a row";

/// Every row of a checked query.
pub(super) async fn all<'q, F, A, R>(
    db: &mut SqliteConnection,
    doing: &'static str,
    query: Map<'q, Sqlite, F, A>,
) -> Result<Vec<R>, StoreError>
where
    F: FnMut(SqliteRow) -> Result<R, sqlx::Error> + Send,
    R: Send + Unpin,
    A: 'q + Send + IntoArguments<Sqlite>,
{
    query
        .fetch_all(db)
        .await
        .map_err(StoreError::while_doing(doing))
}

/// A fault of ours: a row holds something that this program never wrote.
pub(super) fn bad(what: &str, text: &str) -> StoreError {
    StoreError::new(DOING, format!("{text:?} is no {what}"))
}

/// Reads a value of a closed list.
pub(super) fn choice<T>(
    what: &str,
    text: &str,
    parse: impl Fn(&str) -> Option<T>,
) -> Result<T, StoreError> {
    parse(text).ok_or_else(|| bad(what, text))
}

/// Reads an id or a code.
pub(super) fn parsed<T: std::str::FromStr>(what: &str, text: &str) -> Result<T, StoreError> {
    text.parse().map_err(|_| bad(what, text))
}

/// Reads JSON.
pub(super) fn json<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, StoreError> {
    serde_json::from_str(text).map_err(StoreError::while_doing(DOING))
}

/// Whether an entry still counts.
pub(super) fn standing(text: &str) -> Result<Standing, StoreError> {
    match text {
        "current" => Ok(Standing::Current),
        "superseded" => Ok(Standing::Superseded),
        "void" => Ok(Standing::Void),
        other => Err(bad("standing", other)),
    }
}

/// What a piece is for, from its columns.
pub(super) fn place(
    role: Option<String>,
    condition: Option<String>,
    stage_days: Option<u32>,
    holder: Option<String>,
) -> Result<Option<Place>, StoreError> {
    let place = match role.as_deref() {
        None => return Ok(None),
        Some("baseline") => Place::Baseline,
        Some("spare") => Place::Spare,
        Some("late_reference") => Place::LateReference,
        Some("exposed") => match (condition, stage_days, holder) {
            (Some(condition), Some(stage_days), Some(holder)) => Place::Exposed {
                condition,
                stage_days,
                holder,
            },
            _ => return Err(bad("place", "exposed without condition, stage or holder")),
        },
        Some(other) => return Err(bad("role", other)),
    };
    Ok(Some(place))
}
