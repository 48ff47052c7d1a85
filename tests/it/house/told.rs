//! A data folder with the demo's story in its journal, told once per process and copied: a study that
//! holds every kind of entry, without a server around it.

use std::path::{Path, PathBuf};

use super::{PASSWORD, Person, TestServer};
use chrono::TimeDelta;
use overwinter::clock::Clock;
use overwinter::commands::demo::script::Script;
use overwinter::commands::demo::{PEGS, publish, story};
use overwinter::store::{DATABASE_FILE, Hold, Store};
use overwinter::study::entry::StudyStarted;
use overwinter::study::ids::AccountId;
use tempfile::TempDir;
use tokio::sync::OnceCell;

static TOLD: OnceCell<Vec<u8>> = OnceCell::const_new();

/// How a study of the tests begins.
pub fn beginning(clock: &Clock) -> StudyStarted {
    StudyStarted {
        slug: PEGS.slug.to_owned(),
        mark: PEGS.mark.to_owned(),
        title: PEGS.title.to_owned(),
        time_zone: "Europe/Oslo".to_owned(),
        steward: AccountId(clock.new_id()),
        is_after_the_fact: false,
    }
}

/// Opens an empty folder and begins a study in it.
pub async fn begun(folder: &Path) -> (Store, Script, tokio::task::JoinHandle<()>) {
    let store = Store::open(folder, Hold::Alone)
        .await
        .expect("an empty folder opens");
    let clock = Clock::set_at(story::beginning(Clock::system().now()), 5);
    let (journal, writer) = store.start_journal(clock.clone());
    let started = beginning(&clock);
    let script = Script::open((store.clone(), journal), clock, started)
        .await
        .expect("a study");
    (store, script, writer)
}

/// A folder of its own with the whole story in it, and the path of its database.
pub async fn folder() -> (TempDir, PathBuf) {
    let bytes = TOLD.get_or_init(tell).await;
    let folder = tempfile::tempdir().expect("a temporary folder");
    let database = folder.path().join(DATABASE_FILE);
    std::fs::write(&database, bytes).expect("the database is copied");
    (folder, database)
}

async fn tell() -> Vec<u8> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (store, script, writer) = begun(folder.path()).await;
    let (script, _) = story::tell(script)
        .await
        .expect("the story obeys the rules");
    drop(script);
    writer.await.expect("the writer ends");
    store.close().await.expect("the store closes");
    std::fs::read(folder.path().join(DATABASE_FILE)).expect("the database is read")
}

/// A running server with the whole story told and its first edition published, and its steward.
pub async fn served() -> (TestServer, Person) {
    let server = TestServer::start().await;
    let steward = server.with_account("ragna").await;
    let account = server.app.store.find_account("ragna").await;
    let account = account.expect("reads").expect("is there");
    let started = StudyStarted {
        steward: AccountId(account.id),
        ..beginning(&server.app.clock)
    };
    let parts = (server.app.store.clone(), server.app.journal.clone());
    let script = Script::open(parts, server.app.clock.clone(), started).await;
    let told = story::tell(script.expect("a study")).await;
    let (script, _) = told.expect("the story obeys the rules");
    publish(&script, PEGS.slug).await.expect("an edition");
    server.app.clock.advance(TimeDelta::hours(1));
    steward.sign_in("ragna", PASSWORD).await.is(303);
    (server, steward)
}
