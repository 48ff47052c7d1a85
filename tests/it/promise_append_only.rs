//! Promise 2: nothing is overwritten. Any changed byte of the journal or of a projected table is found
//! by `verify`; a cut tail and a rewritten chain are found against a head noted elsewhere, and only so.

use overwinter::store::verify::{Witness, verify};
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{AssertSqlSafe, ConnectOptions, Connection, Row};
use std::collections::BTreeMap;
use std::path::Path;

use crate::house::told;

/// Opens a database as a vandal would: no foreign keys, no triggers that protect the journal.
async fn vandal(database: &Path) -> SqliteConnection {
    let options = SqliteConnectOptions::new()
        .filename(database)
        .foreign_keys(false);
    let mut db = options.connect().await.expect("the database opens");
    sqlx::raw_sql("drop trigger if exists journal_is_append_only; drop trigger if exists journal_is_never_cut")
        .execute(&mut db)
        .await
        .expect("the vandal drops the triggers");
    db
}

async fn faults(database: &Path) -> Vec<String> {
    verify(database, &[])
        .await
        .expect("the database can be read")
        .faults
}

/// Tables and columns of the journal and everything made from it: not what people and secrets need, and not the
/// machines' files that wait for a person to look at them.
async fn columns(db: &mut SqliteConnection) -> Vec<Column> {
    let rows = sqlx::query(
        "select t.name, c.name, c.type from sqlite_master t join pragma_table_info(t.name) c
        where t.type = 'table' and t.name not in ('account', 'session', 'lab_secret', 'blob',
            'projection', 'curve_file', '_sqlx_migrations') and t.name not like 'sqlite_%'
        order by 1, c.cid",
    )
    .fetch_all(db)
    .await
    .expect("the schema is read");
    rows.iter()
        .map(|row| (row.get(0), row.get(1), row.get(2)))
        .collect()
}

