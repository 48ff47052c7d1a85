//! How the lab's own record stands, for the guards of one consignment.

use std::collections::BTreeMap;

use sqlx::sqlite::SqliteConnection;

use super::DOING;
use crate::store::StoreError;
use crate::store::rows::{all, parsed};
use crate::study::ids::{ConsignmentId, EntryId};
use crate::study::standing::EquipmentItem;

/// The consignments of a study, each with the one by which its lab is known.
pub(super) async fn labs(
    db: &mut SqliteConnection,
    study: &str,
) -> Result<BTreeMap<ConsignmentId, ConsignmentId>, StoreError> {
    let query = sqlx::query!(
        "select id, coalesce(same_lab_as, id) as lab from consignment where study = ?1",
        study
    );
    let rows = all(&mut *db, DOING, query).await?;
    rows.iter()
        .map(|row| {
            let lab = row.lab.as_str();
            Ok((parsed("consignment", &row.id)?, parsed("consignment", lab)?))
        })
        .collect()
}

/// Every version of every item of the lab's record, by its entry.
pub(super) async fn equipment(
    db: &mut SqliteConnection,
    consignment: &str,
) -> Result<BTreeMap<EntryId, EquipmentItem>, StoreError> {
    let query = sqlx::query!(
        r#"select e.entry, e.item, e.standing = 'current' as "is_current!: bool"
        from equipment e join consignment c on c.id = e.consignment
        where coalesce(c.same_lab_as, c.id) = (
            select coalesce(same_lab_as, id) from consignment where id = ?1
        )"#,
        consignment
    );
    let rows = all(&mut *db, DOING, query).await?;
    rows.iter()
        .map(|row| {
            let item = EquipmentItem {
                item: parsed("entry", &row.item)?,
                is_current: row.is_current,
            };
            Ok((parsed("entry", &row.entry)?, item))
        })
        .collect()
}
