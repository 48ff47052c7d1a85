//! Who may reach a study, and which consignment a lab link opens. Whether there is such a study and
//! who its stewards are is asked here and nowhere else.

use super::App;
use super::cookie;
use super::extract::Steward;
use super::fault::WebFault;
use crate::clock::Token;
use crate::store::read::LinkTarget;
use crate::study::ids::{AccountId, LinkId, StudyId};
use crate::study::record::StudyRecord;
use axum::http::HeaderMap;
use std::sync::Arc;
use uuid::Uuid;

/// A study that the visitor may see, by the rule of the route.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StudyAccess {
    /// The study.
    pub id: StudyId,
    /// Its name in addresses.
    pub slug: String,
    /// Whether everybody may see it.
    pub is_public: bool,
}

impl StudyAccess {
    /// Everything on record about it.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn record(&self, app: &App) -> Result<Arc<StudyRecord>, WebFault> {
        app.store
            .study_record(&self.slug)
            .await?
            .ok_or(WebFault::NotFound)
    }
}

/// A lab link that this browser opened and that was not revoked or run out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LabAccess {
    /// The link.
    pub link: LinkId,
    /// Where it leads.
    pub target: LinkTarget,
}

impl LabAccess {
    /// Everything on record about the study of its consignment. A page of the lab's face shows
    /// nothing of it but the consignment's own blind side.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn record(&self, app: &App) -> Result<Arc<StudyRecord>, WebFault> {
        app.store
            .study_record(&self.target.slug)
            .await?
            .ok_or(WebFault::NotFound)
    }
}

/// The study of this slug, when this person is one of its stewards.
///
/// # Errors
/// Not found, for a study that is not there and for one that is another's alike.
pub async fn study_access(
    app: &App,
    slug: Option<&str>,
    steward: &Steward,
) -> Result<StudyAccess, WebFault> {
    let slug = slug.ok_or(WebFault::NotFound)?;
    let found = app
        .store
        .study_door(slug, Some(AccountId(steward.id)))
        .await?;
    let door = found
        .filter(|door| door.is_steward)
        .ok_or(WebFault::NotFound)?;
    Ok(StudyAccess {
        id: door.id,
        slug: slug.to_owned(),
        is_public: door.is_public,
    })
}

/// The study of this slug, when it is public or this person is one of its stewards.
///
/// # Errors
/// As [`study_access`].
pub async fn study_reading(
    app: &App,
    slug: Option<&str>,
    steward: Option<&Steward>,
) -> Result<StudyAccess, WebFault> {
    let slug = slug.ok_or(WebFault::NotFound)?;
    let account = steward.map(|steward| AccountId(steward.id));
    let found = app.store.study_door(slug, account).await?;
    let is_open = |door: &crate::store::read::StudyDoor| door.is_public || door.is_steward;
    let door = found.filter(is_open).ok_or(WebFault::NotFound)?;
    Ok(StudyAccess {
        id: door.id,
        slug: slug.to_owned(),
        is_public: door.is_public,
    })
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
    let link = LinkId(link_id);
    let target = app
        .store
        .link_target(link)
        .await?
        .ok_or(WebFault::NotFound)?;
    if target.is_revoked || target.ends_at <= app.clock.now() {
        return Err(WebFault::NotFound);
    }
    Ok(LabAccess { link, target })
}

/// The name of the cookie that holds one link's secret.
pub fn lab_cookie(link_id: Uuid) -> String {
    format!("lab-{}", link_id.simple())
}

/// Whether this browser's cookie holds the secret of a lab link; whether the link still holds is the
/// journal's question.
pub async fn link_from_cookie(app: &App, headers: &HeaderMap, link: LinkId) -> bool {
    let token = cookie::find(headers, &lab_cookie(link.0)).and_then(Token::parse);
    match token {
        Some(token) => app
            .store
            .lab_secret_fits(link.0, &token.sha256())
            .await
            .unwrap_or(false),
        None => false,
    }
}
