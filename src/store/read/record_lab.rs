//! The consignments of a study, each with its pieces, tests, links and way. Values are here whether
//! or not it is unblinded: who may see them is decided by the pages.

use chrono::{DateTime, Utc};
use sqlx::sqlite::SqliteConnection;

use super::record_custody;
use super::record_pieces::unit;
use crate::store::rows::{all, choice, json, parsed, standing};
use crate::store::{Store, StoreError, moment_from_text};
use crate::study::break_test::{BreakTest, FailureMode, Looks, Outcome};
use crate::study::consignment::{Arrival, Contents, Label, ParcelState};
use crate::study::ids::{ConsignmentId, LinkId};
use crate::study::record::{ConsignmentRecord, LinkRecord, PieceRecord, TestRecord};
use crate::study::units::AsTyped;

const DOING: &str = "reading a study's consignments";

/// Where a lab link leads.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LinkTarget {
    /// The address of its study.
    pub slug: String,
    /// Its consignment.
    pub consignment: ConsignmentId,
    /// When it ends.
    pub ends_at: DateTime<Utc>,
    /// Whether it was revoked.
    pub is_revoked: bool,
}

impl Store {
    /// Where a lab link leads; `None` when there is no such link.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn link_target(&self, link: LinkId) -> Result<Option<LinkTarget>, StoreError> {
        let id = link.to_string();
        let row = sqlx::query!(
            r#"select s.slug, l.consignment, l.ends_at, l.is_revoked as "is_revoked: bool"
            from lab_link l join study s on s.id = l.study
            where l.id = ?1"#,
            id
        )
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        let Some(row) = row else { return Ok(None) };
        Ok(Some(LinkTarget {
            slug: row.slug,
            consignment: parsed("consignment", &row.consignment)?,
            ends_at: moment_from_text(&row.ends_at)?,
            is_revoked: row.is_revoked,
        }))
    }
}

impl Store {
    /// The lab links to a consignment, also revoked ones.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn links_to(&self, consignment: ConsignmentId) -> Result<Vec<LinkId>, StoreError> {
        let id = consignment.to_string();
        let rows = sqlx::query_scalar!(
            "select id from lab_link where consignment = ?1 order by id",
            id
        )
        .fetch_all(self.readers())
        .await
        .map_err(StoreError::while_doing(DOING))?;
        rows.iter().map(|link| parsed("link", link)).collect()
    }
}

