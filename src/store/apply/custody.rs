//! Entries about the lab's own record and about what came of a parcel.

use sqlx::sqlite::SqliteConnection;

use super::{Applied, At};
use crate::study::break_test::TestSession;
use crate::study::entry::Entry;
use crate::study::equipment::{Change, EquipmentKept, SetUpBrought};
use crate::study::ids::ConsignmentId;
use crate::study::photograph::View;
use crate::study::receipt::{ArrivalPhotograph, ParcelReceipt, TransitLogged};

pub(super) async fn apply(db: &mut SqliteConnection, at: &At<'_>, entry: &Entry) -> Applied {
    match entry {
        Entry::ParcelSealed {
            consignment,
            number,
        } => {
            let (consignment, number) = (consignment.to_string(), number.trim());
            sqlx::query!(
                "update consignment set seal_number = ?2 where id = ?1",
                consignment,
                number
            )
            .execute(db)
            .await?;
            Ok(())
        }
        Entry::LabLinked {
            consignment,
            same_as,
        } => link(db, *consignment, *same_as).await,
        Entry::EquipmentKept(kept) => keep(db, at, kept).await,
        Entry::ReceiptNoted(receipt) => receive(db, at, receipt).await,
        Entry::ArrivalPhotographed(photograph) => photograph_taken(db, at, photograph).await,
        Entry::TransitLogged(transit) => log(db, at, transit).await,
        Entry::DifferenceSettled { consignment, about } => {
            let (consignment, about) = (consignment.to_string(), about.to_string());
            sqlx::query!(
                "insert into settlement (entry, consignment, about, at, seq)
                values (?1, ?2, ?3, ?4, ?5)",
                at.entry,
                consignment,
                about,
                at.received_at,
                at.seq,
            )
            .execute(db)
            .await?;
            Ok(())
        }
        _ => Ok(()),
    }
}

/// A lab is known by one consignment; those that were known by this one go with it.
async fn link(
    db: &mut SqliteConnection,
    consignment: ConsignmentId,
    same_as: Option<ConsignmentId>,
) -> Applied {
    let consignment = consignment.to_string();
    let Some(other) = same_as.map(|other| other.to_string()) else {
        sqlx::query!(
            "update consignment set same_lab_as = null where id = ?1",
            consignment
        )
        .execute(db)
        .await?;
        return Ok(());
    };
    sqlx::query!(
        "update consignment
        set same_lab_as = (select coalesce(same_lab_as, id) from consignment where id = ?2)
        where id = ?1 or same_lab_as = ?1",
        consignment,
        other
    )
    .execute(db)
    .await?;
    Ok(())
}

