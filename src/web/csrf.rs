//! Refuses forms that another site sends in a visitor's name. By what the browser says of the
//! sender, not by a token in the form: pages kept offline would hold stale ones.

use super::fault::WebFault;
use super::routes::Who;
use crate::config::Config;
use axum::extract::Request;
use axum::http::header::{HOST, ORIGIN};
use axum::http::{HeaderMap, Method};

/// Lets through what changes nothing and what our own pages send.
pub(super) fn check(request: &Request, config: &Config, who: Who) -> Result<(), WebFault> {
    if matches!(*request.method(), Method::GET | Method::HEAD) {
        return Ok(());
    }
    match is_ours(request.headers(), config, who) {
        true => Ok(()),
        false => Err(WebFault::CrossSite),
    }
}

fn is_ours(headers: &HeaderMap, config: &Config, who: Who) -> bool {
    let text = |name: &str| {
        headers
            .get(name)
            .map(|value| value.to_str().unwrap_or("unreadable"))
    };
    // Every current browser sends this over TLS and to the machine itself.
    if let Some(site) = text("sec-fetch-site") {
        return matches!(site, "same-origin" | "none");
    }
    match text(ORIGIN.as_str()) {
        // No browser posts across sites without an Origin; scripts and programs have no cookies of
        // ours to abuse.
        None => true,
        // Lab pages send no referrer, and browsers then hide the Origin too. Their cookie is
        // SameSite=Lax, so that a form from another site arrives without it and gets a 404.
        Some("null") => who == Who::LabLink,
        Some(origin) => match &config.public_url {
            Some(url) => origin == url.as_str(),
            None => is_host(origin, text(HOST.as_str()).unwrap_or_default()),
        },
    }
}

/// Without `--public-url`: whether the Origin is the host that the request was sent to.
fn is_host(origin: &str, host: &str) -> bool {
    let bare = origin
        .strip_prefix("http://")
        .or_else(|| origin.strip_prefix("https://"));
    !host.is_empty() && bare == Some(host)
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::{HeaderName, HeaderValue};

    fn judge(lines: &[(&'static str, &'static str)], public_url: &str, who: Who) -> bool {
        let mut config = Config::at("nowhere", ([127, 0, 0, 1], 0).into());
        config.public_url = public_url.parse().ok();
        let lines = lines.iter().map(|(name, value)| {
            (
                HeaderName::from_static(name),
                HeaderValue::from_static(value),
            )
        });
        is_ours(&lines.collect(), &config, who)
    }

    #[test]
    fn the_browsers_own_word_decides_when_it_is_there() {
        let ours = ("origin", "https://a.example");
        let site = |word| [("sec-fetch-site", word), ours, ("host", "a.example")];
        let url = "https://a.example";
        assert!(judge(&site("same-origin"), url, Who::Signed));
        assert!(judge(&site("none"), url, Who::Signed));
        assert!(!judge(&site("cross-site"), url, Who::Signed));
        assert!(
            !judge(&site("same-site"), url, Who::Signed),
            "a neighbour's subdomain"
        );
    }

    #[test]
    fn otherwise_the_origin_must_be_ours() {
        let from = |origin| [("origin", origin), ("host", "a.example")];
        assert!(judge(
            &from("https://a.example"),
            "https://a.example",
            Who::Signed
        ));
        assert!(!judge(
            &from("http://a.example"),
            "https://a.example",
            Who::Signed
        ));
        assert!(judge(&from("http://a.example"), "", Who::Signed));
        assert!(!judge(&from("http://b.example"), "", Who::Signed));
        assert!(!judge(&from("null"), "", Who::Signed));
        assert!(judge(&from("null"), "", Who::LabLink));
    }
}
