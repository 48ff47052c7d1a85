//! Entries about the study as a whole: its start, stewards, plan, seal, instruments, editions.

use sqlx::sqlite::SqliteConnection;

use super::{Applied, At};
use crate::study::edition::Published;
use crate::study::entry::{Entry, StudyStarted};
use crate::study::licence::Licence;
use crate::study::plan::{Plan, sha256_hex};
use crate::study::reading::{Instrument, InstrumentCheck};

pub(super) async fn apply(db: &mut SqliteConnection, at: &At<'_>, entry: &Entry) -> Applied {
    match entry {
        Entry::StudyStarted(started) => start(db, at, started).await,
        Entry::StewardAdded { account } => add_steward(db, at, &account.to_string()).await,
        Entry::StewardRemoved { account } => remove_steward(db, at, &account.to_string()).await,
        Entry::MadePublic {} => set_public(db, at, 1).await,
        Entry::MadePrivate {} => set_public(db, at, 0).await,
        Entry::PlanWritten { plan } => write_plan(db, at, plan, 0).await,
        Entry::Amended { plan } => write_plan(db, at, plan, 1).await,
        Entry::Sealed {
            plan_version,
            plan_sha256,
        } => seal(db, at, i64::from(*plan_version), plan_sha256).await,
        Entry::InstrumentAdded { instrument } => add_instrument(db, at, instrument).await,
        Entry::InstrumentChecked { check } => check_instrument(db, at, check).await,
        Entry::EditionPublished(edition) => publish(db, at, edition).await,
        Entry::EditionWithdrawn { number } => withdraw(db, at, i64::from(*number)).await,
        Entry::WitnessNoted { place } => note_witness(db, at, place).await,
        _ => Ok(()),
    }
}

async fn start(db: &mut SqliteConnection, at: &At<'_>, started: &StudyStarted) -> Applied {
    let is_after = i64::from(started.is_after_the_fact);
    sqlx::query!(
        "insert into study (id, slug, mark, title, time_zone, is_after_the_fact, started_at)
        values (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        at.study,
        started.slug,
        started.mark,
        started.title,
        started.time_zone,
        is_after,
        at.received_at,
    )
    .execute(&mut *db)
    .await?;
    add_steward(db, at, &started.steward.to_string()).await
}

async fn add_steward(db: &mut SqliteConnection, at: &At<'_>, account: &str) -> Applied {
    sqlx::query!(
        "insert into study_steward (study, account) values (?1, ?2)",
        at.study,
        account
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn remove_steward(db: &mut SqliteConnection, at: &At<'_>, account: &str) -> Applied {
    sqlx::query!(
        "delete from study_steward where study = ?1 and account = ?2",
        at.study,
        account
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn set_public(db: &mut SqliteConnection, at: &At<'_>, is_public: i64) -> Applied {
    sqlx::query!(
        "update study set is_public = ?2 where id = ?1",
        at.study,
        is_public
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn write_plan(
    db: &mut SqliteConnection,
    at: &At<'_>,
    plan: &Plan,
    is_amendment: i64,
) -> Applied {
    let body = serde_json::to_string(plan)?;
    let sha256 = sha256_hex(&plan.to_bytes()?);
    sqlx::query!(
        "insert into plan (study, version, body, sha256, at, entry, is_amendment, is_knowing_results)
        select ?1, 1 + coalesce((select max(version) from plan where study = ?1), 0),
            ?2, ?3, ?4, ?5, ?6,
            exists (select 1 from consignment where study = ?1 and unblinded_at is not null)",
        at.study,
        body,
        sha256,
        at.received_at,
        at.entry,
        is_amendment,
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn seal(db: &mut SqliteConnection, at: &At<'_>, version: i64, sha256: &str) -> Applied {
    sqlx::query!(
        "insert into seal (study, plan_version, sha256, at, entry, entry_hash,
            is_knowing_baseline, is_after_outing)
        select ?1, ?2, ?3, ?4, ?5, ?6,
            exists (
                select 1
                from consignment c join break_test t on t.consignment = c.id
                where c.study = ?1 and c.stage_days is null
            ),
            exists (
                select 1 from event
                where study = ?1 and kind = 'put_out' and standing = 'current'
            )",
        at.study,
        version,
        sha256,
        at.received_at,
        at.entry,
        at.hash,
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn add_instrument(db: &mut SqliteConnection, at: &At<'_>, new: &Instrument) -> Applied {
    let (id, dimension) = (new.id.to_string(), new.dimension.key());
    sqlx::query!(
        "insert into instrument (id, study, name, dimension, readability, uncertainty)
        values (?1, ?2, ?3, ?4, ?5, ?6)",
        id,
        at.study,
        new.name,
        dimension,
        new.readability,
        new.uncertainty,
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn check_instrument(
    db: &mut SqliteConnection,
    at: &At<'_>,
    check: &InstrumentCheck,
) -> Applied {
    let (instrument, body) = (check.instrument.to_string(), serde_json::to_string(check)?);
    sqlx::query!(
        "insert into instrument_check (entry, study, instrument, body, taken_at, seq)
        values (?1, ?2, ?3, ?4, ?5, ?6)",
        at.entry,
        at.study,
        instrument,
        body,
        at.taken_at,
        at.seq,
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn publish(db: &mut SqliteConnection, at: &At<'_>, edition: &Published) -> Applied {
    let (number, is_interim) = (i64::from(edition.number), i64::from(edition.is_interim));
    let licence = edition.licence.map(Licence::key);
    sqlx::query!(
        "insert into edition (study, number, entry, at, is_interim, findings_sha256, licence)
        values (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        at.study,
        number,
        at.entry,
        at.received_at,
        is_interim,
        edition.findings_sha256,
        licence,
    )
    .execute(&mut *db)
    .await?;
    for file in &edition.files {
        sqlx::query!(
            "insert into edition_file (study, number, path, media_type, sha256)
            values (?1, ?2, ?3, ?4, ?5)",
            at.study,
            number,
            file.path,
            file.media_type,
            file.sha256,
        )
        .execute(&mut *db)
        .await?;
    }
    Ok(())
}

async fn withdraw(db: &mut SqliteConnection, at: &At<'_>, number: i64) -> Applied {
    sqlx::query!(
        "update edition set withdrawn_by = ?3 where study = ?1 and number = ?2",
        at.study,
        number,
        at.entry
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn note_witness(db: &mut SqliteConnection, at: &At<'_>, place: &str) -> Applied {
    sqlx::query!(
        "insert into witness (entry, study, place) values (?1, ?2, ?3)",
        at.entry,
        at.study,
        place
    )
    .execute(db)
    .await?;
    Ok(())
}
