//! For a crowd: public answers kept in memory, packed beforehand, served before any route is looked up
//! and without asking the database. A handler marks an answer with [`Keep`]; it stays until the
//! journal moves on ([`crate::store::Turns`]) or its time is over.

mod pack;

use crate::clock::Clock;
use crate::store::{Turn, Turns};
use crate::study::entry::Chain;
use axum::Router;
use axum::body::{Body, Bytes, to_bytes};
use axum::http::header::{CONTENT_LENGTH, COOKIE, DATE, SET_COOKIE, VARY};
use axum::http::{HeaderValue, Method, Request, StatusCode};
use axum::response::{IntoResponse, Response};
use chrono::{DateTime, TimeDelta, Utc};
use pack::Packed;
use std::collections::HashMap;
use std::convert::Infallible;
use std::sync::{Arc, PoisonError, RwLock};
use tokio::sync::Semaphore;
use tower::ServiceExt;
use tower_http::compression::Predicate;

use super::fault::WebFault;

/// The largest answer that is kept.
pub(in crate::web) const LARGEST: usize = 8 * 1024 * 1024;
/// All answers together; one more empties the shelf.
const ROOM: usize = 64 * 1024 * 1024;
/// How long an answer that speaks of days is kept.
const BRIEFLY: TimeDelta = TimeDelta::seconds(60);

/// Says of an answer that it is the same for everybody, and until when.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::web) struct Keep {
    /// Made of this chain alone; of all of them when there is none.
    chain: Option<Chain>,
    /// It speaks of how long ago something was.
    is_brief: bool,
    /// Whoever brings a cookie gets another answer.
    is_for_strangers: bool,
}

impl Keep {
    /// Until the next entry of this study.
    pub(in crate::web) fn while_still(study: crate::study::ids::StudyId) -> Self {
        Self {
            chain: Some(Chain::Study(study)),
            is_brief: false,
            is_for_strangers: false,
        }
    }

    /// Until the next entry of any study, for whoever brings no cookie.
    pub(in crate::web) fn for_strangers() -> Self {
        Self {
            chain: None,
            is_brief: false,
            is_for_strangers: true,
        }
    }

    /// Until the next entry of any study.
    pub(in crate::web) fn for_all() -> Self {
        Self {
            chain: None,
            is_brief: false,
            is_for_strangers: false,
        }
    }

    /// A minute at most.
    pub(in crate::web) fn briefly(mut self) -> Self {
        self.is_brief = true;
        self
    }

    /// Marks an answer.
    pub(in crate::web) fn mark(self, mut answer: Response) -> Response {
        answer.extensions_mut().insert(self);
        answer
    }
}

/// Answers that are kept are packed here, not on the way out.
#[derive(Debug, Clone, Copy)]
pub(super) struct NotKept;

impl Predicate for NotKept {
    fn should_compress<B>(&self, answer: &axum::http::Response<B>) -> bool
    where
        B: axum::body::HttpBody,
    {
        let kind = answer.headers().get(axum::http::header::CONTENT_TYPE);
        // Archives and spreadsheets are packed already.
        let is_packed = kind.is_some_and(|kind| kind == "application/zip");
        answer.extensions().get::<Keep>().is_none() && !is_packed
    }
}

/// An answer on the shelf.
struct Kept {
    turn: Turn,
    at_turn: u64,
    until: Option<DateTime<Utc>>,
    is_for_strangers: bool,
    packed: Packed,
}

/// The shelf before the routes.
#[derive(Clone)]
pub(super) struct Front {
    router: Router,
    turns: Turns,
    clock: Clock,
    kept: Arc<RwLock<HashMap<String, Arc<Kept>>>>,
}

impl Front {
    /// Before these routes.
    pub(super) fn new(router: Router, turns: Turns, clock: Clock) -> Self {
        Self {
            router,
            turns,
            clock,
            kept: Arc::default(),
        }
    }

