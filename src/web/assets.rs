//! Static files, embedded in the program and served under the hash of their content, so that a
//! browser keeps each for good and never shows an old one with a new page.

use super::fault::WebFault;
use crate::clock::hex;
use axum::extract::Path;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};
use std::sync::LazyLock;

/// One file of `static/`.
struct Asset {
    name: &'static str,
    media_type: &'static str,
    bytes: &'static [u8],
}

const CSS: &str = "text/css; charset=utf-8";
const JS: &str = "text/javascript; charset=utf-8";
const SVG: &str = "image/svg+xml";
const PNG: &str = "image/png";

/// The service worker's text, served by `sync::worker` under a fixed address with the release before
/// it: "sw.js" alone is no asset.
pub(super) const WORKER: &str = include_str!("../../static/sw.js");

/// Every static file there is.
static ASSETS: &[Asset] = &[
    Asset {
        name: "app.css",
        media_type: CSS,
        bytes: include_bytes!("../../static/app.css"),
    },
    Asset {
        name: "check.js",
        media_type: JS,
        bytes: include_bytes!("../../static/check.js"),
    },
    Asset {
        name: "curve_file.js",
        media_type: JS,
        bytes: include_bytes!("../../static/curve_file.js"),
    },
    Asset {
        name: "curve_upload.js",
        media_type: JS,
        bytes: include_bytes!("../../static/curve_upload.js"),
    },
    Asset {
        name: "edition.css",
        media_type: CSS,
        bytes: include_bytes!("../../static/edition.css"),
    },
    Asset {
        name: "dry_rule.js",
        media_type: JS,
        bytes: include_bytes!("../../static/dry_rule.js"),
    },
    Asset {
        name: "dry_state.js",
        media_type: JS,
        bytes: include_bytes!("../../static/dry_state.js"),
    },
    Asset {
        name: "dry_verdict.js",
        media_type: JS,
        bytes: include_bytes!("../../static/dry_verdict.js"),
    },
    Asset {
        name: "override.js",
        media_type: JS,
        bytes: include_bytes!("../../static/override.js"),
    },
    Asset {
        name: "waive.js",
        media_type: JS,
        bytes: include_bytes!("../../static/waive.js"),
    },
    Asset {
        name: "drying.js",
        media_type: JS,
        bytes: include_bytes!("../../static/drying.js"),
    },
    Asset {
        name: "fieldwork.js",
        media_type: JS,
        bytes: include_bytes!("../../static/fieldwork.js"),
    },
    Asset {
        name: "handle.js",
        media_type: JS,
        bytes: include_bytes!("../../static/handle.js"),
    },
    Asset {
        name: "here.js",
        media_type: JS,
        bytes: include_bytes!("../../static/here.js"),
    },
    Asset {
        name: "incident.js",
        media_type: JS,
        bytes: include_bytes!("../../static/incident.js"),
    },
    Asset {
        name: "nameless.js",
        media_type: JS,
        bytes: include_bytes!("../../static/nameless.js"),
    },
    Asset {
        name: "put_out.js",
        media_type: JS,
        bytes: include_bytes!("../../static/put_out.js"),
    },
    Asset {
        name: "take_in.js",
        media_type: JS,
        bytes: include_bytes!("../../static/take_in.js"),
    },
    Asset {
        name: "icon.svg",
        media_type: SVG,
        bytes: include_bytes!("../../static/icon.svg"),
    },
    Asset {
        name: "icon-touch.png",
        media_type: PNG,
        bytes: include_bytes!("../../static/icon-touch.png"),
    },
    Asset {
        name: "icon-192.png",
        media_type: PNG,
        bytes: include_bytes!("../../static/icon-192.png"),
    },
    Asset {
        name: "icon-512.png",
        media_type: PNG,
        bytes: include_bytes!("../../static/icon-512.png"),
    },
    Asset {
        name: "icon-maskable.png",
        media_type: PNG,
        bytes: include_bytes!("../../static/icon-maskable.png"),
    },
    Asset {
        name: "keep.js",
        media_type: JS,
        bytes: include_bytes!("../../static/keep.js"),
    },
    Asset {
        name: "code.js",
        media_type: JS,
        bytes: include_bytes!("../../static/code.js"),
    },
    Asset {
        name: "photograph.js",
        media_type: JS,
        bytes: include_bytes!("../../static/photograph.js"),
    },
    Asset {
        name: "scan.js",
        media_type: JS,
        bytes: include_bytes!("../../static/scan.js"),
    },
    Asset {
        name: "lab_row.js",
        media_type: JS,
        bytes: include_bytes!("../../static/lab_row.js"),
    },
    Asset {
        name: "outbox.js",
        media_type: JS,
        bytes: include_bytes!("../../static/outbox.js"),
    },
    Asset {
        name: "round.js",
        media_type: JS,
        bytes: include_bytes!("../../static/round.js"),
    },
    Asset {
        name: "plan.js",
        media_type: JS,
        bytes: include_bytes!("../../static/plan.js"),
    },
    Asset {
        name: "round_state.js",
        media_type: JS,
        bytes: include_bytes!("../../static/round_state.js"),
    },
    Asset {
        name: "round_weight.js",
        media_type: JS,
        bytes: include_bytes!("../../static/round_weight.js"),
    },
    Asset {
        name: "send.js",
        media_type: JS,
        bytes: include_bytes!("../../static/send.js"),
    },
    Asset {
        name: "strip.js",
        media_type: JS,
        bytes: include_bytes!("../../static/strip.js"),
    },
    Asset {
        name: "waiting.js",
        media_type: JS,
        bytes: include_bytes!("../../static/waiting.js"),
    },
    Asset {
        name: "zone.js",
        media_type: JS,
        bytes: include_bytes!("../../static/zone.js"),
    },
];

