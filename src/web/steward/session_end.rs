//! Signing out: here, or everywhere.

use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::page::Moved;
use crate::web::{App, session};
use axum::extract::State;
use axum::response::{IntoResponse, Response};

/// Ends this session.
pub(in crate::web) async fn this_one(
    State(app): State<App>,
    steward: Steward,
) -> Result<Response, WebFault> {
    app.store.end_session(&steward.session).await?;
    Ok(signed_out(&app, "You are signed out."))
}

/// Ends every session of this person, this one included.
pub(in crate::web) async fn all(
    State(app): State<App>,
    steward: Steward,
) -> Result<Response, WebFault> {
    app.store.end_sessions_of(steward.id).await?;
    Ok(signed_out(&app, "You are signed out on every device."))
}

fn signed_out(app: &App, said: &str) -> Response {
    let mut answer = Moved::to("/sign-in").saying(said).into_response();
    session::clear(app, &mut answer);
    answer
}
