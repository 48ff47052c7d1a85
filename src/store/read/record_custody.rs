//! The labs' own records, and what is known of each parcel's arrival.

use sqlx::sqlite::SqliteConnection;

use crate::store::rows::{all, choice, json, parsed};
use crate::store::{StoreError, moment_from_text};
use crate::study::break_test::TestSession;
use crate::study::entry::Actor;
use crate::study::photograph::Files;
use crate::study::record::{
    ArrivalShot, CustodyRecord, EquipmentRecord, EquipmentStanding, SettlementRecord, TransitRecord,
};

const DOING: &str = "reading a lab's record";

pub(super) async fn equipment(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<Vec<EquipmentRecord>, StoreError> {
    let query = sqlx::query!(
        "select entry, item, consignment, standing, body, origin from equipment
        where study = ?1
        order by seq",
        study
    );
    let rows = all(&mut *db, DOING, query).await?;
    let standing = |text: &str| match text {
        "current" => Some(EquipmentStanding::Current),
        "earlier" => Some(EquipmentStanding::Earlier),
        "wrong" => Some(EquipmentStanding::Wrong),
        _ => None,
    };
    rows.iter()
        .map(|row| {
            Ok(EquipmentRecord {
                entry: parsed("entry", &row.entry)?,
                item: parsed("entry", &row.item)?,
                consignment: parsed("consignment", &row.consignment)?,
                standing: choice("standing of an item", &row.standing, standing)?,
                equipment: json(&row.body)?,
                origin: row.origin.as_deref().map(json).transpose()?,
            })
        })
        .collect()
}

pub(super) async fn sessions(
    db: &mut SqliteConnection,
    consignment: &str,
) -> Result<Vec<TestSession>, StoreError> {
    let rows = sqlx::query_scalar!(
        "select body from test_session where consignment = ?1 order by number",
        consignment
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    rows.iter().map(|body| json(body)).collect()
}

pub(super) async fn custody(
    db: &mut SqliteConnection,
    consignment: &str,
) -> Result<CustodyRecord, StoreError> {
    let row = sqlx::query!(
        r#"select c.seal_number, c.receipt, j.note as "note?"
        from consignment c left join journal j on j.id = c.receipt_by
        where c.id = ?1"#,
        consignment
    )
    .fetch_one(&mut *db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    Ok(CustodyRecord {
        seal_number: row.seal_number,
        receipt: row.receipt.as_deref().map(json).transpose()?,
        receipt_note: row.note,
        settlements: settlements(db, consignment).await?,
        photographs: photographs(db, consignment).await?,
        transits: transits(db, consignment).await?,
    })
}

async fn settlements(
    db: &mut SqliteConnection,
    consignment: &str,
) -> Result<Vec<SettlementRecord>, StoreError> {
    let query = sqlx::query!(
        r#"select s.entry, s.about, s.at, s.is_earlier as "is_earlier: bool", j.actor,
            coalesce(j.note, '') as "words!"
        from settlement s join journal j on j.id = s.entry
        where s.consignment = ?1
        order by s.seq"#,
        consignment
    );
    let rows = all(&mut *db, DOING, query).await?;
    rows.into_iter()
        .map(|row| {
            let actor: Actor = parsed("actor", &row.actor)?;
            Ok(SettlementRecord {
                entry: parsed("entry", &row.entry)?,
                about: parsed("what differs", &row.about)?,
                is_of_lab: matches!(actor, Actor::Link(_)),
                at: moment_from_text(&row.at)?,
                words: row.words,
                is_earlier: row.is_earlier,
            })
        })
        .collect()
}

async fn photographs(
    db: &mut SqliteConnection,
    consignment: &str,
) -> Result<Vec<ArrivalShot>, StoreError> {
    let query = sqlx::query!(
        r#"select a.entry, a.blinds, p.width as "width: u32", p.height as "height: u32", p.large,
            p.small, p.sent, p.is_erased as "is_erased: bool",
            p.standing <> 'current' as "is_void!: bool", j.note
        from arrival_photograph a
            join photograph p on p.entry = a.entry
            join journal j on j.id = a.entry
        where a.consignment = ?1
        order by a.seq"#,
        consignment
    );
    let rows = all(&mut *db, DOING, query).await?;
    rows.into_iter()
        .map(|row| {
            let files = Files {
                width: row.width,
                height: row.height,
                large: row.large,
                small: row.small,
                sent: row.sent,
            };
            Ok(ArrivalShot {
                entry: parsed("entry", &row.entry)?,
                blinds: json(&row.blinds)?,
                files,
                is_erased: row.is_erased || row.is_void,
                note: row.note,
            })
        })
        .collect()
}

async fn transits(
    db: &mut SqliteConnection,
    consignment: &str,
) -> Result<Vec<TransitRecord>, StoreError> {
    let query = sqlx::query!(
        "select entry, body from transit where consignment = ?1 order by seq",
        consignment
    );
    let rows = all(&mut *db, DOING, query).await?;
    rows.iter()
        .map(|row| {
            Ok(TransitRecord {
                entry: parsed("entry", &row.entry)?,
                transit: json(&row.body)?,
            })
        })
        .collect()
}
