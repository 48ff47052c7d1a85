//! What the guards need to know, read inside the writer's transaction so that each entry sees those
//! before it in the same batch. Only what the entry names is loaded.

mod custody;
mod drying;
mod lab;
mod photograph;
mod retest;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use sqlx::sqlite::SqliteConnection;

use super::rows::bad;
use super::{StoreError, moment_from_text};
use crate::study::code::Code;
use crate::study::entry::{Actor, Chain, Entry, Envelope};
use crate::study::plan::Plan;
use crate::study::reading::{MoistureState, Occasion, Quantity};
use crate::study::specimen::Whereabouts;
use crate::study::standing::{SpecimenStanding, Standing, StudyStanding, TargetStanding};
use crate::study::units::Dimension;

const DOING: &str = "reading how a study stands";

/// Loads what the guards of an entry may ask.
pub(super) async fn load(
    db: &mut SqliteConnection,
    envelope: &Envelope,
    now: DateTime<Utc>,
) -> Result<Standing, StoreError> {
    let Chain::Study(study) = envelope.chain else {
        return Ok(Standing::default());
    };
    let study = study.to_string();
    let entry = &envelope.entry;
    let mut standing = Standing {
        study: study_standing(db, &study).await?,
        ..Standing::default()
    };
    for code in entry.specimens() {
        if let Some(piece) = specimen_standing(db, &study, code).await? {
            standing.specimens.insert(code.clone(), piece);
        }
    }
    if let Entry::Consigned(packed) = entry {
        standing.retests = retest::standings(db, &study, packed).await?;
    }
    standing.taken_codes = taken_codes(db, entry).await?;
    if let Entry::StudyStarted(started) = entry {
        standing.is_address_taken = is_address_taken(db, &started.slug, &started.mark).await?;
    }
    if let Some(id) = entry.consignment() {
        standing.consignment = lab::consignment(db, &study, &id.to_string()).await?;
    }
    let named = match entry {
        Entry::LinkExtended { link, .. } | Entry::LinkRevoked { link } => Some(*link),
        _ => match envelope.actor {
            Actor::Link(link) => Some(link),
            _ => None,
        },
    };
    if let Some(link) = named {
        let consignment = entry.consignment().map(|id| id.to_string());
        standing.link = lab::link(db, &study, link, consignment.as_deref(), now).await?;
    }
    if let Some(photo) = entry.photograph() {
        let known = standing
            .study
            .as_ref()
            .and_then(|known| known.plan.as_ref());
        let within = (study.as_str(), known.map(|(_, plan)| plan));
        standing.photograph = photograph::standing(db, within, &photo.to_string()).await?;
    }
    if let Some(target) = entry.target() {
        standing.target = target_standing(db, &study, &target.to_string()).await?;
    }
    Ok(standing)
}

