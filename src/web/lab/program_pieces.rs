//! A consignment as a tester's program sees it: what [`Blind`] holds and nothing else.

use super::blind::{Blind, Piece};
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::fault::WebFault;
use serde_json::{Value, json};

/// The pieces in the order of testing, what was set up, and whether anything may still be sent.
pub(in crate::web) async fn expected(app: &App, lab: &LabAccess) -> Result<Value, WebFault> {
    let blind = Blind::load(app, lab).await?;
    let piece = |piece: &Piece| {
        json!({
            "code": piece.blind,
            "position": piece.position,
            "arrival": piece.arrival,
            "looks": piece.looks,
            "is_tested": piece.test().is_some(),
            "has_curve": blind.curve_of(&piece.blind).is_some(),
        })
    };
    Ok(json!({
        "consignment": blind.id,
        "is_open": blind.is_open(),
        "session": blind.session,
        "pieces": blind.pieces.iter().map(piece).collect::<Vec<_>>(),
    }))
}
