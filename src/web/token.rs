//! Tokens of the machine interface: who a request's token acts for, and whether it still may. Its rights are
//! those of its maker at this moment, never wider.

use super::App;
use super::access::{LabAccess, StudyAccess};
use super::address::ClientAddress;
use super::attempts::By;
use super::fault::WebFault;
use crate::clock::Token;
use crate::store::{Maker, TokenRow};
use crate::study::entry::Actor;
use crate::study::ids::{AccountId, StudyId};
use axum::extract::Request;
use axum::http::HeaderMap;
use axum::http::header::AUTHORIZATION;

/// A token that still opens something.
#[derive(Debug, Clone)]
pub struct TokenAccess {
    /// As it is kept.
    pub row: TokenRow,
    /// The study that it is for.
    pub study: StudyAccess,
    /// Whose it is.
    pub holder: Holder,
}

/// Whose a token is.
#[derive(Debug, Clone)]
pub enum Holder {
    /// A steward of the study.
    Steward(AccountId),
    /// A tester, for the one consignment of a lab link.
    Tester(LabAccess),
}

impl TokenAccess {
    /// In whose name its entries are recorded.
    #[must_use]
    pub fn actor(&self) -> Actor {
        match &self.holder {
            Holder::Steward(account) => Actor::Account(*account),
            Holder::Tester(lab) => Actor::Link(lab.link),
        }
    }

    /// The lab link of a tester's token.
    ///
    /// # Errors
    /// When it is a steward's.
    pub fn lab(&self) -> Result<LabAccess, WebFault> {
        match &self.holder {
            Holder::Tester(lab) => Ok(lab.clone()),
            Holder::Steward(_) => Err(WebFault::Forbidden(
                "This is for the tester of a consignment: a token made behind its lab link."
                    .to_owned(),
            )),
        }
    }

    /// Refuses to send with a token that only reads.
    ///
    /// # Errors
    /// When it was made for reading.
    pub fn must_send(&self) -> Result<(), WebFault> {
        if self.row.can_send {
            return Ok(());
        }
        let sentence = "This token only reads. Make one that may send.";
        Err(WebFault::Forbidden(sentence.to_owned()))
    }
}

/// What a request says of itself: its token and where it comes from.
pub(super) struct Shown {
    token: Result<Token, WebFault>,
    address: Result<ClientAddress, WebFault>,
}

impl Shown {
    /// Of a request.
    pub(super) fn by(request: &Request, app: &App) -> Self {
        Self {
            token: sent(request.headers()),
            address: ClientAddress::of(request.extensions(), request.headers(), app),
        }
    }
}

/// The token that a request shows, when it still opens something.
///
/// # Errors
/// 401 without one or with one that opens nothing: never was, revoked, ended, its maker gone; 429 after
/// too many wrong ones from one address. A right one is never slowed.
pub(super) async fn find(app: &App, shown: Shown) -> Result<TokenAccess, WebFault> {
    let token = shown.token?;
    if let Some(found) = opened(app, &token).await? {
        return Ok(found);
    }
    let by = [By::Token(shown.address?.0)];
    app.attempts
        .begin(&by, app.clock.now())
        .map_err(|wait_s| WebFault::Slow { wait_s })?;
    Err(WebFault::TokenNeeded(OPENS_NOTHING))
}

const OPENS_NOTHING: &str = "This token opens nothing: it is mistyped, was revoked, has ended, or its maker \
     no longer has part in the study.";

/// The secret in the header.
fn sent(headers: &HeaderMap) -> Result<Token, WebFault> {
    let line = headers.get(AUTHORIZATION).ok_or(WebFault::TokenNeeded(
        "Send the header “Authorization: Bearer …” with a token.",
    ))?;
    // The scheme's name is in any case (RFC 9110, section 11.1).
    let token = line.to_str().ok().and_then(|line| {
        let (scheme, secret) = line.split_once(' ')?;
        scheme.eq_ignore_ascii_case("bearer").then(|| secret.trim())
    });
    token.and_then(Token::parse).ok_or(WebFault::TokenNeeded(
        "The header must read “Authorization: Bearer ” and the 64 digits of a token.",
    ))
}

async fn opened(app: &App, token: &Token) -> Result<Option<TokenAccess>, WebFault> {
    let now = app.clock.now();
    let Some((row, slug)) = app.store.open_token(&token.sha256(), now).await? else {
        return Ok(None);
    };
    let holder = match row.maker {
        Maker::Steward(account) => Holder::Steward(account),
        Maker::Tester(link) => {
            let target = app.store.link_target(link).await?;
            let is_open = |target: &crate::store::read::LinkTarget| {
                !target.is_revoked && target.ends_at > now
            };
            let Some(target) = target.filter(is_open) else {
                return Ok(None);
            };
            Holder::Tester(LabAccess { link, target })
        }
    };
    app.store.touch_token(&row, now).await?;
    let study = access_to(row.study, slug);
    Ok(Some(TokenAccess { row, study, holder }))
}

/// A token never makes a study public, so that nothing reached by it is kept for others.
fn access_to(id: StudyId, slug: String) -> StudyAccess {
    StudyAccess {
        id,
        slug,
        is_public: false,
    }
}

/// The study of this slug, when it is public or the token is one of its stewards'.
///
/// # Errors
/// Not found; and 429 after too many wrong tokens.
pub(super) async fn study_reading(
    app: &App,
    slug: Option<&str>,
    token: Result<TokenAccess, WebFault>,
) -> Result<StudyAccess, WebFault> {
    let public = super::access::study_reading(app, slug, None).await;
    match (public, token) {
        (Ok(study), _) => Ok(study),
        (Err(WebFault::NotFound), Ok(token)) => {
            let is_its = matches!(token.holder, Holder::Steward(_))
                && slug == Some(token.study.slug.as_str());
            if is_its {
                Ok(token.study)
            } else {
                Err(WebFault::NotFound)
            }
        }
        (Err(WebFault::NotFound), Err(slow @ WebFault::Slow { .. })) => Err(slow),
        (Err(fault), _) => Err(fault),
    }
}