    /// The answer to a request: from the shelf, or from its route.
    pub(super) async fn answer<B>(self, request: Request<B>) -> Result<Response, Infallible>
    where
        B: axum::body::HttpBody<Data = Bytes> + Send + 'static,
        B::Error: Into<axum::BoxError>,
    {
        let is_reading = matches!(*request.method(), Method::GET | Method::HEAD);
        if !is_reading || request.uri().query().is_some() {
            return self.router.oneshot(request).await;
        }
        if let Some(kept) = self.find(&request) {
            return Ok(kept.packed.answer(request.method(), request.headers()));
        }
        let (path, method) = (request.uri().path().to_owned(), request.method().clone());
        let asked = request.headers().clone();
        // What was read while an entry was written may be of before or after it: it is not kept.
        let (all, before) = (self.turns.all(), self.turns.all().now());
        let answer = self.router.clone().oneshot(request).await?;
        let keep = answer.extensions().get::<Keep>().copied();
        let is_kind = matches!(answer.status(), StatusCode::OK | StatusCode::SEE_OTHER);
        let is_whole =
            method == Method::GET && is_kind && !answer.headers().contains_key(SET_COOKIE);
        let Some(keep) = keep.filter(|_| is_whole) else {
            return Ok(answer);
        };
        let packed = match pack(answer, keep).await {
            Ok(packed) => packed,
            Err(fault) => return Ok(fault.into_response()),
        };
        let shown = packed.answer(&method, &asked);
        let is_stranger = !asked.contains_key(COOKIE);
        // No address of ours needs an escape, and there is no end of ways to escape one.
        let is_plain = !path.contains('%');
        if is_plain && (is_stranger || !keep.is_for_strangers) {
            let turn = keep.chain.map_or(all.clone(), |chain| self.turns.of(chain));
            let kept = Kept {
                at_turn: turn.now(),
                turn,
                until: keep.is_brief.then(|| self.clock.now() + BRIEFLY),
                is_for_strangers: keep.is_for_strangers,
                packed,
            };
            if all.now() == before {
                self.put(path, kept);
            }
        }
        Ok(shown)
    }

    fn find<B>(&self, request: &Request<B>) -> Option<Arc<Kept>> {
        let shelf = self.kept.read().unwrap_or_else(PoisonError::into_inner);
        let kept = Arc::clone(shelf.get(request.uri().path())?);
        drop(shelf);
        let is_current = kept.turn.now() == kept.at_turn
            && kept.until.is_none_or(|until| self.clock.now() < until);
        let is_theirs = !kept.is_for_strangers || !request.headers().contains_key(COOKIE);
        (is_current && is_theirs).then_some(kept)
    }

    fn put(&self, path: String, kept: Kept) {
        let mut shelf = self.kept.write().unwrap_or_else(PoisonError::into_inner);
        let held: usize = shelf.values().map(|kept| kept.packed.size()).sum();
        if held + kept.packed.size() > ROOM {
            shelf.clear();
        }
        shelf.insert(path, Arc::new(kept));
    }
}

/// One answer is packed at a time: a packer takes megabytes, and a page comes with a dozen files.
static PACKING: Semaphore = Semaphore::const_new(1);

/// Takes an answer's bytes and packs them, off the threads that answer requests.
async fn pack(answer: Response, keep: Keep) -> Result<Packed, WebFault> {
    let (mut head, body) = answer.into_parts();
    let bytes = to_bytes(body, LARGEST).await.map_err(WebFault::ours)?;
    for name in [CONTENT_LENGTH, DATE, VARY] {
        head.headers.remove(name);
    }
    if keep.is_for_strangers {
        head.headers
            .insert(VARY, HeaderValue::from_static("cookie"));
    }
    let _turn = PACKING.acquire().await.map_err(WebFault::ours)?;
    tokio::task::spawn_blocking(move || Packed::new(head.status, head.headers, bytes))
        .await
        .map_err(WebFault::ours)?
        .map_err(WebFault::ours)
}

/// An empty body, for an answer that says all in its head.
fn nothing() -> Body {
    Body::empty()
}
