//! Who may reach a study, and which consignment a lab link opens. Whether there is such a study and
//! who its stewards are is asked here and nowhere else.

use super::App;
use super::cookie;
use super::extract::Steward;
use super::fault::WebFault;
use crate::clock::Token;
use axum::http::HeaderMap;
use uuid::Uuid;

/// A study that the visitor may see, by the rule of the route.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StudyAccess {
    /// The study.
    pub id: Uuid,
    /// Its name in addresses.
    pub slug: String,
}

/// A lab link that holds, opened in this browser.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LabAccess {
    /// The link.
    pub link_id: Uuid,
}

/// The study of this slug, when this person is one of its stewards.
///
/// # Errors
/// Not found, for a study that is not there and for one that is another's alike.
pub async fn study_access(
    _app: &App,
    _slug: Option<&str>,
    _steward: &Steward,
) -> Result<StudyAccess, WebFault> {
    // No study tables yet: there is no study, so nobody is steward of one.
    Err(WebFault::NotFound)
}

/// The study of this slug, when it is public or this person is one of its stewards.
///
/// # Errors
/// As [`study_access`].
pub async fn study_reading(
    _app: &App,
    _slug: Option<&str>,
    _steward: Option<&Steward>,
) -> Result<StudyAccess, WebFault> {
    Err(WebFault::NotFound)
}

/// The lab link of this id, when this browser's cookie holds its secret.
///
/// # Errors
/// Not found: the same for a link that never was, one revoked, one run out, and a missing cookie.
pub async fn lab_access(
    app: &App,
    headers: &HeaderMap,
    link: Option<&str>,
) -> Result<LabAccess, WebFault> {
    let link_id = link
        .and_then(|link| Uuid::parse_str(link).ok())
        .ok_or(WebFault::NotFound)?;
    let token = cookie::find(headers, &lab_cookie(link_id)).and_then(Token::parse);
    link_with_secret(app, link_id, &token.ok_or(WebFault::NotFound)?).await
}

/// The lab link of this id, when this is its secret and it still holds.
///
/// # Errors
/// As [`lab_access`].
pub async fn link_with_secret(
    app: &App,
    link_id: Uuid,
    token: &Token,
) -> Result<LabAccess, WebFault> {
    if !app.store.lab_secret_fits(link_id, &token.sha256()).await? {
        return Err(WebFault::NotFound);
    }
    Ok(LabAccess { link_id })
}

/// The name of the cookie that holds one link's secret.
pub fn lab_cookie(link_id: Uuid) -> String {
    format!("lab-{}", link_id.simple())
}
