//! HTTP. Reading order: `routes` (the whole table of addresses and who may reach them), `guard`
//! (how that is enforced), `fault` (every answer that is not a page), `form` and `page` (how a page
//! is read and made), then one folder per face: `steward/`, `lab/`, `public/`.

pub mod access;
pub mod act;
mod address;
mod arrival;
pub mod assets;
mod attempts;
pub mod body;
mod cookie;
mod csrf;
pub(crate) mod darkroom;
pub mod extract;
pub mod fault;
pub mod findings;
#[doc(hidden)]
pub mod foreign;
pub mod form;
mod guard;
mod headers;
mod health;
mod lab;
mod listen;
mod log;
mod logger;
mod machine;
pub mod page;
pub(crate) mod password;
pub(crate) mod person;
mod public;
pub mod routes;
pub mod session;
mod shelf;
pub mod sights;
mod steward;
mod sync;
pub mod token;
mod token_page;
mod upload;

use crate::clock::Clock;
use crate::config::Config;
use crate::store::{Journal, Store};
use crate::weather::{Pace, Weather};
use attempts::Attempts;
use axum::Router;
use axum::response::{IntoResponse, Response};
use darkroom::Darkroom;
use fault::WebFault;
use findings::FindingsShelf;
use password::Passwords;
use sights::SightShelf;
use std::any::Any;
use std::future::Future;
use std::io;
use std::sync::{Arc, Mutex, PoisonError};
use steward::first_run::OneTimeCode;
use tokio::net::TcpListener;
use tokio::task::JoinHandle;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::compression::predicate::{DefaultPredicate, Predicate};

/// What every handler may use. Cheap to clone.
#[derive(Clone)]
pub struct App {
    /// The database.
    pub store: Store,
    /// Now, ids, tokens.
    pub clock: Clock,
    /// Settings from outside.
    pub config: Arc<Config>,
    /// The way into the journal.
    pub journal: Journal,
    /// The findings of each study, computed once.
    pub findings: FindingsShelf,
    /// What each plan can see, computed once.
    pub(crate) sights: SightShelf,
    pub(crate) writer: Arc<Mutex<Option<JoinHandle<()>>>>,
    pub(crate) passwords: Passwords,
    pub(crate) attempts: Attempts,
    pub(crate) first_run: OneTimeCode,
    pub(crate) darkroom: Darkroom,
    /// The way to a weather archive, or none.
    pub(crate) weather: Weather,
}

impl App {
    /// Puts the parts together, and draws the one-time code of the first run.
    pub fn new(store: Store, clock: Clock, config: Config) -> Self {
        let (journal, writer) = store.start_journal(clock.clone());
        Self {
            journal,
            findings: FindingsShelf::default(),
            sights: SightShelf::default(),
            writer: Arc::new(Mutex::new(Some(writer))),
            passwords: Passwords::new(clock.clone()),
            attempts: Attempts::new(&clock),
            first_run: OneTimeCode::draw(&clock),
            darkroom: Darkroom::default(),
            weather: Weather::new(
                config.weather_url.clone(),
                config.weather_attribution.clone(),
                &config.link_base(),
                Pace::default(),
            ),
            config: Arc::new(config),
            store,
            clock,
        }
    }

    /// The journal's writer, to be waited for at the end; once.
    pub(crate) fn take_writer(&self) -> Option<JoinHandle<()>> {
        self.writer
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .take()
    }

    /// The code that the first-run page asks for: to be printed on the terminal, nowhere else.
    pub fn first_run_code(&self) -> &str {
        self.first_run.as_str()
    }
}

/// The whole service: the table of routes, each behind its guard, inside what every answer gets.
pub fn router(app: App) -> Router {
    let routes = routes::table()
        .into_iter()
        .fold(Router::new(), |router, route| {
            let path = route.path;
            router.route(path, guard::behind(app.clone(), route))
        });
    routes
        .fallback(|| async { WebFault::NotFound })
        .method_not_allowed_fallback(|| async { WebFault::WrongMethod })
        .layer(CatchPanicLayer::custom(after_panic))
        .layer(axum::middleware::from_fn(fault::problems_for_programs))
        .layer(CompressionLayer::new().compress_when(DefaultPredicate::new().and(shelf::NotKept)))
        .layer(axum::middleware::from_fn(headers::add))
        .layer(axum::middleware::from_fn(log::note))
        .with_state(app)
}

/// Serves on a listener until `stop`, then finishes what was accepted.
///
/// # Errors
/// When the listener fails.
pub async fn serve(
    listener: TcpListener,
    app: App,
    stop: impl Future<Output = ()> + Send + 'static,
) -> io::Result<()> {
    let turns = app.journal.turns().clone();
    let clock = app.clock.clone();
    let front = shelf::Front::new(router(app), turns, clock);
    listen::serve(listener, front, stop).await;
    Ok(())
}

/// A panic is a fault of ours like any other: logged with an id, which the page shows.
fn after_panic(what: Box<dyn Any + Send + 'static>) -> Response {
    let said = what.downcast_ref::<&str>().map(|text| (*text).to_owned());
    let said = said.or_else(|| what.downcast_ref::<String>().cloned());
    WebFault::ours(format!("panic: {}", said.unwrap_or_default())).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::body::{Body, to_bytes};
    use axum::http::{Request, StatusCode};
    use axum::routing::get;
    use tower::ServiceExt;

    #[tokio::test]
    async fn a_panic_becomes_our_page_with_an_id_and_without_its_words() {
        async fn breaks() -> &'static str {
            panic!("the secret of the vault")
        }
        let service = Router::new().route("/", get(breaks));
        let service = service.layer(CatchPanicLayer::custom(after_panic));
        let request = Request::new(Body::empty());
        let answer = service.oneshot(request).await.expect("an answer");
        assert_eq!(answer.status(), StatusCode::INTERNAL_SERVER_ERROR);
        let bytes = to_bytes(answer.into_body(), 100_000).await.expect("a body");
        let page = String::from_utf8_lossy(&bytes);
        assert!(
            page.contains("A fault of ours") && page.contains("fault <code>"),
            "{page}"
        );
        assert!(!page.contains("vault"), "{page}");
    }
}
