//! `datapackage.json` (Data Package and Table Schema, version 1) and the archive's words for people.

use chrono::{DateTime, SecondsFormat, Utc};
use serde_json::{Map, Value, json};

use super::table::{Field, Kind, Table};
use super::{ARCHIVE, Part, SCRIPT, Source};
use crate::analysis::findings::Findings;
use crate::report::page::Meta;
use crate::study::licence::Licence;
use crate::study::plan::Plan;

/// What an archive is about.
pub(super) struct About {
    /// Lower case, digits and hyphens.
    name: String,
    title: String,
    question: String,
    /// The edition and its day; a file has neither.
    edition: Option<(u32, DateTime<Utc>)>,
    licence: Option<Licence>,
    /// What only some archives have, by its member of the descriptor.
    further: Vec<(&'static str, Value)>,
    /// What is not in it and why, a sentence each.
    left_out: Vec<String>,
}

impl About {
    pub(super) fn of_edition(source: &Source<'_>, meta: &Meta) -> Self {
        let record = source.record;
        let mut further = vec![
            ("id", json!(format!("urn:uuid:{}", record.id))),
            (
                "keywords",
                json!(["specimen study", source.plan.material.name]),
            ),
            (
                "journal",
                json!({
                    "entries": source.findings.study.entries,
                    "head": source.findings.study.head,
                }),
            ),
        ];
        further.extend(meta.address(record).map(|at| ("homepage", json!(at))));
        Self {
            name: format!("{}-edition-{}", record.slug, meta.number),
            title: record.title.clone(),
            question: source.plan.question.clone(),
            edition: Some((meta.number, meta.at)),
            licence: meta.licence,
            further,
            left_out: super::left_out(source.extra, source.room),
        }
    }

