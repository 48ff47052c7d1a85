//! The shapes of what the interface takes and gives (JSON Schema 2020-12). Closed lists come from the types that
//! hold them, so that the description cannot know another list than the program.

use super::schemas_lab::{difference, item, listed_item, receipt, used};
use crate::study::break_test::{FailureMode, Looks, Outcome};
use crate::study::consignment::Arrival;
use crate::study::reading::{MoistureState, Occasion};
use crate::study::specimen::Whereabouts;
use crate::study::units::{ALL, Dimension, Unit};
use serde_json::{Map, Value, json};

/// A reference to a shape.
pub(super) fn named(name: &str) -> Value {
    json!({ "$ref": format!("#/components/schemas/{name}") })
}

/// Every shape by its name.
pub(super) fn all() -> Map<String, Value> {
    let shapes = [
        ("Problem", problem()),
        ("Token", token()),
        ("StudyPieces", study_pieces()),
        ("ConsignmentPieces", consignment_pieces()),
        ("Session", session()),
        ("Entry", entry()),
        ("Reading", reading()),
        ("BreakTest", break_test()),
        ("Typed", typed(&ALL)),
        (
            "TypedLoad",
            typed(&Unit::of(Dimension::Force).collect::<Vec<_>>()),
        ),
        ("Receipts", receipts()),
        ("Curve", curve(false)),
        ("CurveSent", curve(true)),
        ("Curves", listed("curves", "Curve")),
        ("Receipt", receipt()),
        ("Difference", difference()),
        ("Item", item()),
        ("EquipmentList", listed("equipment", "ListedItem")),
        ("ListedItem", listed_item()),
        ("Editions", editions()),
    ];
    shapes
        .into_iter()
        .map(|(name, shape)| (name.to_owned(), shape))
        .collect()
}

pub(super) fn text() -> Value {
    json!({ "type": "string" })
}

pub(super) fn truth() -> Value {
    json!({ "type": "boolean" })
}

fn number() -> Value {
    json!({ "type": "number" })
}

pub(super) fn uuid() -> Value {
    json!({ "type": "string", "format": "uuid" })
}

pub(super) fn moment() -> Value {
    json!({ "type": "string", "format": "date-time" })
}

pub(super) fn or_null(schema: &Value) -> Value {
    json!({ "anyOf": [schema, { "type": "null" }] })
}

pub(super) fn one_of<const N: usize>(keys: [&str; N]) -> Value {
    json!({ "enum": keys.to_vec() })
}

/// An object of which all members are always there.
fn object<const N: usize>(members: [(&str, Value); N]) -> Value {
    object_with(members, [])
}

/// An object with members that are always there and others that may be.
pub(super) fn object_with<const N: usize, const M: usize>(
    members: [(&str, Value); N],
    others: [(&str, Value); M],
) -> Value {
    let required: Vec<&str> = members.iter().map(|(name, _)| *name).collect();
    let members = members.into_iter().chain(others);
    let members: Map<String, Value> = members
        .map(|(name, shape)| (name.to_owned(), shape))
        .collect();
    json!({ "type": "object", "required": required, "properties": members })
}

fn array(of: &Value) -> Value {
    json!({ "type": "array", "items": of })
}

fn listed(name: &str, of: &str) -> Value {
    object([(name, array(&named(of)))])
}

/// RFC 9457.
fn problem() -> Value {
    let fault = object([("field", text()), ("sentence", text())]);
    object_with(
        [
            (
                "type",
                json!({ "type": "string", "format": "uri-reference" }),
            ),
            ("title", text()),
            ("status", json!({ "type": "integer" })),
            ("detail", text()),
        ],
        [("faults", array(&fault)), ("id", text()), ("mend", text())],
    )
}

fn token() -> Value {
    object_with(
        [
            ("kind", one_of(["steward", "tester"])),
            ("name", text()),
            ("can_send", truth()),
            ("ends_at", moment()),
        ],
        [("study", text()), ("consignment", uuid())],
    )
}

