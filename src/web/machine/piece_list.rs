//! What is expected of a token's holder: for a steward the pieces with the readings that the plan still calls
//! for, and the instruments to take them with; for a tester the pieces of the consignment.

use crate::study::measured::Measured;
use crate::study::plan::Plan;
use crate::study::reading::Occasion;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::Whereabouts;
use crate::web::App;
use crate::web::fault::JsonFault;
use crate::web::lab::program_pieces;
use crate::web::token::{Holder, TokenAccess};
use axum::Json;
use axum::extract::State;
use serde_json::{Value, json};

/// Lists them.
pub(in crate::web) async fn show(
    State(app): State<App>,
    token: TokenAccess,
) -> Result<Json<Value>, JsonFault> {
    match &token.holder {
        Holder::Steward(_) => {
            let record = token.study.record(&app).await?;
            Ok(Json(of_study(&record)))
        }
        Holder::Tester(lab) => Ok(Json(program_pieces::expected(&app, lab).await?)),
    }
}

/// Of a study: codes, where each piece is, what is missing. Conditions are no business of a balance.
fn of_study(record: &StudyRecord) -> Value {
    let measured = Measured::of(record);
    let plan = record.plan().map(|version| &version.plan);
    let piece = |specimen: &SpecimenRecord| {
        json!({
            "code": specimen.code,
            "lot": specimen.lot,
            "build": specimen.build,
            "whereabouts": specimen.whereabouts.key(),
            "missing": plan.map(|plan| missing(specimen, &measured, plan)).unwrap_or_default(),
        })
    };
    let instruments = record.instruments.iter().map(|instrument| {
        json!({
            "id": instrument.id, "name": instrument.name,
            "dimension": instrument.dimension, "readability": instrument.readability,
        })
    });
    json!({
        "study": record.slug,
        "pieces": record.specimens.iter().map(piece).collect::<Vec<_>>(),
        "instruments": instruments.collect::<Vec<_>>(),
    })
}

/// The readings that the plan calls for now and that are not on record, each as the entry must name it.
fn missing(specimen: &SpecimenRecord, measured: &Measured<'_>, plan: &Plan) -> Vec<Value> {
    let occasion = match specimen.whereabouts {
        Whereabouts::Bench => Occasion::Before,
        Whereabouts::In => Occasion::After,
        _ => return Vec::new(),
    };
    let state = plan.reference_state;
    let named = |(quantity, count): (crate::study::reading::Quantity, u8)| {
        let kind = (quantity, occasion, state);
        let next = measured.free_repeat(&specimen.code, &kind, plan);
        next.map(|repeat| {
            json!({
                "quantity": kind.0, "occasion": occasion, "state": state,
                "repeat": repeat, "count": count,
            })
        })
    };
    let missing = measured.missing(&specimen.code, occasion, plan);
    missing.into_iter().filter_map(named).collect()
}
