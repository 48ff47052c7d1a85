//! The server in the test's own process: the same `web::serve` that the binary calls, on a free
//! port, with a database of its own and a clock that the test moves.

use super::{PASSWORD, Person};
use argon2::password_hash::PasswordHasher;
use chrono::{DateTime, Utc};
use overwinter::clock::Clock;
use overwinter::config::Config;
use overwinter::store::{AddAccount, DATABASE_FILE, Hold, NewAccount, Store};
use overwinter::web::{self, App};
use std::sync::LazyLock;
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::sync::{OnceCell, oneshot};
use tokio::task::JoinHandle;

/// A database that has run every migration, made once per process and copied for each test.
static MIGRATED: OnceCell<Vec<u8>> = OnceCell::const_new();

/// Hashed once per process: the cost is meant to be felt, but not by every test.
static PASSWORD_HASH: LazyLock<String> = LazyLock::new(|| {
    let hashed = argon2::Argon2::default().hash_password_with_salt(PASSWORD.as_bytes(), &[7; 16]);
    hashed.expect("the password hashes").to_string()
});

/// A running server. Stops when dropped; its folder goes unless the test failed.
pub struct TestServer {
    pub app: App,
    pub base: String,
    folder: Option<TempDir>,
    stop: Option<oneshot::Sender<()>>,
    serving: Option<JoinHandle<std::io::Result<()>>>,
}

impl TestServer {
    /// With the settings of a first start.
    pub async fn start() -> Self {
        Self::start_with(|_| {}).await
    }

    /// With other settings.
    pub async fn start_with(change: impl FnOnce(&mut Config)) -> Self {
        let folder = fresh_folder().await;
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let address = listener.local_addr().expect("an address");
        let mut config = Config::at(folder.path(), address);
        change(&mut config);
        let store = Store::open(folder.path(), Hold::Alone)
            .await
            .expect("a fresh folder opens");
        let app = App::new(store, Clock::set_at(start_of_tests(), 1), config);
        let (stop, stopped) = oneshot::channel::<()>();
        let serving = tokio::spawn(web::serve(listener, app.clone(), async move {
            let _ = stopped.await;
        }));
        let base = format!("http://{address}");
        let (stop, serving) = (Some(stop), Some(serving));
        Self {
            app,
            base,
            folder: Some(folder),
            stop,
            serving,
        }
    }

    /// Somebody with a browser and no account.
    pub fn stranger(&self) -> Person {
        Person::new(&self.base)
    }

    /// Somebody with an account, not signed in.
    pub async fn with_account(&self, name: &str) -> Person {
        let new = NewAccount {
            id: self.app.clock.new_id(),
            name: name.to_owned(),
            display_name: format!("{name} the steward"),
            password_hash: PASSWORD_HASH.clone(),
            made_at: self.app.clock.now(),
        };
        let made = self.app.store.add_account(&new).await.expect("an account");
        assert_eq!(made, AddAccount::Made);
        self.stranger()
    }

    /// Somebody signed in through the form.
    pub async fn steward(&self, name: &str) -> Person {
        let person = self.with_account(name).await;
        person.sign_in(name, PASSWORD).await.redirects_to("/desk");
        person
    }

    /// Stops as on SIGTERM, waits until what was accepted is finished, and gives the store back.
    pub async fn stop(mut self) -> (Store, Option<TempDir>) {
        drop(self.stop.take());
        let serving = self.serving.take().expect("it was serving");
        serving.await.expect("no panic").expect("no fault");
        (self.app.store.clone(), self.folder.take())
    }
}

impl Drop for TestServer {
    fn drop(&mut self) {
        if std::thread::panicking() {
            let kept = self.folder.take().map(TempDir::keep);
            eprintln!("the failed test's data is kept in {kept:?}");
        }
    }
}

/// The moment at which every test begins.
pub fn start_of_tests() -> DateTime<Utc> {
    DateTime::from_timestamp(1_772_355_600, 0).expect("1 March 2026, 9:00 UTC")
}

async fn fresh_folder() -> TempDir {
    let migrated = MIGRATED
        .get_or_init(|| async {
            let folder = TempDir::new().expect("a folder");
            let store = Store::open(folder.path(), Hold::Alone)
                .await
                .expect("migrations run");
            store
                .close()
                .await
                .expect("it closes, which folds its log into the file");
            std::fs::read(folder.path().join(DATABASE_FILE)).expect("the file is there")
        })
        .await;
    let folder = TempDir::with_prefix("overwinter-test-").expect("a folder");
    std::fs::write(folder.path().join(DATABASE_FILE), migrated).expect("it is written");
    folder
}
