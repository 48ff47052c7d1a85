//! Asking a weather archive: only over HTTPS, one request at a time, an answer kept and not asked for
//! twice, a failure tried again after a while, an answer without end cut off.
//!
//! What an answer must look like is in `study::environment::archive`.

mod address;

pub use address::{Ask, WeatherUrl};

use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use chrono::TimeDelta;
use reqwest::header::{LOCATION, RETRY_AFTER, USER_AGENT};
use reqwest::{Client, StatusCode, Url};
use tokio::sync::Mutex;

use crate::clock::Clock;
use crate::outbound;
use crate::store::{Store, StoreError};

/// The largest answer, in bytes: a year of hours with a dozen variables is below two million. Read, it takes up to
/// sixteen times as much.
const MOST_BYTES: usize = 6 * 1024 * 1024;
/// How often a request is tried.
const TRIES: u32 = 3;
/// How many times an archive may send us on.
const HOPS: u32 = 3;
/// The longest wait that an archive may ask for before the next try.
const LONGEST_WAIT: Duration = Duration::from_secs(20);
/// Days after which an archive mends its past no more (common practice, no source).
const SETTLED_DAYS: i64 = 10;
/// An answer about days that may still be mended is asked for again after this time.
const FRESH: TimeDelta = TimeDelta::hours(6);

/// How fast an archive is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pace {
    /// How long one try may take.
    pub patience: Duration,
    /// Between two requests; three times as long after each failure.
    pub pause: Duration,
}

impl Default for Pace {
    fn default() -> Self {
        Self {
            patience: Duration::from_secs(20),
            pause: Duration::from_secs(1),
        }
    }
}

/// Why there is no answer.
#[derive(Debug)]
pub enum WeatherFault {
    /// No archive is set.
    Off,
    /// It could not be reached, or not in time.
    Unreachable(String),
    /// It answered with a status that is no success.
    Status(u16, String),
    /// It sends us to another host, or on and on.
    Moved(String),
    /// Its answer has no end.
    TooLarge,
    /// Our own failure.
    Ours(StoreError),
}

impl fmt::Display for WeatherFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Off => f.write_str("No weather archive is set at this server."),
            Self::Unreachable(why) => write!(
                f,
                "The weather archive could not be reached ({why}). Nothing was saved; try again later."
            ),
            Self::Status(429, _) => f.write_str(
                "The weather archive asks for fewer requests. Nothing was saved; try again tomorrow.",
            ),
            Self::Status(status, words) if words.is_empty() => write!(
                f,
                "The weather archive answered with status {status}. Nothing was saved."
            ),
            Self::Status(status, words) => write!(
                f,
                "The weather archive answered with status {status}: “{words}”. Nothing was saved."
            ),
            Self::Moved(to) => write!(
                f,
                "The weather archive has moved ({to}). The keeper of this server can set its new address."
            ),
            Self::TooLarge => f.write_str(
                "The weather archive's answer is larger than 6 MB. Ask for a shorter time.",
            ),
            Self::Ours(error) => error.fmt(f),
        }
    }
}

impl From<StoreError> for WeatherFault {
    fn from(error: StoreError) -> Self {
        Self::Ours(error)
    }
}

/// A way to an archive. Cheap to clone.
#[derive(Clone)]
pub struct Weather {
    url: Option<WeatherUrl>,
    attribution: String,
    agent: String,
    client: Option<Client>,
    pace: Pace,
    /// One request at a time.
    turn: Arc<Mutex<()>>,
}

/// Why a try failed, and whether another may help.
enum Failed {
    ForGood(WeatherFault),
    ForNow(WeatherFault, Option<Duration>),
}

impl Weather {
    /// To the archive at an address, or to none. `attribution` is shown with its data; without one
    /// the host is named. `contact` is the address at which this server is found.
    #[must_use]
    pub fn new(
        url: Option<WeatherUrl>,
        attribution: Option<String>,
        contact: &str,
        pace: Pace,
    ) -> Self {
        let host = url.as_ref().map(WeatherUrl::host).unwrap_or_default();
        let client = url.as_ref().and_then(|_| {
            let client = outbound::client().timeout(pace.patience);
            client.connect_timeout(Duration::from_secs(10)).build().ok()
        });
        Self {
            attribution: attribution.unwrap_or_else(|| format!("Weather data from {host}.")),
            agent: format!("Overwinter/{} (+{contact})", env!("CARGO_PKG_VERSION")),
            turn: Arc::default(),
            pace,
            client,
            url,
        }
    }

    /// Whether an archive is set.
    #[must_use]
    pub fn is_on(&self) -> bool {
        self.url.is_some()
    }

    /// Whom to name with its data.
    #[must_use]
    pub fn attribution(&self) -> &str {
        &self.attribution
    }

    /// The archive's host, to be named before anything is sent there.
    #[must_use]
    pub fn host(&self) -> String {
        self.url.as_ref().map(WeatherUrl::host).unwrap_or_default()
    }

    /// The answer: kept, or asked for now.
    ///
    /// # Errors
    /// [`WeatherFault`].
    pub async fn ask(
        &self,
        store: &Store,
        clock: &Clock,
        ask: &Ask,
    ) -> Result<Vec<u8>, WeatherFault> {
        let url = self.address(ask)?;
        let asked = format!("{}?{}", url.path(), url.query().unwrap_or_default());
        let _turn = self.turn.lock().await;
        if let Some(kept) = store.find_weather_answer(&asked).await? {
            let settled = ask.until + TimeDelta::days(SETTLED_DAYS) < kept.at.date_naive();
            let is_fresh = settled || clock.now() - kept.at < FRESH;
            let blob = store.find_blob(&kept.sha256).await?.filter(|_| is_fresh);
            if let Some(blob) = blob {
                return Ok(blob.bytes);
            }
        }
        let bytes = self.try_several_times(url).await?;
        tokio::time::sleep(self.pace.pause).await;
        Ok(bytes)
    }

