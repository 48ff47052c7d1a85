//! Entries about photographs.

use sqlx::sqlite::SqliteConnection;

use super::{Applied, At};
use crate::study::entry::Entry;
use crate::study::ids::EntryId;
use crate::study::photograph::Photograph;

pub(super) async fn apply(db: &mut SqliteConnection, at: &At<'_>, entry: &Entry) -> Applied {
    match entry {
        Entry::PhotographTaken { photograph } => take(db, at, photograph).await,
        Entry::PhotographScaled {
            photograph,
            frame_mm,
        } => {
            let photograph = photograph.to_string();
            sqlx::query!(
                "update photograph set frame_mm = ?2 where entry = ?1",
                photograph,
                frame_mm
            )
            .execute(db)
            .await?;
            Ok(())
        }
        Entry::PhotographReleased { photograph, .. } => release(db, *photograph, true).await,
        Entry::PhotographWithheld { photograph } => release(db, *photograph, false).await,
        Entry::PhotographErased { photograph } => {
            let photograph = photograph.to_string();
            sqlx::query!(
                "update photograph set is_erased = 1, is_released = 0 where entry = ?1",
                photograph
            )
            .execute(db)
            .await?;
            Ok(())
        }
        _ => Ok(()),
    }
}

async fn take(db: &mut SqliteConnection, at: &At<'_>, photograph: &Photograph) -> Applied {
    let (described, files) = (&photograph.described, &photograph.files);
    let view = described.view.key();
    sqlx::query!(
        "insert into photograph
            (entry, study, view, frame_mm, width, height, large, small, sent, taken_at, holder)
        values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        at.entry,
        at.study,
        view,
        described.frame_mm,
        files.width,
        files.height,
        files.large,
        files.small,
        files.sent,
        at.taken_at,
        described.holder,
    )
    .execute(&mut *db)
    .await?;
    for specimen in &described.specimens {
        let specimen = specimen.as_str();
        sqlx::query!(
            "insert into photograph_of (entry, specimen) values (?1, ?2)",
            at.entry,
            specimen
        )
        .execute(&mut *db)
        .await?;
    }
    Ok(())
}

async fn release(db: &mut SqliteConnection, photograph: EntryId, is_released: bool) -> Applied {
    let photograph = photograph.to_string();
    sqlx::query!(
        "update photograph set is_released = ?2 where entry = ?1",
        photograph,
        is_released
    )
    .execute(db)
    .await?;
    Ok(())
}
