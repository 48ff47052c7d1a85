//! What `--json` prints is what `src/analysis/findings.schema.json` says, and the schema notices what it
//! should. The validator (boon, JSON Schema 2020-12) is not ours.

use boon::{Compiler, SchemaIndex, Schemas};
use overwinter::analysis::analyse_dataset_in_full;
use overwinter::tidy;
use overwinter::tidy::wishes::{Request, Wishes};
use serde_json::{Value, json};
use std::fs;
use std::path::Path;

/// The schema, ready to be asked.
pub struct Schema {
    schemas: Schemas,
    index: SchemaIndex,
}

impl Schema {
    pub fn new() -> Self {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/analysis/findings.schema.json");
        let text = fs::read_to_string(path).expect("the schema");
        let schema: Value = serde_json::from_str(&text).expect("JSON");
        let mut compiler = Compiler::new();
        compiler
            .add_resource("findings.json", schema)
            .expect("a schema");
        let mut schemas = Schemas::new();
        let index = compiler
            .compile("findings.json", &mut schemas)
            .expect("a sound schema");
        Self { schemas, index }
    }

    /// What is wrong with these findings; empty when nothing is.
    pub fn faults(&self, findings: &Value) -> String {
        let verdict = self.schemas.validate(findings, self.index);
        verdict
            .err()
            .map(|fault| format!("{fault:#}"))
            .unwrap_or_default()
    }
}

/// The findings of a file with some wishes.
fn findings(bytes: &[u8], wishes: Wishes) -> Value {
    let request = Request {
        wishes,
        ..Request::default()
    };
    let tidy = tidy::read(bytes, &request).unwrap_or_else(|problems| panic!("{problems}"));
    let found = analyse_dataset_in_full(&tidy.dataset(), &tidy.context());
    serde_json::to_value(found).expect("JSON")
}

fn fixture(name: &str) -> Vec<u8> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/studies");
    fs::read(folder.join(name)).expect("a study")
}

/// Files with what the three studies do not have.
fn odd_files() -> [String; 3] {
    let head =
        "specimen,condition,role,stage_days,holder,max_load_n,outcome,mass_before_g,mass_after_g\n";
    let rows = |text: &str| format!("{head}{text}");
    [
        // Total loss, one piece, none found, nothing to compare with.
        rows(
            "A,c,storage_control,9,,3,valid,,\nB,c,storage_control,9,,4,valid,,\n\
              C,x,exposed,9,,,total_loss,,\nD,x,exposed,9,,,total_loss,,\nE,y,exposed,9,,3,valid,,\n\
              F,z,exposed,9,,,lost,,\n",
        ),
        // No storage control, a late reference, all values equal.
        rows(
            "A,,late_reference,,,3,valid,,\nB,,late_reference,,,3,valid,,\nC,x,exposed,9,,3,valid,,\n\
              D,x,exposed,9,,3,valid,,\n",
        ),
        // One value against few, an interval without end.
        rows(
            "A,c,storage_control,9,,1,valid,5,5\nB,c,storage_control,9,,90,valid,5,5\n\
              C,x,exposed,9,,30,valid,5,6\nD,x,exposed,9,,40,valid,5,6\n",
        ),
    ]
}

#[test]
fn what_is_found_is_what_the_schema_says() {
    let schema = Schema::new();
    let mut all = vec![
        findings(&fixture("plant_growth.csv"), Wishes::default()),
        findings(&fixture("unequal.csv"), Wishes::default()),
        findings(&fixture("holders.tsv"), Wishes::default()),
        findings(
            &fixture("holders.tsv"),
            Wishes {
                primary: Some("mass_change".into()),
                balance_readability_g: Some(0.001),
                ..Wishes::default()
            },
        ),
    ];
    all.extend(
        odd_files()
            .iter()
            .map(|text| findings(text.as_bytes(), Wishes::default())),
    );
    for (at, found) in all.iter().enumerate() {
        assert_eq!(schema.faults(found), "", "study {at}");
    }
}

#[test]
fn the_schema_notices_what_is_missing_new_or_of_another_kind() {
    let schema = Schema::new();
    let found = findings(&fixture("unequal.csv"), Wishes::default());
    let spoilt: [fn(&mut Value); 4] = [
        |f| {
            f.as_object_mut().unwrap().remove("groups");
        },
        |f| f["new"] = json!(1),
        |f| f["primary"]["judged"][0]["verdict"] = json!("perhaps"),
        |f| f["groups"][0]["mean"] = json!("300"),
    ];
    for (at, spoil) in spoilt.iter().enumerate() {
        let mut copy = found.clone();
        spoil(&mut copy);
        assert_ne!(schema.faults(&copy), "", "change {at}");
    }
}
