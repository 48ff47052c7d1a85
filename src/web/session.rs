//! Signed-in browsers: the cookie, who it stands for, beginning and ending a session.

use super::App;
use super::cookie::{self, Cookie};
use super::extract::Steward;
use super::fault::WebFault;
use crate::clock::Token;
use crate::store::NewSession;
use axum::http::HeaderMap;
use axum::http::header::USER_AGENT;
use axum::response::Response;
use chrono::TimeDelta;
use uuid::Uuid;

const COOKIE: &str = "session";
/// A session ends this long after it was last used.
const KEPT: TimeDelta = TimeDelta::days(30);
/// The browser is asked to keep the cookie longer: the end of the session is the store's to say.
const COOKIE_KEPT: TimeDelta = TimeDelta::days(400);
/// Use is noted at most this often, so that reading a page does not write.
const NOTED: TimeDelta = TimeDelta::hours(1);

/// Who the request's cookie stands for.
pub(super) async fn find(app: &App, headers: &HeaderMap) -> Result<Option<Steward>, WebFault> {
    let Some(token) = cookie::find(headers, COOKIE).and_then(Token::parse) else {
        return Ok(None);
    };
    let (session, now) = (token.sha256(), app.clock.now());
    let Some(found) = app.store.find_session(&session, now).await? else {
        return Ok(None);
    };
    if now - found.last_seen_at >= NOTED {
        app.store.touch_session(&session, now, now + KEPT).await?;
    }
    let account = found.account;
    Ok(Some(Steward {
        id: account.id,
        name: account.name,
        display_name: account.display_name,
        session,
    }))
}

/// Begins a session for this account and gives its cookie to the answer.
pub(super) async fn begin(
    app: &App,
    account: Uuid,
    headers: &HeaderMap,
    answer: &mut Response,
) -> Result<(), WebFault> {
    let (token, now) = (app.clock.new_token(), app.clock.now());
    let session = NewSession {
        token_sha256: token.sha256(),
        account,
        made_at: now,
        expires_at: now + KEPT,
        device: device_name(headers),
    };
    app.store.begin_session(&session).await?;
    put_cookie(app, &token.reveal(), COOKIE_KEPT.num_seconds(), answer);
    Ok(())
}

/// Takes the cookie back.
pub(super) fn clear(app: &App, answer: &mut Response) {
    put_cookie(app, "", 0, answer);
}

fn put_cookie(app: &App, value: &str, max_age_s: i64, answer: &mut Response) {
    let secure = app.config.has_secure_cookies();
    Cookie {
        name: COOKIE,
        value,
        path: "/",
        max_age_s,
        secure,
    }
    .put(answer);
}

/// What a person knows the sender's device by.
pub(super) fn device_name(headers: &HeaderMap) -> String {
    let agent = headers
        .get(USER_AGENT)
        .and_then(|agent| agent.to_str().ok());
    device(agent.unwrap_or_default())
}

/// "Firefox on Android": enough for a person to know their own devices by.
fn device(agent: &str) -> String {
    // In this order: most browsers also name the ones they descend from.
    let browsers = [
        ("Edg", "Edge"),
        ("Firefox", "Firefox"),
        ("FxiOS", "Firefox"),
    ];
    let descended = [
        ("Chrome", "Chromium"),
        ("CriOS", "Chromium"),
        ("Safari", "Safari"),
    ];
    let systems = [
        ("Android", "Android"),
        ("iPhone", "iPhone"),
        ("iPad", "iPad"),
        ("Windows", "Windows"),
        ("Mac OS", "macOS"),
        ("Linux", "Linux"),
    ];
    let first = |names: &[(&str, &'static str)]| {
        names
            .iter()
            .find(|(mark, _)| agent.contains(mark))
            .map(|(_, name)| *name)
    };
    let browser = first(&browsers)
        .or_else(|| first(&descended))
        .unwrap_or("A browser");
    match first(&systems) {
        Some(system) => format!("{browser} on {system}"),
        None => browser.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::device;

    #[test]
    fn a_device_is_named_by_its_browser_and_system() {
        let phone = "Mozilla/5.0 (Linux; Android 14) AppleWebKit/537.36 (KHTML, like Gecko) \
                     Chrome/126.0 Mobile Safari/537.36";
        assert_eq!(device(phone), "Chromium on Android");
        let desk = "Mozilla/5.0 (X11; Linux x86_64; rv:128.0) Gecko/20100101 Firefox/128.0";
        assert_eq!(device(desk), "Firefox on Linux");
        assert_eq!(device(""), "A browser");
    }
}