pub(super) async fn consignments(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Vec<ConsignmentRecord>, StoreError> {
    let query = sqlx::query!(
        r#"select c.id, c.lab, c.stage_days as "stage_days: u32", c.packed_at, c.parcel, c.session, c.same_lab_as,
            c.brought,
            c.finished_at, c.unblinded_at, c.is_early as "is_early: bool", j.note as "note?"
        from consignment c left join journal j on j.id = c.unblinded_by
        where c.study = ?1
        order by c.packed_at, c.id"#,
        study
    );
    let rows = all(&mut *db, DOING, query).await?;
    let mut consignments = Vec::with_capacity(rows.len());
    for row in rows {
        consignments.push(ConsignmentRecord {
            id: parsed("consignment", &row.id)?,
            lab: row.lab,
            contents: row
                .stage_days
                .map_or(Contents::Baseline, |days| Contents::Stage { days }),
            packed_at: moment_from_text(&row.packed_at)?,
            parcel: choice("state of a parcel", &row.parcel, ParcelState::parse)?,
            way: way(db, &row.id).await?,
            pieces: pieces(db, &row.id).await?,
            session: row.session.as_deref().map(json).transpose()?,
            sessions: record_custody::sessions(db, &row.id).await?,
            same_lab_as: row
                .same_lab_as
                .map(|id| parsed("consignment", &id))
                .transpose()?,
            brought: row.brought.as_deref().map(json).transpose()?,
            custody: record_custody::custody(db, &row.id).await?,
            tests: tests(db, &row.id).await?,
            curves: super::curve::curves(db, &row.id).await?,
            links: links(db, &row.id).await?,
            finished_at: row
                .finished_at
                .as_deref()
                .map(moment_from_text)
                .transpose()?,
            unblinded_at: row
                .unblinded_at
                .as_deref()
                .map(moment_from_text)
                .transpose()?,
            early_reason: row.is_early.then(|| row.note.unwrap_or_default()),
            reopened: reopened(db, &row.id).await?,
        });
    }
    Ok(consignments)
}

async fn way(
    db: &mut SqliteConnection,
    consignment: &str,
) -> Result<Vec<(ParcelState, DateTime<Utc>)>, StoreError> {
    let query = sqlx::query!(
        "select state, at from parcel_event where consignment = ?1 order by seq",
        consignment
    );
    let rows = all(&mut *db, DOING, query).await?;
    rows.iter()
        .map(|row| {
            let state = choice("state of a parcel", &row.state, ParcelState::parse)?;
            Ok((state, moment_from_text(&row.at)?))
        })
        .collect()
}

async fn pieces(
    db: &mut SqliteConnection,
    consignment: &str,
) -> Result<Vec<PieceRecord>, StoreError> {
    let query = sqlx::query!(
        r#"select p.specimen, p.blind, p.position as "position: u32", p.label, p.retest_of, p.arrival,
            p.looks,
            j.note as "note?"
        from piece p left join journal j on j.id = p.arrived_by
        where p.consignment = ?1
        order by p.position"#,
        consignment
    );
    let rows = all(&mut *db, DOING, query).await?;
    let mut pieces = Vec::with_capacity(rows.len());
    for row in rows {
        pieces.push(PieceRecord {
            specimen: parsed("code", &row.specimen)?,
            blind: parsed("blind code", &row.blind)?,
            position: row.position,
            label: choice("label", &row.label, Label::parse)?,
            retest_of: row.retest_of.map(|of| parsed("code", &of)).transpose()?,
            arrival: row
                .arrival
                .map(|text| choice("arrival", &text, Arrival::parse))
                .transpose()?,
            arrival_note: row.note,
            looks: row
                .looks
                .map(|text| choice("look", &text, Looks::parse))
                .transpose()?,
        });
    }
    Ok(pieces)
}

async fn tests(
    db: &mut SqliteConnection,
    consignment: &str,
) -> Result<Vec<TestRecord>, StoreError> {
    let query = sqlx::query!(
        r#"select t.entry, t.blind, t.outcome, t.max_load_n, t.typed, t.unit, t.energy_j,
            t.mode, t.failure,
            t.is_out_of_order as "is_out_of_order: bool",
            t.is_confirmed_doubt as "is_confirmed_doubt: bool", t.received_at, t.standing,
            t.supersedes, t.is_knowing_group as "is_knowing_group: bool",
            t.session as "session: u32", j.note
        from break_test t join journal j on j.id = t.entry
        where t.consignment = ?1
        order by j.seq"#,
        consignment
    );
    let rows = all(&mut *db, DOING, query).await?;
    let id: ConsignmentId = parsed("consignment", consignment)?;
    let mut tests = Vec::with_capacity(rows.len());
    for row in rows {
        let typed = match (row.typed, row.unit) {
            (Some(text), Some(key)) => Some(AsTyped {
                text,
                unit: unit(&key)?,
            }),
            _ => None,
        };
        tests.push(TestRecord {
            entry: parsed("entry", &row.entry)?,
            test: BreakTest {
                consignment: id,
                blind: parsed("blind code", &row.blind)?,
                outcome: choice("outcome", &row.outcome, Outcome::parse)?,
                max_load_n: row.max_load_n,
                typed,
                energy_j: row.energy_j,
                mode: choice("failure mode", &row.mode, FailureMode::parse)?,
                failure: row.failure.as_deref().map(json).transpose()?,
                is_out_of_order: row.is_out_of_order,
                is_confirmed_doubt: row.is_confirmed_doubt,
            },
            received_at: moment_from_text(&row.received_at)?,
            standing: standing(&row.standing)?,
            supersedes: row.supersedes.map(|id| parsed("entry", &id)).transpose()?,
            is_knowing_group: row.is_knowing_group,
            note: row.note,
            session: row.session,
        });
    }
    Ok(tests)
}

async fn links(
    db: &mut SqliteConnection,
    consignment: &str,
) -> Result<Vec<LinkRecord>, StoreError> {
    let query = sqlx::query!(
        r#"select id, days as "days: u32", ends_at, is_revoked as "is_revoked: bool" from lab_link
        where consignment = ?1
        order by id"#,
        consignment
    );
    let rows = all(&mut *db, DOING, query).await?;
    let mut links = Vec::with_capacity(rows.len());
    for row in rows {
        links.push(LinkRecord {
            id: parsed("link", &row.id)?,
            days: row.days,
            ends_at: moment_from_text(&row.ends_at)?,
            is_revoked: row.is_revoked,
        });
    }
    Ok(links)
}

async fn reopened(db: &mut SqliteConnection, consignment: &str) -> Result<Vec<String>, StoreError> {
    let rows = sqlx::query_scalar!(
        r#"select coalesce(j.note, '') as "note!" from reopening r join journal j on j.id = r.entry
        where r.consignment = ?1
        order by j.seq"#,
        consignment
    )
    .fetch_all(db)
    .await;
    rows.map_err(StoreError::while_doing(DOING))
}
