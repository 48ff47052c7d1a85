//! What each address of the interface does, in the words and shapes of its description.

use super::entry_send::MOST;
use super::put;
use super::schemas::named;
use serde_json::{Value, json};

/// What an address does, in one line; `None` for what is no address of the interface.
pub(super) fn summary(name: &str) -> Option<&'static str> {
    Some(match name {
        "api-token" => "What the token is for, and until when",
        "api-pieces" => "The pieces that are expected, and what is missing of each",
        "api-entries" => "Send readings, tests and other entries",
        "api-entry-file" => {
            "Send one entry with its file: a photograph, a logger's file, a certificate"
        }
        "api-curves" => "The machine's files of the consignment",
        "api-curve-send" => "Send one file of the machine, byte for byte",
        "api-curve" => "A machine's file as it was sent",
        "api-equipment" => "What the tester's lab works with, as it is now",
        "api-editions" => "The published editions of a study, with their files",
        "api-edition" => "All numbers of an edition",
        "api-edition-file" => "A file of an edition, byte for byte",
        _ => return None,
    })
}

/// An address without its faults, which follow from who may reach it.
pub(super) fn of(name: &str) -> Option<Value> {
    let summary = summary(name)?;
    let mut operation = match name {
        "api-token" => answers("The token.", named("Token")),
        "api-pieces" => answers(
            "For a steward the study's pieces and instruments, for a tester the consignment's pieces.",
            json!({ "oneOf": [named("StudyPieces"), named("ConsignmentPieces")] }),
        ),
        "api-entries" => entries(),
        "api-entry-file" => entry_file(),
        "api-curves" => answers("The files, by name.", named("Curves")),
        "api-curve-send" => curve_send(),
        "api-curve" => with(bytes("The file."), &[curve()]),
        "api-equipment" => answers("The items.", named("EquipmentList")),
        "api-editions" => with(
            answers("The editions, oldest first.", named("Editions")),
            &[study()],
        ),
        "api-edition" => with(
            answers(
                "The findings, as findings.json of the edition.",
                json!({ "type": "object" }),
            ),
            &[study(), number()],
        ),
        "api-edition-file" => {
            let file = parameter(
                "file",
                "path",
                true,
                "A name from the list of editions.",
                text(),
            );
            with(bytes("The file."), &[study(), number(), file])
        }
        _ => return None,
    };
    put(&mut operation, "summary", json!(summary));
    Some(operation)
}

fn text() -> Value {
    json!({ "type": "string", "minLength": 1 })
}

fn parameter(name: &str, place: &str, required: bool, words: &str, schema: Value) -> Value {
    json!({
        "name": name, "in": place, "required": required, "description": words, "schema": schema,
    })
}

fn study() -> Value {
    parameter(
        "study",
        "path",
        true,
        "The study's name in addresses.",
        text(),
    )
}

fn number() -> Value {
    let schema = json!({ "type": "integer", "minimum": 1, "maximum": 100_000 });
    parameter("number", "path", true, "The edition's number.", schema)
}

fn curve() -> Value {
    let schema = json!({ "type": "string", "format": "uuid" });
    parameter(
        "curve",
        "path",
        true,
        "The file's id from the list.",
        schema,
    )
}

fn with(mut operation: Value, parameters: &[Value]) -> Value {
    put(&mut operation, "parameters", json!(parameters));
    operation
}

fn answers(words: &str, schema: Value) -> Value {
    let content = json!({ "application/json": { "schema": schema } });
    json!({ "responses": { "200": { "description": words, "content": content } } })
}

fn bytes(words: &str) -> Value {
    let content = json!({ "application/octet-stream": {} });
    json!({ "responses": { "200": { "description": words, "content": content } } })
}

fn entries() -> Value {
    let mut operation = answers(
        "An answer to each entry, in their order, with the status that a request of its own would have \
         got: 200 known already, 201 written, 401 or 403 not theirs, 422 refused or malformed, 503 try \
         again. Those refused keep none of the others back.",
        named("Receipts"),
    );
    let schema = json!({
        "type": "object",
        "required": ["entries"],
        "additionalProperties": false,
        "properties": {
            "entries": { "type": "array", "maxItems": MOST, "items": named("Entry") },
        },
    });
    let body = json!({
        "required": true,
        "content": { "application/json": { "schema": schema } },
    });
    put(&mut operation, "requestBody", body);
    operation
}

fn entry_file() -> Value {
    let mut operation = answers(
        "The answer to the entry, as to a batch of one. The same entry with the same file sent again gives the \
         first receipt.",
        named("Receipts"),
    );
    let entry = json!({
        "type": "string", "contentMediaType": "application/json", "contentSchema": named("Entry"),
        "description": "The entry as a batch has it, of one of these kinds. arrival_photographed {blinds}: what \
            arrived, of these pieces or of none. transit_logged {name, layout}: the logger that travelled along; \
            without a layout the file is read as it explains itself, in UTC where it names no zone, and is refused \
            where its days can be read in two ways. equipment_kept {equipment, replaces, change}: an item of the \
            lab's record; what is not sent anew stays.",
    });
    let bytes = |words: &str| json!({ "type": "string", "format": "binary", "description": words });
    let file = "A photograph (JPEG, PNG, WebP), what the logger's program wrote, or a certificate (PDF, JPEG, PNG).";
    let schema = json!({
        "type": "object",
        "required": ["entry"],
        "properties": {
            "entry": entry,
            "file": bytes(file),
            "picture": bytes("Of an item: a photograph of it."),
        },
    });
    let body =
        json!({ "required": true, "content": { "multipart/form-data": { "schema": schema } } });
    put(&mut operation, "requestBody", body);
    operation
}

fn curve_send() -> Value {
    let name = parameter("name", "query", true, "What the file is called.", text());
    let words = "The blind code of its piece, where neither the file nor its name holds it.";
    let piece = parameter("piece", "query", false, words, text());
    let mut operation = with(
        answers(
            "The file is kept. It is of its pieces when kept_for names them; otherwise it needs a look, on \
             the tester's page. The same file sent again changes nothing.",
            named("CurveSent"),
        ),
        &[name, piece],
    );
    let body = json!({
        "required": true,
        "description": "The file itself: text as machines write it.",
        "content": { "application/octet-stream": {}, "text/csv": {}, "text/plain": {} },
    });
    put(&mut operation, "requestBody", body);
    operation
}
