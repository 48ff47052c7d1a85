//! Every answer that is not a page: one enum, one function to the status, two renderings. The only
//! place that picks a status code for something gone wrong.

use super::page::{self, Chrome, Moved};
use crate::store::StoreError;
use crate::study::fault::Faults;
use askama::Template;
use axum::Json;
use axum::http::header::RETRY_AFTER;
use axum::http::{HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
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
    /// Signed in, but not allowed; the sentence says why.
    Forbidden(String),
    /// A form that another site sent.
    CrossSite,
    /// What was asked does not fit what has happened since; the sentence says what.
    Conflict(String),
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
            Self::SignIn { .. } => StatusCode::UNAUTHORIZED,
            Self::Forbidden(_) | Self::CrossSite => StatusCode::FORBIDDEN,
            Self::Conflict(_) => StatusCode::CONFLICT,
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
            Self::Forbidden(why) => ("Not allowed", why.clone()),
            Self::CrossSite => (
                "Sent from another site",
                said("This form did not come from a page of this server, so nothing was done."),
            ),
            Self::Conflict(what) => ("Things have moved on", what.clone()),
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
        let page = ErrorPage {
            chrome,
            heading,
            sentence,
            id: self.log(),
        };
        let answer = match page.render() {
            Ok(html) => (self.status(), axum::response::Html(html)).into_response(),
            Err(_) => (self.status(), heading).into_response(),
        };
        with_retry_after(answer, self.retry_after_s())
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
        let (title, detail) = self.0.words();
        let faults = match &self.0 {
            WebFault::Faults(faults) => Some(faults),
            _ => None,
        };
        let status = self.0.status();
        let body = json!({
            "status": status.as_u16(),
            "title": title,
            "detail": detail,
            "faults": faults,
            "id": self.0.log(),
        });
        with_retry_after((status, Json(body)).into_response(), self.0.retry_after_s())
    }
}

fn with_retry_after(mut answer: Response, wait_s: Option<i64>) -> Response {
    if let Some(wait_s) = wait_s {
        answer
            .headers_mut()
            .insert(RETRY_AFTER, HeaderValue::from(wait_s));
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