/// Changes one value in a row of a table by as little as its type allows; false when the table is
/// empty or the change is not possible there.
async fn change(db: &mut SqliteConnection, table: &str, column: &str, kind: &str) -> bool {
    let new = match kind {
        "INTEGER" => format!("coalesce({column}, 0) + 1"),
        "REAL" => format!("coalesce({column}, 0) * (1 + 3e-16) + 1e-300"),
        "BLOB" => format!(
            "case when {column} is null then x'00' else
                unhex(substr(hex({column}), 1, 2 * length({column}) - 1) ||
                case substr(hex({column}), -1) when '0' then '1' else '0' end) end"
        ),
        _ => format!(
            "case when coalesce({column}, '') = '' then 'x' else
                substr({column}, 1, length({column}) - 1) ||
                case substr({column}, -1) when '1' then '2' else '1' end end"
        ),
    };
    // The last row in the table's own order: not one that the rest hangs on.
    let sql = format!(
        "update {table} set {column} = {new}
        where {column} is (select {column} from {table} order by {column} desc limit 1)
        and (select count(*) from {table} x where x.{column} is {table}.{column}) >= 1
        returning 1"
    );
    match sqlx::query(AssertSqlSafe(sql)).fetch_all(db).await {
        Ok(rows) => !rows.is_empty(),
        // A check or a unique key of the database itself stopped the vandal.
        Err(sqlx::Error::Database(_)) => false,
        Err(other) => panic!("{table}.{column}: {other}"),
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn any_changed_value_of_the_journal_or_a_table_is_found() {
    let (_folder, database) = told::folder().await;
    assert_eq!(
        faults(&database).await,
        Vec::<String>::new(),
        "the story itself verifies"
    );
    let original = std::fs::read(&database).expect("the database is read");
    let mut db = vandal(&database).await;
    let columns = columns(&mut db).await;
    db.close().await.expect("closes");
    let mut changed = 0;
    for round in rounds(&columns) {
        std::fs::write(&database, &original).expect("the original is put back");
        let mut db = vandal(&database).await;
        let mut done = Vec::new();
        for (table, column, kind) in round {
            if change(&mut db, table, column, kind).await {
                done.push((table, column));
            }
        }
        db.close().await.expect("closes");
        let found = faults(&database).await;
        for (table, column) in &done {
            let is_named = |fault: &String| fault.starts_with(&format!("Table {table}: "));
            let is_found = if *table == "journal" {
                !found.is_empty()
            } else {
                found.iter().any(is_named)
            };
            assert!(is_found, "{table}.{column} was changed unseen: {found:?}");
        }
        changed += done.len();
    }
    assert!(
        changed > 120,
        "only {changed} of {} columns could be tried",
        columns.len()
    );
}

type Column = (String, String, String);

/// What is changed at once: a column of the journal alone, since the tables are held against it; else one column of
/// each table, which a fault names.
fn rounds(columns: &[Column]) -> Vec<Vec<&Column>> {
    let (journal, tables): (Vec<&Column>, Vec<&Column>) =
        columns.iter().partition(|(table, ..)| table == "journal");
    let mut rounds: Vec<Vec<&Column>> = journal.into_iter().map(|one| vec![one]).collect();
    let alone = rounds.len();
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for column in tables {
        let nth = seen.entry(&column.0).or_insert(alone);
        if rounds.len() == *nth {
            rounds.push(Vec::new());
        }
        rounds[*nth].push(column);
        *nth += 1;
    }
    rounds
}

#[tokio::test]
async fn a_row_taken_out_of_the_journal_or_a_table_is_found() {
    let (_folder, database) = told::folder().await;
    let original = std::fs::read(&database).expect("the database is read");
    for statement in [
        "delete from journal where seq = 7 and chain <> 'server'",
        "delete from reading where entry = (select max(entry) from reading)",
        "delete from waiver",
        "insert into witness (entry, study, place) select 'x', id, 'nowhere' from study",
    ] {
        std::fs::write(&database, &original).expect("the original is put back");
        let mut db = vandal(&database).await;
        sqlx::query(statement)
            .execute(&mut db)
            .await
            .expect(statement);
        db.close().await.expect("closes");
        assert!(!faults(&database).await.is_empty(), "{statement}");
    }
}

#[tokio::test]
async fn the_database_itself_refuses_to_change_the_journal() {
    let (_folder, database) = told::folder().await;
    let options = SqliteConnectOptions::new().filename(&database);
    let mut db = options.connect().await.expect("opens");
    for statement in [
        "update journal set body = x'00' where seq = 3",
        "update journal set note = 'another' where note is not null",
        "delete from journal where seq = 3",
    ] {
        let refused = sqlx::query(statement).execute(&mut db).await;
        assert!(
            refused.is_err_and(|e| e.to_string().contains("append-only")),
            "{statement}"
        );
    }
}

/// Cuts the last entry of the study off, and everything that came from it, without a trace inside.
async fn cut_tail(database: &Path) -> Witness {
    let mut db = vandal(database).await;
    let row = sqlx::query(
        "select chain, seq, lower(hex(hash)) from journal where chain <> 'server'
        order by seq desc limit 1",
    )
    .fetch_one(&mut db)
    .await
    .expect("the head is read");
    let head = Witness {
        chain: row.get(0),
        seq: row.get(1),
        hash: row.get(2),
    };
    sqlx::query("delete from journal where chain = ?1 and seq = ?2")
        .bind(&head.chain)
        .bind(head.seq)
        .execute(&mut db)
        .await
        .expect("the tail is cut");
    sqlx::query("update projection set version = 0")
        .execute(&mut db)
        .await
        .expect("to be rebuilt");
    db.close().await.expect("closes");
    head
}

#[tokio::test]
async fn a_cut_tail_is_found_against_a_noted_head_and_not_without() {
    let (folder, database) = told::folder().await;
    let head = cut_tail(&database).await;
    // Opening rebuilds the tables, so that inside everything fits again.
    let store = overwinter::store::Store::open(folder.path(), overwinter::store::Hold::Alone).await;
    store.expect("opens").close().await.expect("closes");
    assert_eq!(
        faults(&database).await,
        Vec::<String>::new(),
        "inside, nothing shows"
    );
    let report = verify(&database, std::slice::from_ref(&head))
        .await
        .expect("verifies");
    assert_eq!(report.faults.len(), 1, "{:?}", report.faults);
    assert!(report.faults[0].contains("cut off"), "{:?}", report.faults);
    let rewritten = Witness {
        seq: head.seq - 1,
        ..head
    };
    let report = verify(&database, &[rewritten]).await.expect("verifies");
    assert!(
        report.faults[0].contains("written anew"),
        "{:?}",
        report.faults
    );
}

#[test]
fn a_noted_line_is_found_in_a_mail_and_in_a_saved_page() {
    let hash = "ab".repeat(32);
    let line = Witness::line("0192f0c0-0000-7000-8000-000000000001", 41, &hash);
    let mail = format!("Dear all,\n> {line}\nregards");
    let page = format!("<p>Seal: <code>{line}</code>.</p>");
    for text in [mail, page] {
        let found = Witness::find_all(&text);
        assert_eq!(found.len(), 1, "{text}");
        assert_eq!((found[0].seq, found[0].hash.as_str()), (41, hash.as_str()));
    }
    assert!(Witness::find_all("nothing to see").is_empty());
}

#[tokio::test]
async fn rebuilding_gives_the_same_tables() {
    let (folder, database) = told::folder().await;
    let mut db = vandal(&database).await;
    for statement in [
        "delete from reading",
        "update specimen set whereabouts = 'lost'",
    ] {
        sqlx::query(statement)
            .execute(&mut db)
            .await
            .expect(statement);
    }
    db.close().await.expect("closes");
    assert!(!faults(&database).await.is_empty());
    let store = overwinter::store::Store::open(folder.path(), overwinter::store::Hold::Alone)
        .await
        .expect("opens");
    assert!(store.rebuild().await.expect("is rebuilt") > 300);
    store.close().await.expect("closes");
    assert_eq!(faults(&database).await, Vec::<String>::new());
}