    /// Keeps an answer that could be read, so that it is not asked for again.
    ///
    /// # Errors
    /// When the disk refuses.
    pub async fn keep(
        &self,
        store: &Store,
        clock: &Clock,
        ask: &Ask,
        bytes: Vec<u8>,
    ) -> Result<[u8; 32], WeatherFault> {
        let url = self.address(ask)?;
        let asked = format!("{}?{}", url.path(), url.query().unwrap_or_default());
        Ok(store
            .keep_weather_answer(&asked, bytes, clock.now())
            .await?)
    }

    fn address(&self, ask: &Ask) -> Result<Url, WeatherFault> {
        let url = self.url.as_ref().ok_or(WeatherFault::Off)?;
        url.of(ask)
            .ok_or_else(|| WeatherFault::Unreachable("its address is none".to_owned()))
    }

    async fn try_several_times(&self, url: Url) -> Result<Vec<u8>, WeatherFault> {
        let mut wait = self.pace.pause;
        for left in (0..TRIES).rev() {
            match self.once(url.clone()).await {
                Ok(bytes) => return Ok(bytes),
                Err(Failed::ForGood(fault)) => return Err(fault),
                Err(Failed::ForNow(fault, _)) if left == 0 => return Err(fault),
                Err(Failed::ForNow(_, asked)) => {
                    tokio::time::sleep(asked.unwrap_or(wait).min(LONGEST_WAIT)).await;
                    wait *= 3;
                }
            }
        }
        Err(WeatherFault::Unreachable("tried in vain".to_owned()))
    }

    /// One try; where the archive sends us on within its own host, we follow.
    async fn once(&self, mut url: Url) -> Result<Vec<u8>, Failed> {
        let client = self.client.as_ref();
        let client = client.ok_or(Failed::ForGood(WeatherFault::Off))?;
        for _ in 0..=HOPS {
            let request = client.get(url.clone()).header(USER_AGENT, &self.agent);
            let answer = request.send().await.map_err(|e| unreachable(&e))?;
            let status = answer.status();
            if status.is_redirection() {
                url = next(&url, &answer)?;
            } else if status.is_success() {
                return whole(answer).await;
            } else {
                return Err(refused(status, answer).await);
            }
        }
        let fault = WeatherFault::Moved("it sends us on without end".to_owned());
        Err(Failed::ForGood(fault))
    }
}

/// Never the address in it: that holds the site's coordinates, and errors are logged.
fn unreachable(error: &reqwest::Error) -> Failed {
    let why = if error.is_timeout() {
        "it did not answer in time"
    } else if error.is_connect() {
        "no connection"
    } else {
        "the line broke"
    };
    Failed::ForNow(WeatherFault::Unreachable(why.to_owned()), None)
}

fn next(from: &Url, answer: &reqwest::Response) -> Result<Url, Failed> {
    let to = answer.headers().get(LOCATION);
    let to = to
        .and_then(|to| to.to_str().ok())
        .and_then(|to| from.join(to).ok());
    let lost = || Failed::ForGood(WeatherFault::Moved("it does not say where to".to_owned()));
    let to = to.ok_or_else(lost)?;
    let is_same = to.scheme() == from.scheme()
        && to.host_str() == from.host_str()
        && to.port_or_known_default() == from.port_or_known_default();
    if is_same {
        return Ok(to);
    }
    let host = to.host_str().unwrap_or_default().to_owned();
    Err(Failed::ForGood(WeatherFault::Moved(format!("to {host}"))))
}

async fn whole(mut answer: reqwest::Response) -> Result<Vec<u8>, Failed> {
    let mut bytes = Vec::new();
    while let Some(part) = answer.chunk().await.map_err(|e| unreachable(&e))? {
        if bytes.len() + part.len() > MOST_BYTES {
            return Err(Failed::ForGood(WeatherFault::TooLarge));
        }
        bytes.extend_from_slice(&part);
    }
    Ok(bytes)
}

/// What the archive says of a refusal, when it says it in the way that open archives do.
async fn refused(status: StatusCode, answer: reqwest::Response) -> Failed {
    let wait = answer.headers().get(RETRY_AFTER);
    let wait = wait.and_then(|wait| wait.to_str().ok()?.parse().ok());
    let wait = wait.map(Duration::from_secs);
    let is_long = wait.is_some_and(|wait| wait > LONGEST_WAIT);
    let words = match whole(answer).await {
        Ok(bytes) => reason(&bytes),
        Err(_) => String::new(),
    };
    let fault = WeatherFault::Status(status.as_u16(), words);
    let may_pass = status == StatusCode::TOO_MANY_REQUESTS || status.is_server_error();
    if may_pass && !is_long {
        Failed::ForNow(fault, wait)
    } else {
        Failed::ForGood(fault)
    }
}

fn reason(bytes: &[u8]) -> String {
    let answer: Option<serde_json::Value> = serde_json::from_slice(bytes).ok();
    let reason = answer
        .as_ref()
        .and_then(|answer| answer.get("reason")?.as_str());
    let reason = reason.unwrap_or_default();
    reason
        .chars()
        .filter(|c| !c.is_control())
        .take(200)
        .collect()
}