fn study_pieces() -> Value {
    let missing = object([
        ("quantity", text()),
        ("occasion", one_of(Occasion::ALL.map(Occasion::key))),
        ("state", one_of(MoistureState::ALL.map(MoistureState::key))),
        ("repeat", json!({ "type": "integer", "minimum": 1 })),
        ("count", json!({ "type": "integer", "minimum": 1 })),
    ]);
    let piece = object([
        ("code", text()),
        ("lot", text()),
        ("build", text()),
        (
            "whereabouts",
            one_of(Whereabouts::ALL.map(Whereabouts::key)),
        ),
        ("missing", array(&missing)),
    ]);
    let instrument = object([
        ("id", uuid()),
        ("name", text()),
        ("dimension", one_of(["mass", "length", "force"])),
        ("readability", number()),
    ]);
    object([
        ("study", text()),
        ("pieces", array(&piece)),
        ("instruments", array(&instrument)),
    ])
}

fn consignment_pieces() -> Value {
    let piece = object([
        ("code", text()),
        ("position", json!({ "type": "integer", "minimum": 1 })),
        ("arrival", or_null(&one_of(Arrival::ALL.map(Arrival::key)))),
        ("looks", or_null(&one_of(Looks::ALL.map(Looks::key)))),
        ("is_tested", truth()),
        ("has_curve", truth()),
    ]);
    object([
        ("consignment", uuid()),
        ("is_open", truth()),
        ("session", or_null(&named("Session"))),
        ("pieces", array(&piece)),
    ])
}

fn session() -> Value {
    let optional = || or_null(&number());
    object_with(
        [
            ("machine", text()),
            ("fixture", text()),
            ("load_unit", one_of(["N", "kN", "kgf", "gf", "lbf"])),
            ("tested_on", json!({ "type": "string", "format": "date" })),
        ],
        [
            ("speed_mm_min", optional()),
            ("room_c", optional()),
            ("room_rh_percent", optional()),
            ("check_load_n", optional()),
            ("check_opening_n", optional()),
            ("check_closing_n", optional()),
            ("drift_limit_percent", optional()),
            ("used", used()),
        ],
    )
}

fn typed(units: &[Unit]) -> Value {
    let keys: Vec<&str> = units.iter().map(|unit| unit.key()).collect();
    object([
        (
            "text",
            json!({ "type": "string", "description": "The number as the instrument shows it." }),
        ),
        ("unit", json!({ "enum": keys })),
    ])
}

fn reading() -> Value {
    object_with(
        [
            ("specimen", text()),
            (
                "quantity",
                json!({ "type": "string", "description": "mass, or length: and a dimension's name" }),
            ),
            ("occasion", one_of(Occasion::ALL.map(Occasion::key))),
            (
                "repeat",
                json!({ "type": "integer", "minimum": 1, "maximum": 255 }),
            ),
            ("state", one_of(MoistureState::ALL.map(MoistureState::key))),
            ("typed", named("Typed")),
            ("instrument", uuid()),
        ],
        [(
            "value",
            json!({ "type": "number", "description": "In g or mm; follows from typed." }),
        )],
    )
}

fn break_test() -> Value {
    object_with(
        [
            ("blind", text()),
            ("outcome", one_of(Outcome::ALL.map(Outcome::key))),
            ("mode", one_of(FailureMode::ALL.map(FailureMode::key))),
        ],
        [
            ("typed", or_null(&named("TypedLoad"))),
            (
                "max_load_n",
                json!({ "type": ["number", "null"], "description": "In N; follows from typed." }),
            ),
            (
                "energy_j",
                json!({ "type": ["number", "null"], "description": "What a striker lost, in an impact test." }),
            ),
            ("failure", or_null(&failure())),
            ("is_out_of_order", truth()),
            ("is_confirmed_doubt", truth()),
            ("consignment", uuid()),
        ],
    )
}

