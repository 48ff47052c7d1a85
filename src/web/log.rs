//! One line per request: the route's name, never its path, since a lab's path opens a consignment.

use super::extract::RouteName;
use axum::extract::Request;
use axum::middleware::Next;
use axum::response::Response;
use std::time::Instant;

/// Notes what was asked and how it went.
pub(super) async fn note(request: Request, next: Next) -> Response {
    let begun = Instant::now();
    let method = request.method().clone();
    let answer = next.run(request).await;
    let route = answer
        .extensions()
        .get::<RouteName>()
        .map_or("none", |name| name.0);
    let status = answer.status().as_u16();
    let took_ms = begun.elapsed().as_millis();
    tracing::info!(%method, route, status, took_ms, "answered");
    answer
}
