//! What a handler may ask for. Persons come from the guard, which has put them into the request;
//! the rest is read here, so that a rejection is a page of ours.

use super::App;
use super::access::{LabAccess, StudyAccess};
use super::body::{self, BodyLimit};
use super::fault::{JsonFault, WebFault};
use super::token::TokenAccess;
use crate::study::typed::Typed;
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::request::Parts;
use serde::de::DeserializeOwned;
use uuid::Uuid;

/// Somebody signed in. On routes for `Signed` and `StudySteward`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Steward {
    /// What the journal calls this person.
    pub id: Uuid,
    /// What they type to sign in.
    pub name: String,
    /// What others see.
    pub display_name: String,
    /// The hash of this session's cookie.
    pub session: [u8; 32],
}

/// Somebody signed in, or nobody. On every route but the lab's.
#[derive(Debug, Clone)]
pub struct Visitor(pub Option<Steward>);

/// What the log calls the route.
#[derive(Debug, Clone, Copy)]
pub(super) struct RouteName(pub(super) &'static str);

/// Gives what the guard admitted; on a route whose `who` does not admit it, that is our fault.
fn admitted<T: Clone + Send + Sync + 'static>(parts: &Parts) -> Result<T, WebFault> {
    parts.extensions.get::<T>().cloned().ok_or_else(|| {
        let route = parts
            .extensions
            .get::<RouteName>()
            .map_or("unknown", |name| name.0);
        WebFault::ours(format!(
            "route {route} asks for whom its guard does not admit"
        ))
    })
}

impl FromRequestParts<App> for Steward {
    type Rejection = WebFault;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, WebFault> {
        admitted(parts)
    }
}

impl FromRequestParts<App> for Visitor {
    type Rejection = WebFault;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, WebFault> {
        admitted(parts)
    }
}

impl FromRequestParts<App> for StudyAccess {
    type Rejection = WebFault;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, WebFault> {
        admitted(parts)
    }
}

impl FromRequestParts<App> for LabAccess {
    type Rejection = WebFault;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, WebFault> {
        admitted(parts)
    }
}

impl FromRequestParts<App> for TokenAccess {
    type Rejection = WebFault;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, WebFault> {
        admitted(parts)
    }
}

/// The parts of the path in braces; what does not read as `T` is a page that does not exist.
#[derive(Debug)]
pub struct Path<T>(pub T);

impl<T: DeserializeOwned + Send> FromRequestParts<App> for Path<T> {
    type Rejection = WebFault;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebFault> {
        let path = axum::extract::Path::<T>::from_request_parts(parts, app).await;
        path.map(|path| Self(path.0))
            .map_err(|_| WebFault::NotFound)
    }
}

/// What stands behind the question mark, raw; never refused.
#[derive(Debug, Clone)]
pub struct Query(pub Typed);

impl FromRequestParts<App> for Query {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(
        parts: &mut Parts,
        _: &App,
    ) -> Result<Self, std::convert::Infallible> {
        let query = parts.uri.query().unwrap_or_default();
        let fields = form_urlencoded::parse(query.as_bytes())
            .into_owned()
            .collect();
        Ok(Self(Typed::new(fields)))
    }
}

/// A JSON body of at most the route's limit.
#[derive(Debug)]
pub struct JsonBody<T>(pub T);

impl<T: DeserializeOwned> FromRequest<App> for JsonBody<T> {
    type Rejection = JsonFault;

    async fn from_request(request: Request, _: &App) -> Result<Self, JsonFault> {
        if !body::is_of_kind(request.headers(), "application/json") {
            return Err(JsonFault(WebFault::WrongKind("application/json")));
        }
        let limit = request
            .extensions()
            .get::<BodyLimit>()
            .copied()
            .unwrap_or_default();
        let bytes = body::whole(request.into_body(), limit).await?;
        let read = serde_json::from_slice(&bytes).map(Self);
        read.map_err(|error| {
            JsonFault(WebFault::Refused(format!("This is not readable: {error}.")))
        })
    }
}
