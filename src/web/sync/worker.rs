//! The service worker under its fixed address, the manifest that makes the desk installable, and the
//! page for what is not kept on a device.

use crate::web::assets;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::IntoResponse;
use serde_json::json;

/// The service worker's script: the release and the list of files, then the text of `static/sw.js`.
/// Never kept by the browser, so that a new release is seen at once.
pub(in crate::web) async fn script() -> impl IntoResponse {
    let files: Vec<&str> = assets::addresses().collect();
    let head = format!(
        "const RELEASE = {};\nconst FILES = {};\n",
        json!(assets::release()),
        json!(files)
    );
    let headers = [
        (CONTENT_TYPE, "text/javascript; charset=utf-8"),
        (CACHE_CONTROL, "no-cache"),
    ];
    (headers, format!("{head}{}", assets::WORKER))
}

/// The web app manifest (W3C).
pub(in crate::web) async fn manifest() -> impl IntoResponse {
    let icon = |name: &str, size: &str, purpose: &str| {
        json!({
            "src": assets::address(name), "sizes": size, "type": "image/png", "purpose": purpose,
        })
    };
    let body = json!({
        "id": "/desk",
        "name": "Overwinter",
        "short_name": "Overwinter",
        "description": "Shared specimen studies: measuring rounds, handling, what is due.",
        "start_url": "/desk",
        "scope": "/",
        "display": "standalone",
        "background_color": "#fdfdfb",
        "theme_color": "#1d4e6b",
        "icons": [
            icon("icon-192.png", "192x192", "any"),
            icon("icon-512.png", "512x512", "any"),
            icon("icon-maskable.png", "512x512", "maskable"),
            { "src": assets::address("icon.svg"), "sizes": "any", "type": "image/svg+xml" },
        ],
    });
    let headers = [
        (CONTENT_TYPE, "application/manifest+json"),
        (CACHE_CONTROL, "no-cache"),
    ];
    (headers, body.to_string())
}

#[derive(Template)]
#[template(path = "offline.html")]
struct OfflinePage {
    chrome: Chrome,
}

/// What is shown instead of a page that is not kept on the device. The same for everybody.
pub(in crate::web) async fn offline() -> impl IntoResponse {
    Page::of(OfflinePage {
        chrome: Chrome::bare("No connection").with_outbox(),
    })
}
