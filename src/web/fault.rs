//! Every answer that is not a page: one enum, one function to the status, two renderings. The only
//! place that picks a status code for something gone wrong.

use super::page::{self, Chrome, Moved};
use crate::store::StoreError;
use crate::study::fault::Faults;
use askama::Template;
use axum::extract::Request;
use axum::http::header::{CONTENT_LENGTH, CONTENT_TYPE, RETRY_AFTER, WWW_AUTHENTICATE};
use axum::http::{HeaderValue, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use serde_json::json;
use std::error::Error;

/// Why there is no page.
#[derive(Debug)]
pub enum WebFault {
    /// Nothing here, or nothing that this visitor may know of: the same bytes either way.
    NotFound,
    /// Somebody must sign in first, and then goes on to `next`.
    SignIn {
        /// A path of ours.
        next: String,
    },
    /// The machine interface was asked without a token that opens it; the sentence says what is wrong.
    TokenNeeded(&'static str),
    /// Signed in, but not allowed; the sentence says why.
    Forbidden(String),
    /// A form that another site sent.
    CrossSite,
    /// What was asked does not fit what has happened since; the sentence says what.
    Conflict(String),
    /// It was here and was taken away for good; the sentence says when and why.
    Gone(String),
    /// A rule refuses it; the sentence says which, and what would mend it.
    Refused(String),
    /// What was typed is wrong: for JSON, and for a form whose page cannot be shown again.
    Faults(Faults),
    /// The body is larger than the route takes.
    TooLarge,
    /// The body is not of the kind that the route reads.
    WrongKind(&'static str),
    /// A GET on what only takes POST, or the like.
    WrongMethod,
    /// Too many attempts; come back in so many seconds.
    Slow {
        /// How long.
        wait_s: i64,
    },
    /// Too much to do just now, or it took too long; trying again is right.
    Busy,
    /// Our own failure, with its cause for the log.
    Ours(Box<dyn Error + Send + Sync>),
}

impl WebFault {
    /// A failure of ours, from anything that can be said.
    pub fn ours(cause: impl Into<Box<dyn Error + Send + Sync>>) -> Self {
        Self::Ours(cause.into())
    }

    /// The one place where a fault gets its status.
    pub fn status(&self) -> StatusCode {
        match self {
            Self::NotFound => StatusCode::NOT_FOUND,
            Self::SignIn { .. } | Self::TokenNeeded(_) => StatusCode::UNAUTHORIZED,
            Self::Forbidden(_) | Self::CrossSite => StatusCode::FORBIDDEN,
            Self::Conflict(_) => StatusCode::CONFLICT,
            Self::Gone(_) => StatusCode::GONE,
            Self::Refused(_) | Self::Faults(_) => StatusCode::UNPROCESSABLE_ENTITY,
            Self::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
            Self::WrongKind(_) => StatusCode::UNSUPPORTED_MEDIA_TYPE,
            Self::WrongMethod => StatusCode::METHOD_NOT_ALLOWED,
            Self::Slow { .. } => StatusCode::TOO_MANY_REQUESTS,
            Self::Busy => StatusCode::SERVICE_UNAVAILABLE,
            Self::Ours(_) => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }

    /// A heading and a sentence for the visitor, who never sees the cause of a fault of ours.
    fn words(&self) -> (&'static str, String) {
        let said = |text: &str| text.to_owned();
        match self {
            Self::NotFound => (
                "Not here",
                said("There is nothing at this address for you."),
            ),
            Self::SignIn { .. } => ("Sign in first", said("This needs somebody signed in.")),
            Self::TokenNeeded(what) => ("A token is needed", said(what)),
            Self::Forbidden(why) => ("Not allowed", why.clone()),
            Self::CrossSite => (
                "Sent from another site",
                said("This form did not come from a page of this server, so nothing was done."),
            ),
            Self::Conflict(what) => ("Things have moved on", what.clone()),
            Self::Gone(why) => ("Withdrawn", why.clone()),
            Self::Refused(why) => ("Not done", why.clone()),
            Self::Faults(faults) => ("Something typed does not fit", faults.to_string()),
            Self::TooLarge => (
                "Too large",
                said("What was sent is larger than this page takes, so nothing was kept."),
            ),
            Self::WrongKind(wanted) => {
                ("Not readable here", format!("This address reads {wanted}."))
            }
            Self::WrongMethod => ("Not done", said("This address does not take that.")),
            Self::Slow { wait_s } => ("Slowly, please", wait_sentence(*wait_s)),
            Self::Busy => (
                "Busy just now",
                said("The server has too much to do. Try again in a few seconds."),
            ),
            Self::Ours(_) => (
                "A fault of ours",
                said("Something went wrong on our side. It has been written to the log."),
            ),
        }
    }

    /// What kind of fault it is, for programs: the end of a problem's `type`.
    fn kind(&self) -> &'static str {
        match self {
            Self::NotFound => "not-here",
            Self::SignIn { .. } => "sign-in",
            Self::TokenNeeded(_) => "token",
            Self::Forbidden(_) => "not-allowed",
            Self::CrossSite => "cross-site",
            Self::Conflict(_) => "conflict",
            Self::Gone(_) => "withdrawn",
            Self::Refused(_) => "refused",
            Self::Faults(_) => "faults",
            Self::TooLarge => "too-large",
            Self::WrongKind(_) => "wrong-kind",
            Self::WrongMethod => "wrong-method",
            Self::Slow { .. } => "slow",
            Self::Busy => "busy",
            Self::Ours(_) => "ours",
        }
    }

    /// For a browser or a queue that can wait.
    fn retry_after_s(&self) -> Option<i64> {
        match self {
            Self::Slow { wait_s } => Some(*wait_s),
            Self::Busy => Some(5),
            _ => None,
        }
    }

    /// Logs a fault of ours, once, and gives the short id that the page shows.
    fn log(&self) -> Option<String> {
        let Self::Ours(cause) = self else { return None };
        let id = page::short_id();
        tracing::error!(fault = id, %cause, "a fault of ours");
        Some(id)
    }
}

/// What somebody is told who tries too often.
pub fn wait_sentence(wait_s: i64) -> String {
    let unit = if wait_s == 1 { "second" } else { "seconds" };
    format!("There were too many attempts. Wait {wait_s} {unit}, then try again.")
}

impl From<StoreError> for WebFault {
    fn from(error: StoreError) -> Self {
        Self::Ours(Box::new(error))
    }
}

#[derive(Template)]
#[template(path = "error.html")]
struct ErrorPage {
    chrome: Chrome,
    heading: &'static str,
    sentence: String,
    id: Option<String>,
}

impl IntoResponse for WebFault {
    fn into_response(self) -> Response {
        if let Self::SignIn { next } = &self {
            let next = form_urlencoded::byte_serialize(next.as_bytes()).collect::<String>();
            return Moved::to(format!("/sign-in?next={next}")).into_response();
        }
        let (heading, sentence) = self.words();
        let chrome = Chrome::bare(heading);
        let problem = Problem::of(&self);
        let page = ErrorPage {
            chrome,
            heading,
            sentence,
            id: problem.id.clone(),
        };
        let mut answer = match page.render() {
            Ok(html) => (self.status(), axum::response::Html(html)).into_response(),
            Err(_) => (self.status(), heading).into_response(),
        };
        answer.extensions_mut().insert(problem);
        with_headers(answer, &self)
    }
}

/// The media type of a problem (RFC 9457).
pub const PROBLEM: &str = "application/problem+json";

/// A fault as a program reads it (RFC 9457).
#[derive(Debug, Clone, Serialize)]
pub(super) struct Problem {
    #[serde(rename = "type")]
    kind: String,
    title: &'static str,
    status: u16,
    detail: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    faults: Option<Faults>,
    /// Of the line in the log, for a fault of ours.
    #[serde(skip_serializing_if = "Option::is_none")]
    id: Option<String>,
}

impl Problem {
    /// Of a fault, which is logged when it is ours.
    fn of(fault: &WebFault) -> Self {
        let (title, detail) = fault.words();
        Self {
            kind: format!("/api#{}", fault.kind()),
            title,
            status: fault.status().as_u16(),
            detail,
            faults: match fault {
                WebFault::Faults(faults) => Some(faults.clone()),
                _ => None,
            },
            id: fault.log(),
        }
    }

    /// Of one entry of a batch, which has no answer of its own.
    pub(super) fn of_entry(status: u16, detail: String) -> Self {
        let fault = match status {
            401 => WebFault::TokenNeeded(""),
            403 => WebFault::Forbidden(detail),
            503 => WebFault::Busy,
            _ => WebFault::Refused(detail),
        };
        Self::of(&fault)
    }

    /// As JSON.
    pub(super) fn to_json(&self) -> serde_json::Value {
        json!(self)
    }

    fn body(&self) -> impl IntoResponse + use<> {
        let kind = HeaderValue::from_static(PROBLEM);
        ([(CONTENT_TYPE, kind)], self.to_json().to_string())
    }
}

/// Below `/api/` every fault is a problem, also those that no route of ours answered: an address that
/// is not there, a method it does not take, a panic.
pub(super) async fn problems_for_programs(request: Request, next: Next) -> Response {
    let is_for_programs = request.uri().path().starts_with("/api/");
    let mut answer = next.run(request).await;
    match answer.extensions_mut().remove::<Problem>() {
        Some(problem) if is_for_programs => {
            let (mut head, _) = answer.into_parts();
            head.headers.remove(CONTENT_LENGTH);
            head.headers.remove(CONTENT_TYPE);
            let (kind, body) = problem.body().into_response().into_parts();
            head.headers.extend(kind.headers);
            Response::from_parts(head, body)
        }
        _ => answer,
    }
}

/// A fault on a JSON route: a problem document.
#[derive(Debug)]
pub struct JsonFault(pub WebFault);

impl<E: Into<WebFault>> From<E> for JsonFault {
    fn from(fault: E) -> Self {
        Self(fault.into())
    }
}

impl IntoResponse for JsonFault {
    fn into_response(self) -> Response {
        let answer = (self.0.status(), Problem::of(&self.0).body()).into_response();
        with_headers(answer, &self.0)
    }
}

/// What stands in the head of a fault's answer besides its kind.
fn with_headers(mut answer: Response, fault: &WebFault) -> Response {
    if let Some(wait_s) = fault.retry_after_s() {
        answer
            .headers_mut()
            .insert(RETRY_AFTER, HeaderValue::from(wait_s));
    }
    if matches!(fault, WebFault::TokenNeeded(_)) {
        // RFC 6750, section 3.
        let challenge = HeaderValue::from_static("Bearer realm=\"Overwinter\"");
        answer.headers_mut().insert(WWW_AUTHENTICATE, challenge);
    }
    answer
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::body::to_bytes;

    async fn problem(fault: WebFault) -> (u16, Option<String>, serde_json::Value) {
        let answer = JsonFault(fault).into_response();
        let status = answer.status().as_u16();
        let wait = answer
            .headers()
            .get(RETRY_AFTER)
            .and_then(|wait| wait.to_str().ok());
        let wait = wait.map(str::to_owned);
        let bytes = to_bytes(answer.into_body(), 100_000).await.expect("a body");
        (status, wait, serde_json::from_slice(&bytes).expect("JSON"))
    }

    #[tokio::test]
    async fn a_json_fault_says_which_fields_and_how_long_to_wait_but_never_our_cause() {
        let faults = Faults::one("mass", "Type a number.");
        let (status, wait, body) = problem(WebFault::Faults(faults)).await;
        assert_eq!((status, wait), (422, None));
        assert_eq!(body["faults"][0]["field"], "mass");
        assert_eq!(body["faults"][0]["sentence"], "Type a number.");

        let (status, wait, _) = problem(WebFault::Busy).await;
        assert_eq!((status, wait.as_deref()), (503, Some("5")));
        let (status, _, _) = problem(WebFault::SignIn { next: "/".into() }).await;
        assert_eq!(status, 401);

        let (status, _, body) = problem(WebFault::ours("disk 7 is on fire")).await;
        assert_eq!(status, 500);
        assert!(!body.to_string().contains("disk 7"), "{body}");
        assert_eq!(body["id"].as_str().map(str::len), Some(6));
    }
}
