//! A whole study, read in one snapshot: its own rows here, its pieces in `record_pieces`, its
//! consignments in `record_lab`. Notes are joined from the journal.

use std::sync::Arc;

use sqlx::sqlite::SqliteConnection;

use super::{
    record_custody, record_drying, record_lab, record_literature, record_photographs,
    record_pieces, record_series,
};
use crate::clock::hex;
use crate::store::rows::{all, choice, json, parsed};
use crate::store::{Store, StoreError, moment_from_text};
use crate::study::ids::{AccountId, StudyId};
use crate::study::licence::Licence;
use crate::study::reading::Instrument;
use crate::study::record::{EditionRecord, PlanVersion, Seal, StudyRecord, settle_retests};
use crate::study::units::Dimension;

const DOING: &str = "reading a study";

/// A study as lists show it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StudyLine {
    /// Its address.
    pub slug: String,
    /// Its title.
    pub title: String,
    /// Whether strangers may see it.
    pub is_public: bool,
    /// Whether its plan is sealed.
    pub is_sealed: bool,
    /// Its last edition's number; 0 before the first.
    pub editions: u32,
}

/// Who may enter a study.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StudyDoor {
    /// The study.
    pub id: StudyId,
    /// Whether strangers may see it.
    pub is_public: bool,
    /// Whether the person asked about is one of its stewards.
    pub is_steward: bool,
}

impl Store {
    /// Whether a study is public and whether a person is its steward; `None` when there is none.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn study_door(
        &self,
        slug: &str,
        account: Option<AccountId>,
    ) -> Result<Option<StudyDoor>, StoreError> {
        let account = account.map(|id| id.to_string());
        let row = sqlx::query!(
            r#"select id, is_public as "is_public: bool",
                exists (
                    select 1 from study_steward where study = id and account = ?2
                ) as "is_steward!: bool"
            from study
            where slug = ?1"#,
            slug,
            account
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        let Some(row) = row else { return Ok(None) };
        let (is_public, is_steward) = (row.is_public, row.is_steward);
        Ok(Some(StudyDoor {
            id: parsed("study", &row.id)?,
            is_public,
            is_steward,
        }))
    }

    /// Everything on record about the study with an address; `None` when there is none. Kept in
    /// memory until the study's journal grows.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn study_record(&self, slug: &str) -> Result<Option<Arc<StudyRecord>>, StoreError> {
        let mut snapshot = self
            .readers()
            .begin()
            .await
            .map_err(StoreError::while_doing(DOING))?;
        let Some(id) = sqlx::query_scalar!("select id from study where slug = ?1", slug)
            .fetch_optional(&mut *snapshot)
            .await
            .map_err(StoreError::while_doing(DOING))?
        else {
            return Ok(None);
        };
        let (entries, head) = head(&mut snapshot, &id).await?;
        if let Some(known) = self.kept_record(parsed("study", &id)?, &head) {
            return Ok(Some(known));
        }
        let record = Arc::new(load(&mut snapshot, &id, entries, head).await?);
        self.keep_record(Arc::clone(&record));
        Ok(Some(record))
    }

    /// The studies of a steward, by title.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn studies_of(&self, account: AccountId) -> Result<Vec<StudyLine>, StoreError> {
        let account = account.to_string();
        let rows = sqlx::query!(
            r#"select s.slug, s.title, s.is_public as "is_public: bool",
                exists (select 1 from seal where study = s.id) as "is_sealed!: bool",
                (select count(*) from edition where study = s.id) as "editions!: u32"
            from study s join study_steward w on w.study = s.id
            where w.account = ?1
            order by s.title, s.slug"#,
            account
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        let line = |row: (String, String, bool, bool, u32)| {
            let (slug, title, is_public, is_sealed, editions) = row;
            StudyLine {
                slug,
                title,
                is_public,
                is_sealed,
                editions,
            }
        };
        let rows = rows.into_iter();
        Ok(rows
            .map(|r| line((r.slug, r.title, r.is_public, r.is_sealed, r.editions)))
            .collect())
    }

    /// The public studies, by title.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn public_studies(&self) -> Result<Vec<StudyLine>, StoreError> {
        let rows = sqlx::query!(
            r#"select slug, title,
                exists (select 1 from seal where study = s.id) as "is_sealed!: bool",
                (select count(*) from edition where study = s.id) as "editions!: u32"
            from study s
            where is_public = 1
            order by title, slug"#
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        let line = |slug, title, is_sealed, editions| StudyLine {
            slug,
            title,
            is_public: true,
            is_sealed,
            editions,
        };
        let rows = rows.into_iter();
        Ok(rows
            .map(|r| line(r.slug, r.title, r.is_sealed, r.editions))
            .collect())
    }

    /// The title of the public study that a specimen code belongs to; nothing else about the piece.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn study_of_code(&self, code: &str) -> Result<Option<StudyLine>, StoreError> {
        let row = sqlx::query!(
            r#"select s.slug, s.title, s.is_public as "is_public: bool",
                exists (select 1 from seal where study = s.id) as "is_sealed!: bool"
            from specimen p join study s on s.id = p.study
            where p.code = ?1"#,
            code
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        Ok(row.map(|r| StudyLine {
            slug: r.slug,
            title: r.title,
            is_public: r.is_public,
            is_sealed: r.is_sealed,
            editions: 0,
        }))
    }
}