async fn study_standing(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Option<StudyStanding>, StoreError> {
    let row = sqlx::query!(
        r#"select is_after_the_fact as "is_after_the_fact: bool", is_public as "is_public: bool",
            exists (select 1 from seal where study = ?1) as "is_sealed!: bool",
            exists (
                select 1 from event
                where study = ?1 and kind = 'put_out' and standing = 'current'
            ) as "is_out!: bool",
            exists (
                select 1 from specimen where study = ?1 and role is not null
            ) as "is_placed!: bool",
            exists (select 1 from consignment where study = ?1) as "is_consigned!: bool",
            coalesce((select max(number) from draw where study = ?1), 0) as "draws!: u32",
            (
                select plan_version from draw where study = ?1 and number > 0
                order by number desc limit 1
            ) as "draw_plan_version: u32",
            (select count(*) from specimen where study = ?1) as "specimens!: u32",
            coalesce((select max(number) from edition where study = ?1), 0) as "editions!: u32"
        from study
        where id = ?1"#,
        study
    )
    .fetch_optional(&mut *db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(StudyStanding {
        is_after_the_fact: row.is_after_the_fact,
        plan: plan(db, study).await?,
        is_sealed: row.is_sealed,
        stewards: stewards(db, study).await?,
        draws: row.draws,
        draw_plan_version: row.draw_plan_version,
        is_placed: row.is_placed,
        is_out: row.is_out,
        is_consigned: row.is_consigned,
        is_public: row.is_public,
        instruments: instruments(db, study).await?,
        specimens: row.specimens,
        editions: row.editions,
    }))
}

async fn plan(db: &mut SqliteConnection, study: &str) -> Result<Option<(u32, Plan)>, StoreError> {
    let row = sqlx::query!(
        r#"select version as "version: u32", body from plan
        where study = ?1
        order by version desc
        limit 1"#,
        study
    )
    .fetch_optional(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let Some(row) = row else { return Ok(None) };
    let plan = serde_json::from_str(&row.body).map_err(StoreError::while_doing(DOING))?;
    Ok(Some((row.version, plan)))
}

async fn stewards(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<BTreeSet<crate::study::ids::AccountId>, StoreError> {
    let rows = sqlx::query_scalar!("select account from study_steward where study = ?1", study)
        .fetch_all(db)
        .await
        .map_err(StoreError::while_doing(DOING))?;
    rows.iter()
        .map(|id| id.parse().map_err(|_| bad("account", id)))
        .collect()
}

async fn instruments(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<BTreeMap<crate::study::ids::InstrumentId, Dimension>, StoreError> {
    let rows = sqlx::query!(
        "select id, dimension from instrument where study = ?1",
        study
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let read = |id: &str, dimension: &str| {
        let id = id.parse().map_err(|_| bad("instrument", id))?;
        Ok((
            id,
            Dimension::parse(dimension).ok_or_else(|| bad("dimension", dimension))?,
        ))
    };
    rows.iter()
        .map(|row| read(&row.id, &row.dimension))
        .collect()
}

async fn specimen_standing(
    db: &mut SqliteConnection,
    study: &str,
    code: &Code,
) -> Result<Option<SpecimenStanding>, StoreError> {
    let text = code.as_str();
    let row = sqlx::query!(
        r#"select role, condition, stage_days as "stage_days: u32", holder, whereabouts,
            (
                select at from event
                where specimen = ?2 and standing = 'current' and kind <> 'packed'
                order by at desc limit 1
            ) as "last_event_at: String",
            exists (
                select 1 from waiver where specimen = ?2 and standing = 'current'
            ) as "is_waived!: bool"
        from specimen
        where study = ?1 and code = ?2"#,
        study,
        text
    )
    .fetch_optional(&mut *db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let Some(row) = row else { return Ok(None) };
    let place = super::rows::place(row.role, row.condition, row.stage_days, row.holder)?;
    let whereabouts = Whereabouts::parse(&row.whereabouts);
    Ok(Some(SpecimenStanding {
        place,
        whereabouts: whereabouts.ok_or_else(|| bad("whereabouts", &row.whereabouts))?,
        last_event_at: row
            .last_event_at
            .as_deref()
            .map(moment_from_text)
            .transpose()?,
        is_waived: row.is_waived,
        readings: readings(db, text).await?,
        drying: drying::weighings(db, text).await?,
        is_overridden: drying::overrides(db, text).await?,
    }))
}

type ReadingKey = (Quantity, Occasion, u8, MoistureState);

async fn readings(
    db: &mut SqliteConnection,
    specimen: &str,
) -> Result<BTreeSet<ReadingKey>, StoreError> {
    let rows = sqlx::query!(
        r#"select quantity, occasion, repeat as "repeat: u8", state from reading
        where specimen = ?1 and standing = 'current'"#,
        specimen
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let read = |quantity: String, occasion: &str, repeat: u8, state: &str| {
        let quantity = Quantity::try_from(quantity).map_err(StoreError::while_doing(DOING))?;
        let occasion = Occasion::parse(occasion).ok_or_else(|| bad("occasion", occasion))?;
        let state = MoistureState::parse(state).ok_or_else(|| bad("moisture state", state))?;
        Ok((quantity, occasion, repeat, state))
    };
    rows.into_iter()
        .map(|row| read(row.quantity, &row.occasion, row.repeat, &row.state))
        .collect()
}

async fn taken_codes(
    db: &mut SqliteConnection,
    entry: &Entry,
) -> Result<BTreeSet<Code>, StoreError> {
    let codes: Vec<&Code> = match entry {
        Entry::SpecimensMade { pieces } => pieces.iter().map(|piece| &piece.code).collect(),
        Entry::NamelessFound(found) => vec![&found.code],
        _ => Vec::new(),
    };
    let mut taken = BTreeSet::new();
    for code in codes {
        let text = code.as_str();
        let found = sqlx::query_scalar!("select code from specimen where code = ?1", text)
            .fetch_optional(&mut *db)
            .await
            .map_err(StoreError::while_doing(DOING))?;
        if found.is_some() {
            taken.insert(code.clone());
        }
    }
    Ok(taken)
}

async fn is_address_taken(
    db: &mut SqliteConnection,
    slug: &str,
    mark: &str,
) -> Result<bool, StoreError> {
    sqlx::query_scalar!(
        r#"select exists (select 1 from study where slug = ?1 or mark = ?2) as "is_taken!: bool""#,
        slug,
        mark
    )
    .fetch_one(db)
    .await
    .map_err(StoreError::while_doing(DOING))
}

async fn target_standing(
    db: &mut SqliteConnection,
    study: &str,
    entry: &str,
) -> Result<Option<TargetStanding>, StoreError> {
    let row = sqlx::query!(
        r#"select j.kind, j.note is not null as "has_note!: bool",
            coalesce(r.standing, t.standing, w.standing, i.standing, e.standing, d.standing,
                o.standing, h.standing, s.standing, c.standing, 'current') as "standing!: String",
            coalesce(r.specimen, t.blind, '') as "subject!: String",
            exists (
                select 1
                from event mine join event later
                    on later.specimen = mine.specimen and later.seq > mine.seq
                where mine.entry = ?2 and later.standing = 'current'
            ) or exists (
                select 1
                from event mine join piece p on p.specimen = mine.specimen
                where mine.entry = ?2
            ) or exists (
                select 1
                from waiver mine join event later
                    on later.specimen = mine.specimen and later.kind = 'put_out'
                where mine.entry = ?2 and later.standing = 'current'
            ) or exists (
                -- a dry mass that was taken on the strength of the weighing or the override
                select 1
                from reading later join journal l on l.id = later.entry
                where later.specimen = coalesce(d.specimen, o.specimen)
                    and later.occasion = coalesce(d.occasion, o.occasion)
                    and later.quantity = 'mass' and later.state <> 'wet'
                    and later.standing = 'current' and l.seq > j.seq
            ) as "is_rested_on!: bool"
        from journal j left join reading r on r.entry = j.id
        left join break_test t on t.entry = j.id
        left join waiver w on w.entry = j.id
        left join incident i on i.entry = j.id
        left join event e on e.entry = j.id
        left join drying d on d.entry = j.id
        left join drying_override o on o.entry = j.id
        left join photograph h on h.entry = j.id
        left join series s on s.entry = j.id
        left join cited_figure c on c.entry = j.id
        where j.chain = ?1 and j.id = ?2
        limit 1"#,
        study,
        entry
    )
    .fetch_optional(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(TargetStanding {
        kind: row.kind,
        standing: super::rows::standing(&row.standing)?,
        subject: row.subject,
        is_rested_on: row.is_rested_on,
        has_note: row.has_note,
    }))
}
