//! `/healthz`: whether the server can read its database. For the container and for a monitor.

use super::App;
use super::fault::JsonFault;
use axum::extract::State;

/// "ok" when the database answers.
pub(super) async fn show(State(app): State<App>) -> Result<&'static str, JsonFault> {
    app.store
        .ping()
        .await
        .map_err(|error| JsonFault(error.into()))?;
    Ok("ok\n")
}
