//! The headers that every answer carries, whatever made it.

use axum::extract::Request;
use axum::http::HeaderValue;
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HeaderName, REFERRER_POLICY, VARY,
    X_CONTENT_TYPE_OPTIONS,
};
use axum::middleware::Next;
use axum::response::Response;

/// What a page of ours may load and do: nothing inline, nothing from elsewhere, in no frame.
pub const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
     img-src 'self' data:; font-src 'self'; connect-src 'self'; form-action 'self'; \
     base-uri 'none'; frame-ancestors 'none'; manifest-src 'self'";

const PERMISSIONS: HeaderName = HeaderName::from_static("permissions-policy");
const OPENER: HeaderName = HeaderName::from_static("cross-origin-opener-policy");

/// Adds them, after the answer is made; an answer's own caching rule stands.
pub(super) async fn add(request: Request, next: Next) -> Response {
    // A lab page's address is the way into its consignment: no other site may learn it.
    let is_lab = request.uri().path().starts_with("/lab/");
    let mut answer = next.run(request).await;
    let headers = answer.headers_mut();
    let referrer = if is_lab { "no-referrer" } else { "same-origin" };
    for (name, value) in [
        (CONTENT_SECURITY_POLICY, POLICY),
        (REFERRER_POLICY, referrer),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (PERMISSIONS, "camera=(self), geolocation=(), microphone=()"),
        (OPENER, "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    if !headers.contains_key(CACHE_CONTROL) {
        headers.insert(CACHE_CONTROL, HeaderValue::from_static("private, no-cache"));
        headers.append(VARY, HeaderValue::from_static("cookie"));
    }
    answer
}