pub(super) async fn bring(db: &mut SqliteConnection, brought: &SetUpBrought) -> Applied {
    let consignment = brought.consignment.to_string();
    let body = serde_json::to_string(&brought.session)?;
    sqlx::query!(
        "update consignment set brought = ?2 where id = ?1",
        consignment,
        body
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn keep(db: &mut SqliteConnection, at: &At<'_>, kept: &EquipmentKept) -> Applied {
    let before = kept.replaces.map(|entry| entry.to_string());
    if let Some(before) = &before {
        let standing = match kept.change {
            Some(Change::Wrong) => "wrong",
            _ => "earlier",
        };
        sqlx::query!(
            "update equipment set standing = ?2 where entry = ?1",
            before,
            standing
        )
        .execute(&mut *db)
        .await?;
    }
    let consignment = kept.consignment.to_string();
    let body = serde_json::to_string(&kept.equipment)?;
    let origin = kept
        .origin
        .as_ref()
        .map(serde_json::to_string)
        .transpose()?;
    let paper = kept.equipment.paper.as_ref();
    let paper = paper.map(|paper| paper.sha256.as_str());
    sqlx::query!(
        "insert into equipment (entry, item, study, consignment, body, paper_sha256, seq, origin)
        values (?1, coalesce((select item from equipment where entry = ?2), ?1), ?3, ?4, ?5, ?6, ?7, ?8)",
        at.entry,
        before,
        at.study,
        consignment,
        body,
        paper,
        at.seq,
        origin,
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What was settled about count and seal was about what was said before.
async fn receive(db: &mut SqliteConnection, at: &At<'_>, receipt: &ParcelReceipt) -> Applied {
    let consignment = receipt.consignment.to_string();
    let body = serde_json::to_string(receipt)?;
    sqlx::query!(
        "update consignment set receipt = ?2, receipt_by = ?3 where id = ?1",
        consignment,
        body,
        at.entry
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "update settlement set is_earlier = 1
        where consignment = ?1 and about in ('count', 'seal')",
        consignment
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What was settled about a piece was about what was said of it before.
pub(super) async fn arrived_anew(
    db: &mut SqliteConnection,
    consignment: &str,
    blind: &str,
) -> Applied {
    let about = format!("piece:{blind}");
    sqlx::query!(
        "update settlement set is_earlier = 1 where consignment = ?1 and about = ?2",
        consignment,
        about
    )
    .execute(db)
    .await?;
    Ok(())
}

/// A photograph like any other, of the pieces behind the blind codes; of all when it names none.
async fn photograph_taken(
    db: &mut SqliteConnection,
    at: &At<'_>,
    photograph: &ArrivalPhotograph,
) -> Applied {
    let files = &photograph.files;
    let view = View::Arrived.key();
    sqlx::query!(
        "insert into photograph (entry, study, view, frame_mm, width, height, large, small, sent, taken_at)
        values (?1, ?2, ?3, null, ?4, ?5, ?6, ?7, ?8, ?9)",
        at.entry,
        at.study,
        view,
        files.width,
        files.height,
        files.large,
        files.small,
        files.sent,
        at.taken_at,
    )
    .execute(&mut *db)
    .await?;
    let consignment = photograph.consignment.to_string();
    let blinds = serde_json::to_string(&photograph.blinds)?;
    sqlx::query!(
        "insert into arrival_photograph (entry, consignment, blinds, seq) values (?1, ?2, ?3, ?4)",
        at.entry,
        consignment,
        blinds,
        at.seq,
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "insert into photograph_of (entry, specimen)
        select distinct ?1, specimen from piece
        where consignment = ?2
            and (json_array_length(?3) = 0 or blind in (select value from json_each(?3)))",
        at.entry,
        consignment,
        blinds,
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn log(db: &mut SqliteConnection, at: &At<'_>, transit: &TransitLogged) -> Applied {
    let consignment = transit.consignment.to_string();
    let body = serde_json::to_string(transit)?;
    sqlx::query!(
        "insert into transit (entry, consignment, body, file_sha256, values_sha256, seq)
        values (?1, ?2, ?3, ?4, ?5, ?6)",
        at.entry,
        consignment,
        body,
        transit.file_sha256,
        transit.values_sha256,
        at.seq,
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The session as it was set last, and the one that it goes on with.
pub(super) async fn set_session(
    db: &mut SqliteConnection,
    at: &At<'_>,
    session: &TestSession,
) -> Applied {
    let consignment = session.consignment.to_string();
    let body = serde_json::to_string(session)?;
    let known = sqlx::query!(
        "select number, body from test_session where consignment = ?1 order by number",
        consignment
    )
    .fetch_all(&mut *db)
    .await?;
    let mut number = 1;
    for known in known {
        let before: TestSession = serde_json::from_str(&known.body)?;
        if session.goes_on_in(&before) {
            number = known.number;
            break;
        }
        number = known.number + 1;
    }
    sqlx::query!(
        "insert into test_session (consignment, number, body, entry) values (?1, ?2, ?3, ?4)
        on conflict (consignment, number) do update set body = ?3, entry = ?4",
        consignment,
        number,
        body,
        at.entry,
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        "update consignment set session_number = ?2 where id = ?1",
        consignment,
        number
    )
    .execute(db)
    .await?;
    Ok(())
}