/// Where a bond came apart, in % of the area; the three sum to 100.
fn failure() -> Value {
    let share = || json!({ "type": "number", "minimum": 0, "maximum": 100 });
    let shares = [
        ("cohesive_percent", share()),
        ("adhesive_percent", share()),
        ("glue_percent", share()),
    ];
    object_with(shares, [("place", text())])
}

/// The header of an entry; what its body holds, for the kinds that most programs send.
fn entry() -> Value {
    let arrived = object([
        ("blind", text()),
        ("arrival", one_of(Arrival::ALL.map(Arrival::key))),
    ]);
    let guessed = object([
        ("blind", text()),
        ("looks", one_of(Looks::ALL.map(Looks::key))),
    ]);
    let body = json!({
        "description": "By kind: reading_taken {reading}, break_tested (a test), session_set (a session), \
            break_test_corrected {supersedes, test}, arrived {blind, arrival}, guessed {blind, looks}, \
            receipt_noted (how a parcel was opened), difference_settled {about}, equipment_kept {equipment}, \
            finished {}; any other kind that the pages of a phone's queue send. A load that looks like a slip \
            is refused once with mend “confirm”: sent again with is_confirmed_doubt it is kept with that mark.",
        "anyOf": [
            object([("reading", named("Reading"))]),
            named("BreakTest"), named("Session"), arrived, guessed, named("Receipt"), named("Difference"), named("Item"),
            { "type": "object" },
        ],
    });
    object_with(
        [
            (
                "id",
                json!({
                    "type": "string", "format": "uuid",
                    "description": "A UUID of version 7, made once by the sender and kept until the answer is there.",
                }),
            ),
            ("taken_at", moment()),
            ("kind", text()),
            ("body", body),
        ],
        [
            (
                "note",
                json!({ "type": "string", "description": "The reason or remark, where one is needed." }),
            ),
            ("device", text()),
            ("device_seq", json!({ "type": "integer", "minimum": 0 })),
            ("time_zone", text()),
            ("study", uuid()),
            ("version", json!({ "type": "integer" })),
        ],
    )
}

fn receipts() -> Value {
    let receipt = object([
        ("id", uuid()),
        ("chain", text()),
        ("seq", json!({ "type": "integer", "minimum": 1 })),
        ("hash", text()),
        ("is_repeat", truth()),
    ]);
    let answer = object_with(
        [
            ("id", or_null(&uuid())),
            ("status", json!({ "type": "integer" })),
        ],
        [("receipt", receipt), ("problem", named("Problem"))],
    );
    object([("receipts", array(&answer))])
}

fn curve(is_sent: bool) -> Value {
    let kept = object([
        ("piece", text()),
        ("max_load_n", number()),
        ("extension_at_max_mm", or_null(&number())),
        ("energy_to_max_j", or_null(&number())),
    ]);
    let mut shape = object([
        ("id", uuid()),
        ("name", text()),
        (
            "sha256",
            json!({ "type": "string", "pattern": "^[0-9a-f]{64}$" }),
        ),
        ("needs_a_look", truth()),
        ("kept_for", array(&kept)),
    ]);
    if is_sent && let Some(members) = shape.get_mut("properties") {
        super::put(members, "is_repeat", truth());
    }
    shape
}

fn editions() -> Value {
    let file = object([("name", text()), ("address", text())]);
    let edition = object([
        ("number", json!({ "type": "integer", "minimum": 1 })),
        ("published_at", moment()),
        ("is_interim", truth()),
        (
            "withdrawn",
            json!({ "type": ["string", "null"], "description": "The reason." }),
        ),
        ("findings_sha256", text()),
        ("page", text()),
        ("findings", text()),
        ("files", array(&file)),
    ]);
    object([
        ("study", text()),
        ("title", text()),
        ("editions", array(&edition)),
    ])
}
