//! What a token is for: so that a program can tell its keeper before it is too late.

use crate::web::token::{Holder, TokenAccess};
use axum::Json;
use serde_json::{Value, json};

/// Shows it. A tester's token says nothing of the study.
pub(in crate::web) async fn show(token: TokenAccess) -> Json<Value> {
    let (row, ends) = (&token.row, token.row.ends_at);
    Json(match &token.holder {
        Holder::Steward(_) => json!({
            "kind": "steward", "name": row.name, "can_send": row.can_send, "ends_at": ends,
            "study": token.study.slug,
        }),
        Holder::Tester(lab) => json!({
            "kind": "tester", "name": row.name, "can_send": row.can_send,
            "ends_at": ends.min(lab.target.ends_at), "consignment": lab.target.consignment,
        }),
    })
}
