//! Reading a request's body whole, up to the route's limit.

use super::fault::WebFault;
use axum::body::{Body, Bytes, HttpBody};
use axum::http::HeaderMap;
use axum::http::header::CONTENT_TYPE;
use std::future::poll_fn;
use std::pin::Pin;

/// How many bytes the route takes; the guard sets it.
#[derive(Debug, Clone, Copy)]
pub struct BodyLimit(pub usize);

impl Default for BodyLimit {
    /// Nothing: a route without a guard takes no body.
    fn default() -> Self {
        Self(0)
    }
}

/// A browser reads the answer only after it has sent everything, so what is over the limit is
/// thrown away up to this many times the limit before the line is cut.
const DRAINED_TIMES: usize = 8;

/// The body's bytes.
///
/// # Errors
/// `TooLarge` over the limit; `Busy` when the line breaks.
pub async fn whole(mut body: Body, limit: BodyLimit) -> Result<Bytes, WebFault> {
    let mut kept = Vec::new();
    let mut seen = 0_usize;
    while let Some(frame) = poll_fn(|context| Pin::new(&mut body).poll_frame(context)).await {
        let Ok(frame) = frame else {
            return Err(WebFault::Busy);
        };
        let Ok(data) = frame.into_data() else {
            continue;
        };
        seen = seen.saturating_add(data.len());
        if seen <= limit.0 {
            kept.extend_from_slice(&data);
        } else if seen > limit.0.saturating_mul(DRAINED_TIMES) {
            break;
        }
    }
    if seen > limit.0 {
        Err(WebFault::TooLarge)
    } else {
        Ok(kept.into())
    }
}

/// Whether the sender says that the body is of this media type, whatever its parameters.
pub(super) fn is_of_kind(headers: &HeaderMap, wanted: &str) -> bool {
    let said = headers
        .get(CONTENT_TYPE)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default();
    let bare = said.split(';').next().unwrap_or_default().trim();
    bare.eq_ignore_ascii_case(wanted)
}
