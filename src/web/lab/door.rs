//! The way in from a lab link: exchanges the token in the address for a cookie limited to that
//! consignment, and goes on to an address without it. Opening it again, as link previews do,
//! changes nothing.

use crate::clock::Token;
use crate::web::App;
use crate::web::access::{lab_cookie, link_with_secret};
use crate::web::cookie::Cookie;
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::page::Moved;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

/// Longer than any consignment lies at a lab; when the link itself ends is checked each time.
const KEPT_S: i64 = 400 * 24 * 3600;

/// Gives the cookie and goes on to the consignment.
pub(in crate::web) async fn enter(
    State(app): State<App>,
    Path((link, token)): Path<(String, String)>,
) -> Result<Response, WebFault> {
    let link_id = Uuid::parse_str(&link).map_err(|_| WebFault::NotFound)?;
    let token = Token::parse(&token).ok_or(WebFault::NotFound)?;
    link_with_secret(&app, link_id, &token).await?;
    let path = format!("/lab/{link_id}");
    let mut answer = Moved::to(&path).into_response();
    let (name, value) = (lab_cookie(link_id), token.reveal());
    let secure = app.config.has_secure_cookies();
    Cookie {
        name: &name,
        value: &value,
        path: &path,
        max_age_s: KEPT_S,
        secure,
    }
    .put(&mut answer);
    Ok(answer)
}
