//! The shapes of the lab's own record and of what came of a parcel, for the description of the interface.

use super::schemas::{moment, object_with, one_of, or_null, text, truth, uuid};
use crate::study::equipment::{Change, EquipmentKind};
use crate::study::receipt::SealState;
use serde_json::{Value, json};

/// What of the lab's record a session uses, each by its `item` in the list.
pub(super) fn used() -> Value {
    let item = || or_null(&uuid());
    object_with(
        [],
        [
            ("machine", item()),
            ("cell", item()),
            ("extensometer", item()),
            ("fixture", item()),
            ("method", text()),
            ("conditioning", text()),
        ],
    )
}

/// A parcel as it was opened.
pub(super) fn receipt() -> Value {
    object_with(
        [
            ("at", moment()),
            (
                "count",
                json!({ "type": "integer", "minimum": 0, "maximum": 9999 }),
            ),
            ("seal", one_of(SealState::ALL.map(SealState::key))),
        ],
        [("seal_number", text()), ("consignment", uuid())],
    )
}

/// A difference that is settled by the entry's note.
pub(super) fn difference() -> Value {
    let about =
        json!({ "type": "string", "description": "count, seal, or piece: and a blind code" });
    object_with([("about", about)], [("consignment", uuid())])
}

/// An item of the lab's record: what it is, and for what its calibration speaks.
fn equipment<const N: usize, const M: usize>(
    more: [(&str, Value); N],
    others: [(&str, Value); M],
) -> Value {
    let kind = one_of(EquipmentKind::ALL.map(EquipmentKind::key));
    let end =
        json!({ "type": ["number", "null"], "description": "In N, for an extensometer in mm." });
    let day = json!({ "type": ["string", "null"], "format": "date" });
    let mut shape = object_with(more, others);
    let own = object_with(
        [("kind", kind), ("name", text())],
        [
            ("serial", text()),
            ("range_from", end.clone()),
            ("range_to", end),
            ("class", text()),
            ("calibrated_on", day.clone()),
            ("valid_until", day),
        ],
    );
    for part in ["required", "properties"] {
        match (shape.get_mut(part), own.get(part)) {
            (Some(Value::Array(all)), Some(Value::Array(more))) => all.extend(more.clone()),
            (Some(Value::Object(all)), Some(Value::Object(more))) => all.extend(more.clone()),
            _ => {}
        }
    }
    shape
}

/// An item to be written down, or written down anew: then with what it replaces, and why.
pub(super) fn item() -> Value {
    let change = one_of(Change::ALL.map(Change::key));
    object_with(
        [("equipment", equipment([], []))],
        [
            ("replaces", uuid()),
            ("change", change),
            ("consignment", uuid()),
        ],
    )
}

pub(super) fn listed_item() -> Value {
    equipment(
        [
            ("item", uuid()),
            ("entry", uuid()),
            ("has_paper", truth()),
            ("has_picture", truth()),
            ("flag", or_null(&text())),
        ],
        [],
    )
}
