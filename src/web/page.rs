//! Making a page: the template as a response, what every page shows around it, and going on to
//! another page with a sentence about what was done.

use super::App;
use super::cookie::{self, Cookie};
use super::extract::{Steward, Visitor};
use super::fault::WebFault;
use crate::clock::{Clock, hex};
use askama::Template;
use axum::extract::FromRequestParts;
use axum::http::header::LOCATION;
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{Html, IntoResponse, Response};
use percent_encoding::{NON_ALPHANUMERIC, percent_decode_str, utf8_percent_encode};
use std::convert::Infallible;

const FLASH: &str = "said";

/// What stands around a page. A handler asks for it and names its page with [`Chrome::titled`].
#[derive(Debug, Clone, Default)]
pub struct Chrome {
    /// The page's own title; the template adds the name of the service.
    pub title: String,
    /// Who is signed in.
    pub steward: Option<Steward>,
    /// What was just done, once.
    pub flash: Option<String>,
    /// Which way leads out of the page.
    pub face: Face,
    /// Whether it looks after what waits on the device though nobody is signed in.
    pub has_outbox: bool,
}

/// What stands at the top of a page.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Face {
    /// The way home, and who is signed in.
    House,
    /// Nothing but the name: no way leads out of the lab's face.
    Lab,
    /// The way home, and nothing about who asks: the same for everybody.
    #[default]
    Plain,
}

impl Chrome {
    /// Whether this is the lab's face.
    pub fn is_lab(&self) -> bool {
        self.face == Face::Lab
    }

    /// Whether the page says who is signed in.
    pub fn is_house(&self) -> bool {
        self.face == Face::House
    }

    /// Whether the page looks after what waits on the device: every page of somebody signed in, and
    /// those that say so.
    pub fn keeps_outbox(&self) -> bool {
        (self.is_house() && self.steward.is_some()) || self.has_outbox
    }

    /// With what waits on the device, though nobody is signed in: a queue may be what somebody signs
    /// in for.
    pub fn with_outbox(mut self) -> Self {
        self.has_outbox = true;
        self
    }

    /// With this title.
    pub fn titled(mut self, title: impl Into<String>) -> Self {
        self.title = title.into();
        self
    }

    /// For a page about nobody in particular: the same for whoever asks.
    pub fn bare(title: &str) -> Self {
        Self {
            title: title.to_owned(),
            ..Self::default()
        }
    }
}

impl FromRequestParts<App> for Chrome {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Infallible> {
        let steward = parts
            .extensions
            .get::<Visitor>()
            .and_then(|visitor| visitor.0.clone());
        let flash = Some(&parts.headers)
            .filter(|headers| has_flash(headers))
            .and_then(|headers| cookie::find(headers, FLASH))
            .map(|said| percent_decode_str(said).decode_utf8_lossy().into_owned());
        let is_lab = parts.uri.path().starts_with("/lab/");
        Ok(Self {
            title: String::new(),
            steward,
            flash,
            has_outbox: false,
            face: if is_lab { Face::Lab } else { Face::House },
        })
    }
}

/// A template as a response.
pub struct Page<T>(pub T, pub StatusCode);

impl<T: Template> Page<T> {
    /// An ordinary page.
    pub fn of(template: T) -> Self {
        Self(template, StatusCode::OK)
    }

    /// A form shown again with its faults.
    pub fn refused(template: T) -> Self {
        Self(template, StatusCode::UNPROCESSABLE_ENTITY)
    }
}

impl<T: Template> IntoResponse for Page<T> {
    fn into_response(self) -> Response {
        match self.0.render() {
            Ok(html) => (self.1, Html(html)).into_response(),
            Err(error) => WebFault::ours(error).into_response(),
        }
    }
}

/// Going on to another page with 303, after a form did what it should.
#[derive(Debug)]
pub struct Moved {
    path: String,
    said: Option<Flash>,
}

/// A sentence that the next page shows, once. The guard writes it to a short-lived cookie.
#[derive(Debug, Clone)]
pub(super) struct Flash(String);

impl Moved {
    /// To this path of ours.
    pub fn to(path: impl Into<String>) -> Self {
        Self {
            path: path.into(),
            said: None,
        }
    }

    /// With a sentence about what was done.
    pub fn saying(mut self, sentence: impl Into<String>) -> Self {
        self.said = Some(Flash(sentence.into()));
        self
    }
}

impl IntoResponse for Moved {
    fn into_response(self) -> Response {
        // A path that cannot stand in a header was not made by us.
        let Ok(location) = HeaderValue::from_str(&self.path) else {
            return WebFault::ours("a redirect to an impossible path").into_response();
        };
        let mut answer = StatusCode::SEE_OTHER.into_response();
        answer.headers_mut().insert(LOCATION, location);
        if let Some(said) = self.said {
            answer.extensions_mut().insert(said);
        }
        answer
    }
}

/// Sent by the service worker when it fetches a page to keep it, which nobody sees now.
const KEEPING: &str = "x-keeping";

/// Whether the request carries a sentence to show, to somebody who looks.
pub(super) fn has_flash(headers: &HeaderMap) -> bool {
    !headers.contains_key(KEEPING) && cookie::find(headers, FLASH).is_some()
}

/// Keeps the sentence for the next page, a minute at most.
pub(super) fn put_flash(answer: &mut Response, flash: &Flash, secure: bool) {
    let short: String = flash.0.chars().take(300).collect();
    let value = utf8_percent_encode(&short, NON_ALPHANUMERIC).to_string();
    Cookie {
        name: FLASH,
        value: &value,
        path: "/",
        max_age_s: 60,
        secure,
    }
    .put(answer);
}

/// Removes the sentence that this page has shown.
pub(super) fn clear_flash(answer: &mut Response) {
    Cookie {
        name: FLASH,
        value: "",
        path: "/",
        max_age_s: 0,
        secure: false,
    }
    .put(answer);
}

/// Six hexadecimal digits that tie a visitor's page to a line of the log.
pub(super) fn short_id() -> String {
    hex(&Clock::system().random::<3>())
}