/// Number of entries and head of a study's chain.
async fn head(db: &mut SqliteConnection, study: &str) -> Result<(u64, String), StoreError> {
    let row = sqlx::query!(
        "select seq, hash from journal where chain = ?1 order by seq desc limit 1",
        study
    )
    .fetch_one(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    Ok((u64::try_from(row.seq).unwrap_or(0), hex(&row.hash)))
}

async fn load(
    db: &mut SqliteConnection,
    id: &str,
    entries: u64,
    head: String,
) -> Result<StudyRecord, StoreError> {
    let row = sqlx::query!(
        r#"select slug, mark, title, time_zone, is_after_the_fact as "is_after_the_fact: bool",
            is_public as "is_public: bool", started_at
        from study
        where id = ?1"#,
        id
    )
    .fetch_one(&mut *db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let mut specimens = record_pieces::specimens(db, id).await?;
    let consignments = record_lab::consignments(db, id).await?;
    settle_retests(&mut specimens, &consignments);
    Ok(StudyRecord {
        id: parsed::<StudyId>("study", id)?,
        slug: row.slug,
        mark: row.mark,
        title: row.title,
        time_zone: row.time_zone,
        is_after_the_fact: row.is_after_the_fact,
        is_public: row.is_public,
        started_at: moment_from_text(&row.started_at)?,
        stewards: stewards(db, id).await?,
        plans: plans(db, id).await?,
        seal: seal(db, id).await?,
        instruments: instruments(db, id).await?,
        checks: record_pieces::checks(db, id).await?,
        specimens,
        readings: record_pieces::readings(db, id).await?,
        voidings: record_pieces::voidings(db, id).await?,
        draws: record_pieces::draws(db, id).await?,
        drying: record_drying::drying(db, id).await?,
        series: record_series::series(db, id).await?,
        cited: record_literature::cited(db, id).await?,
        waivers: record_pieces::waivers(db, id).await?,
        events: record_pieces::events(db, id).await?,
        incidents: record_pieces::incidents(db, id).await?,
        photographs: record_photographs::photographs(db, id).await?,
        consignments,
        equipment: record_custody::equipment(db, id).await?,
        editions: editions(db, id).await?,
        witnesses: witnesses(db, id).await?,
        entries,
        head,
    })
}

async fn stewards(db: &mut SqliteConnection, id: &str) -> Result<Vec<AccountId>, StoreError> {
    let rows = sqlx::query_scalar!(
        "select account from study_steward where study = ?1 order by account",
        id
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    rows.iter()
        .map(|account| parsed("account", account))
        .collect()
}

async fn plans(db: &mut SqliteConnection, id: &str) -> Result<Vec<PlanVersion>, StoreError> {
    let query = sqlx::query!(
        r#"select p.version as "version: u32", p.body, p.sha256, p.at,
            p.is_amendment as "is_amendment: bool",
            p.is_knowing_results as "is_knowing_results: bool", j.note
        from plan p join journal j on j.id = p.entry
        where p.study = ?1
        order by p.version"#,
        id
    );
    let rows = all(&mut *db, DOING, query).await?;
    let mut plans = Vec::with_capacity(rows.len());
    for row in rows {
        plans.push(PlanVersion {
            version: row.version,
            plan: json(&row.body)?,
            sha256: row.sha256,
            at: moment_from_text(&row.at)?,
            amendment_reason: row.is_amendment.then(|| row.note.unwrap_or_default()),
            is_knowing_results: row.is_knowing_results,
        });
    }
    Ok(plans)
}

async fn seal(db: &mut SqliteConnection, id: &str) -> Result<Option<Seal>, StoreError> {
    let row = sqlx::query!(
        r#"select s.plan_version as "plan_version: u32", s.sha256, s.at, s.entry_hash,
            s.is_knowing_baseline as "is_knowing_baseline: bool",
            s.is_after_outing as "is_after_outing: bool", j.seq
        from seal s join journal j on j.id = s.entry
        where s.study = ?1"#,
        id
    )
    .fetch_optional(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(Seal {
        plan_version: row.plan_version,
        sha256: row.sha256,
        at: moment_from_text(&row.at)?,
        entry_seq: u64::try_from(row.seq).unwrap_or(0),
        entry_hash: row.entry_hash,
        is_knowing_baseline: row.is_knowing_baseline,
        is_after_outing: row.is_after_outing,
    }))
}

async fn instruments(db: &mut SqliteConnection, id: &str) -> Result<Vec<Instrument>, StoreError> {
    let query = sqlx::query!(
        "select id, name, dimension, readability, uncertainty from instrument
        where study = ?1
        order by name, id",
        id
    );
    let rows = all(&mut *db, DOING, query).await?;
    let mut instruments = Vec::with_capacity(rows.len());
    for row in rows {
        instruments.push(Instrument {
            id: parsed("instrument", &row.id)?,
            name: row.name,
            dimension: choice("dimension", &row.dimension, Dimension::parse)?,
            readability: row.readability,
            uncertainty: row.uncertainty,
        });
    }
    Ok(instruments)
}

async fn editions(db: &mut SqliteConnection, id: &str) -> Result<Vec<EditionRecord>, StoreError> {
    let query = sqlx::query!(
        r#"select e.number as "number: u32", e.at, e.is_interim as "is_interim: bool",
            e.findings_sha256, e.entry, e.licence, e.withdrawn_by is not null as "is_withdrawn!: bool", j.note as "note?"
        from edition e left join journal j on j.id = e.withdrawn_by
        where e.study = ?1
        order by e.number"#,
        id
    );
    let rows = all(&mut *db, DOING, query).await?;
    let mut editions = Vec::with_capacity(rows.len());
    for row in rows {
        editions.push(EditionRecord {
            number: row.number,
            at: moment_from_text(&row.at)?,
            is_interim: row.is_interim,
            findings_sha256: row.findings_sha256,
            entry: parsed("entry", &row.entry)?,
            licence: row.licence.as_deref().and_then(Licence::parse),
            withdrawn: row.is_withdrawn.then(|| row.note.unwrap_or_default()),
        });
    }
    Ok(editions)
}

async fn witnesses(db: &mut SqliteConnection, id: &str) -> Result<Vec<String>, StoreError> {
    let rows = sqlx::query_scalar!(
        "select w.place from witness w join journal j on j.id = w.entry
        where w.study = ?1
        order by j.seq",
        id
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    Ok(rows)
}
