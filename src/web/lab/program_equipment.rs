//! What the lab works with, as a tester's program sees it: the items as they are now.

use super::blind::Blind;
use crate::study::equipment::EquipmentKind;
use crate::study::equipment::flag::of_calibration;
use crate::study::record::EquipmentRecord;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::fault::JsonFault;
use axum::Json;
use axum::extract::State;
use chrono::NaiveDate;
use serde_json::{Value, json};

/// Lists them.
pub(in crate::web) async fn list(
    State(app): State<App>,
    lab: LabAccess,
) -> Result<Json<Value>, JsonFault> {
    let blind = Blind::load(&app, &lab).await?;
    let today = app.clock.now().date_naive();
    let current = blind.equipment.iter().filter(|one| one.is_current());
    let items: Vec<Value> = current.map(|one| told(one, today)).collect();
    Ok(Json(json!({ "equipment": items })))
}

/// An item: `item` is what a session names, `entry` what is replaced when it is written down anew.
fn told(one: &EquipmentRecord, today: NaiveDate) -> Value {
    let own = &one.equipment;
    let is_gauge = own.kind != EquipmentKind::Fixture;
    let flag = of_calibration(own, today).filter(|_| is_gauge);
    json!({
        "item": one.item,
        "entry": one.entry,
        "kind": own.kind,
        "name": own.name,
        "serial": own.serial,
        "range_from": own.range_from,
        "range_to": own.range_to,
        "class": own.class,
        "calibrated_on": own.calibrated_on,
        "valid_until": own.valid_until,
        "has_paper": own.paper.is_some(),
        "has_picture": own.picture.is_some(),
        "flag": flag.map(|flag| flag.label()),
    })
}
