//! Reading and writing cookies. Every cookie of ours is HttpOnly and SameSite=Lax.

use axum::http::header::{COOKIE, SET_COOKIE};
use axum::http::{HeaderMap, HeaderValue};
use axum::response::Response;

/// The value of the first cookie of this name.
pub(super) fn find<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    let lines = headers
        .get_all(COOKIE)
        .iter()
        .filter_map(|line| line.to_str().ok());
    let mut pairs = lines.flat_map(|line| line.split(';'));
    pairs.find_map(|pair| pair.trim().strip_prefix(name)?.strip_prefix('='))
}

/// A cookie to be set.
pub(super) struct Cookie<'a> {
    /// Its name.
    pub(super) name: &'a str,
    /// Its value: hexadecimal digits or percent-encoded text, never raw.
    pub(super) value: &'a str,
    /// The part of the site that gets it back.
    pub(super) path: &'a str,
    /// How long the browser keeps it; 0 removes it.
    pub(super) max_age_s: i64,
    /// Only over TLS.
    pub(super) secure: bool,
}

impl Cookie<'_> {
    /// Adds this cookie to an answer.
    pub(super) fn put(&self, answer: &mut Response) {
        let Cookie {
            name,
            value,
            path,
            max_age_s,
            secure,
        } = self;
        let secure = if *secure { "; Secure" } else { "" };
        let line = format!(
            "{name}={value}; Path={path}; Max-Age={max_age_s}; HttpOnly; SameSite=Lax{secure}"
        );
        // Values are encoded, so this holds for every one of ours.
        if let Ok(line) = HeaderValue::from_str(&line) {
            answer.headers_mut().append(SET_COOKIE, line);
        }
    }
}