    pub(super) fn of_file(plan: &Plan, findings: &Findings) -> Self {
        Self {
            name: name(&findings.study.slug),
            title: findings.study.title.clone(),
            question: plan.question.clone(),
            edition: None,
            licence: None,
            further: Vec::new(),
            left_out: Vec::new(),
        }
    }
}

/// The descriptor's bytes.
pub(super) fn descriptor(about: &About, parts: &[Part]) -> Result<Vec<u8>, serde_json::Error> {
    let mut package = Map::new();
    let mut set = |key: &str, value: Value| package.insert(key.to_owned(), value);
    set("profile", json!("data-package"));
    set("name", json!(about.name));
    set("title", json!(about.title));
    if !about.question.is_empty() {
        set("description", json!(about.question));
    }
    if let Some((number, at)) = about.edition {
        set("version", json!(number.to_string()));
        set(
            "created",
            json!(at.to_rfc3339_opts(SecondsFormat::Secs, true)),
        );
    }
    for (key, value) in &about.further {
        set(key, value.clone());
    }
    if let Some(licence) = about.licence {
        set(
            "licenses",
            json!([{ "name": licence.key(), "title": licence.name(), "path": licence.address() }]),
        );
    }
    let program = format!("Overwinter {}", env!("CARGO_PKG_VERSION"));
    set("computedBy", json!(program));
    set(
        "resources",
        json!(parts.iter().map(resource).collect::<Vec<_>>()),
    );
    serde_json::to_vec_pretty(&Value::Object(package))
}

fn resource(part: &Part) -> Value {
    let mut members = Map::new();
    let mut set = |key: &str, value: Value| members.insert(key.to_owned(), value);
    set("name", json!(name(&part.path)));
    set("path", json!(part.path));
    set("title", json!(part.what));
    set("mediatype", json!(part.media_type));
    set("bytes", json!(part.bytes.len()));
    set("hash", json!(format!("sha256:{}", part.sha256())));
    if let Some(table) = &part.table {
        set("profile", json!("tabular-data-resource"));
        set("format", json!("csv"));
        set("encoding", json!("utf-8"));
        set(
            "dialect",
            json!({ "delimiter": ",", "lineTerminator": "\r\n", "quoteChar": "\"", "doubleQuote": true, "header": true }),
        );
        set("schema", schema(table));
    }
    Value::Object(members)
}

/// Lower case, digits and `-`, as the specification asks of a name.
fn name(path: &str) -> String {
    let bare = path.strip_prefix("data/").unwrap_or(path);
    let bare = bare.strip_suffix(".csv").unwrap_or(bare).to_lowercase();
    bare.replace(
        |c: char| !(c.is_ascii_alphanumeric() || "-_.".contains(c)),
        "-",
    )
}

fn schema(table: &Table) -> Value {
    let words: Vec<&str> = table.missing.iter().map(|(word, _)| *word).collect();
    // Without the empty string a reader would take an empty cell for a value.
    let words: Vec<&str> = match words.contains(&"") {
        true => words,
        false => std::iter::once("").chain(words).collect(),
    };
    let reasons = table.missing.iter();
    let reasons: Vec<Value> = reasons
        .map(|(word, why)| json!({ "value": word, "label": why }))
        .collect();
    let mut schema = json!({
        "fields": table.fields.iter().map(|f| described(f, &table.key)).collect::<Vec<_>>(),
        "missingValues": words,
        "missingValueReasons": reasons,
    });
    if let Some(members) = schema.as_object_mut() {
        if !table.key.is_empty() {
            members.insert("primaryKey".to_owned(), json!(table.key));
        }
        let refers = table.refers.iter();
        let refers: Vec<Value> = refers
            .map(|(own, table, column)| {
                json!({ "fields": own, "reference": { "resource": table, "fields": column } })
            })
            .collect();
        if !refers.is_empty() {
            members.insert("foreignKeys".to_owned(), json!(refers));
        }
    }
    schema
}

fn described(field: &Field, key: &[&str]) -> Value {
    let kind = match field.kind {
        Kind::Text => "string",
        Kind::Number => "number",
        Kind::Whole => "integer",
        Kind::Claim => "boolean",
        Kind::Day => "date",
        Kind::Moment => "datetime",
    };
    let mut told = json!({ "name": field.name, "type": kind, "description": in_words(field) });
    if let Some(members) = told.as_object_mut() {
        if !field.unit.is_empty() {
            members.insert("unit".to_owned(), json!(field.unit));
        }
        if field.kind == Kind::Claim {
            members.insert("trueValues".to_owned(), json!(["yes"]));
            members.insert("falseValues".to_owned(), json!(["no"]));
        }
        if key.contains(&field.name.as_str()) {
            members.insert("constraints".to_owned(), json!({ "required": true }));
        }
    }
    told
}

fn in_words(field: &Field) -> String {
    match field.unit {
        "" => field.what.clone(),
        unit => format!("{} ({unit})", field.what),
    }
}

/// What somebody reads who opens the archive.
pub(super) fn read_me(about: &About, parts: &[Part]) -> String {
    let mut text = format!("{}\n", about.title);
    if let Some((number, at)) = about.edition {
        text.push_str(&format!("Edition {number}, {}\n", at.format("%Y-%m-%d")));
    }
    text.push_str(&format!("\n{}\n\n", about.question));
    text.push_str(&match about.licence {
        Some(licence) => format!(
            "Licence of the data: {} ({})\n",
            licence.name(),
            licence.address()
        ),
        None => "No licence is given for the data.\n".to_owned(),
    });
    text.push_str("\nWhat is in here\n\n");
    for part in parts {
        text.push_str(&format!("  {}  {}\n", part.path, part.what));
    }
    if !about.left_out.is_empty() {
        text.push_str("\nWhat is not in here\n\n");
    }
    for sentence in &about.left_out {
        text.push_str(&format!("  {sentence}\n"));
    }
    text.push_str(&format!(
        "\nEvery column, its unit and what stands where a value is missing: datapackage.json. Moments are in \
         UTC. Tables are CSV as in RFC 4180.\n\nTo check it\n\n  With Python and scipy, in this folder:  python \
         {SCRIPT}\n  It reads the tables, computes the main comparison, its intervals and verdicts anew by its \
         own formulas, compares them with findings.json, and follows the chain of the journal.\n\n  With \
         Overwinter, without unpacking:  overwinter analyse {ARCHIVE}\n  It compares every number.\n\nResult \
         for the pieces tested. Not for certifying, rating or approving load-bearing, lifting, pressure, safety \
         or medical parts.\n"
    ));
    text
}
