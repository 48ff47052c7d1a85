//! Hashing and checking passwords with argon2id at its default cost (19 MB, about 20 ms): at most
//! two at a time and off the async threads, so that a crowd signing in slows only itself.

use super::fault::WebFault;
use crate::clock::Clock;
use argon2::Argon2;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use std::sync::{Arc, LazyLock};
use std::time::Duration;
use tokio::sync::Semaphore;

const AT_ONCE: usize = 2;
/// How long somebody waits for their turn before being told that the server is busy.
const TURN: Duration = Duration::from_secs(10);

/// Checked against when nobody has the name, so that an unknown name takes as long as a wrong
/// password.
static NOBODYS: LazyLock<String> = LazyLock::new(|| {
    let nobody = hash_now("nobody's password", &[0; 16]);
    nobody.unwrap_or_default()
});

/// Hashes and checks. Cheap to clone.
#[derive(Clone)]
pub(crate) struct Passwords {
    clock: Clock,
    turns: Arc<Semaphore>,
}

impl Passwords {
    pub(super) fn new(clock: Clock) -> Self {
        Self {
            clock,
            turns: Arc::new(Semaphore::new(AT_ONCE)),
        }
    }

    /// The hash to keep, as a PHC string.
    ///
    /// # Errors
    /// `Busy` when too many wait.
    pub(super) async fn hash(&self, password: &str) -> Result<String, WebFault> {
        let (password, salt) = (password.to_owned(), self.clock.random::<16>());
        let hashed = self.in_turn(move || hash_now(&password, &salt)).await?;
        hashed.map_err(WebFault::ours)
    }

    /// Whether this is the password; with no hash to check against it is not, and takes as long.
    ///
    /// # Errors
    /// `Busy` when too many wait.
    pub(super) async fn fits(&self, password: &str, hash: Option<&str>) -> Result<bool, WebFault> {
        let password = password.to_owned();
        let hash = hash.map(str::to_owned);
        self.in_turn(move || {
            let against = hash.as_deref().unwrap_or(NOBODYS.as_str());
            let fits = Argon2::default()
                .verify_password(password.as_bytes(), against)
                .is_ok();
            fits && hash.is_some()
        })
        .await
    }

    async fn in_turn<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, WebFault> {
        let turn = tokio::time::timeout(TURN, Arc::clone(&self.turns).acquire_owned()).await;
        let Ok(Ok(turn)) = turn else {
            return Err(WebFault::Busy);
        };
        // The turn goes with the work: a visitor who leaves does not make room for a third.
        let done = tokio::task::spawn_blocking(move || {
            let done = work();
            drop(turn);
            done
        });
        done.await.map_err(WebFault::ours)
    }
}

/// The hash of a password with this salt, on the spot: for the command line.
pub(crate) fn hash_now(
    password: &str,
    salt: &[u8; 16],
) -> Result<String, argon2::password_hash::Error> {
    Ok(Argon2::default()
        .hash_password_with_salt(password.as_bytes(), salt)?
        .to_string())
}
