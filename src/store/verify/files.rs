//! Whether every file is what its name says, and every file that the tables name is there.

use std::collections::BTreeSet;

use sha2::{Digest, Sha256};
use sqlx::sqlite::SqliteConnection;

use super::{DOING, Report};
use crate::clock::hex;
use crate::store::StoreError;

/// Every file that the tables name: what it is, and its SHA-256. Those of a photograph that an entry
/// erased are rightly gone.
const NAMED: &str = "
    select 'Study ' || study || ', edition ' || number || ': the file ' || path, sha256
    from live.edition_file
    union all
    select 'Study ' || study || ', photograph ' || entry || ': the large picture', large
    from live.photograph where is_erased = 0
    union all
    select 'Study ' || study || ', photograph ' || entry || ': the small picture', small
    from live.photograph where is_erased = 0
    union all
    select 'Entry ' || entry || ': the file of its curve', file_sha256 from live.curve
    union all
    select 'Entry ' || entry || ': its certificate or drawing', paper_sha256
    from live.equipment where paper_sha256 is not null
    union all
    select 'Entry ' || entry || ': the photograph of its item',
        cast(iif(json_valid(body), body ->> '$.picture.large', null) as text) as sha256
    from live.equipment where sha256 is not null
    union all
    select 'Entry ' || entry || ': the small photograph of its item',
        cast(iif(json_valid(body), body ->> '$.picture.small', null) as text) as sha256
    from live.equipment where sha256 is not null
    union all
    select 'Entry ' || entry || ': the file of its logger', file_sha256 from live.transit
    union all
    select 'Entry ' || entry || ': the values of its logger', values_sha256 from live.transit
    order by 1";

/// Whether every file is what its name says, and every file that the tables name is there.
pub(super) async fn blobs(
    db: &mut SqliteConnection,
    report: &mut Report,
) -> Result<(), StoreError> {
    let known = sqlx::query_scalar::<_, Vec<u8>>("select sha256 from live.blob order by sha256")
        .fetch_all(&mut *db)
        .await
        .map_err(StoreError::while_doing(DOING))?;
    for sha256 in &known {
        report.files += 1;
        let bytes =
            sqlx::query_scalar::<_, Vec<u8>>("select bytes from live.blob where sha256 = ?1")
                .bind(sha256)
                .fetch_one(&mut *db)
                .await
                .map_err(StoreError::while_doing(DOING))?;
        if Sha256::digest(&bytes).as_slice() != sha256.as_slice() {
            report
                .faults
                .push(format!("The file {} was changed.", hex(sha256)));
        }
    }
    let known: BTreeSet<String> = known.iter().map(|sha256| hex(sha256)).collect();
    let named = sqlx::query_as::<_, (String, String)>(NAMED)
        .fetch_all(&mut *db)
        .await
        .map_err(StoreError::while_doing(DOING))?;
    for (name, sha256) in named {
        if !known.contains(&sha256) {
            report.faults.push(format!("{name} is missing."));
        }
    }
    series_files(db, &known, report).await
}

/// The files of every series: the original and the values.
async fn series_files(
    db: &mut SqliteConnection,
    known: &BTreeSet<String>,
    report: &mut Report,
) -> Result<(), StoreError> {
    let named = sqlx::query_as::<_, (String, String, String)>(
        "select entry, file_sha256, values_sha256 from live.series order by entry",
    )
    .fetch_all(db)
    .await
    .map_err(StoreError::while_doing(DOING))?;
    for (entry, file, values) in named {
        for (sha256, what) in [(file, "original file"), (values, "file of values")] {
            if !known.contains(&sha256) {
                report
                    .faults
                    .push(format!("Series {entry}: its {what} is missing."));
            }
        }
    }
    Ok(())
}