static ADDRESSES: LazyLock<Vec<(&'static str, String)>> = LazyLock::new(|| {
    let address = |asset: &Asset| {
        (
            asset.name,
            format!("/static/{}/{}", short_hash(asset.bytes), asset.name),
        )
    };
    ASSETS.iter().map(address).collect()
});

/// The addresses of all static files.
pub(super) fn addresses() -> impl Iterator<Item = &'static str> {
    ADDRESSES.iter().map(|(_, address)| address.as_str())
}

/// Names this release by everything that a device keeps of it: another text of any file, or of the
/// service worker itself, is another release.
pub(super) fn release() -> &'static str {
    static RELEASE: LazyLock<String> = LazyLock::new(|| {
        let all: Vec<&str> = addresses().chain([WORKER]).collect();
        short_hash(all.join("\n").as_bytes())
    });
    &RELEASE
}

fn short_hash(bytes: &[u8]) -> String {
    let hash = Sha256::digest(bytes);
    hex(hash.get(..8).unwrap_or_default())
}

/// The address of a static file; an empty one for a name that is not in the list, which a test over
/// all templates rules out.
pub fn address(name: &str) -> &'static str {
    let known = ADDRESSES.iter().find(|(known, _)| *known == name);
    known.map_or("", |(_, address)| address.as_str())
}

/// The stylesheet itself, for an edition that keeps it.
pub fn stylesheet() -> &'static [u8] {
    ASSETS
        .iter()
        .find(|asset| asset.name == "app.css")
        .map_or(&[], |asset| asset.bytes)
}

/// Serves one, for good.
pub(super) async fn show(Path((hash, file)): Path<(String, String)>) -> Result<Response, WebFault> {
    let asset = ASSETS
        .iter()
        .find(|asset| asset.name == file)
        .ok_or(WebFault::NotFound)?;
    if address(asset.name) != format!("/static/{hash}/{file}") {
        return Err(WebFault::NotFound);
    }
    let headers = [
        (CONTENT_TYPE, asset.media_type),
        (CACHE_CONTROL, "public, max-age=31536000, immutable"),
    ];
    Ok((headers, asset.bytes).into_response())
}
