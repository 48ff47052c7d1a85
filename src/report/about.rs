//! What an edition says of itself to programs: the words to cite it by, schema.org's Dataset as JSON-LD, Dublin
//! Core, and what is shown where a link to it is posted.

use std::fmt;

use serde_json::{Map, Value, json};

use crate::analysis::findings::Findings;
use crate::report::edition::File;
use crate::report::format::day;
use crate::report::page::Meta;
use crate::study::licence::Licence;
use crate::study::plan::{Plan, sha256_hex};
use crate::study::record::StudyRecord;

/// What the picture is called that is shown where a link is posted.
pub const PREVIEW: &str = "preview.png";

/// JSON in which nothing can end a script element: `<`, `>` and `&` are written as escapes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DataBlock(String);

impl DataBlock {
    fn of(value: &Value) -> Self {
        let text = value.to_string();
        let text = text.replace('<', "\\u003c").replace('>', "\\u003e");
        Self(text.replace('&', "\\u0026"))
    }
}

impl fmt::Display for DataBlock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

// A browser reads a data block as it stands; entities would spoil it.
impl askama::filters::HtmlSafe for DataBlock {}

/// An edition as it names itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AboutPart {
    /// The words to cite it by.
    pub citation: String,
    /// Licence of the data: its name and where its text stands.
    pub licence: Option<(&'static str, &'static str)>,
    /// schema.org's Dataset.
    pub json_ld: DataBlock,
    /// Names and contents of `meta` tags.
    pub tags: Vec<(&'static str, String)>,
    /// Properties and contents of `meta` tags for where a link is posted.
    pub card: Vec<(&'static str, String)>,
    /// The feed of the study, relative to the edition.
    pub feed: String,
}

/// What belongs into it beside the record.
pub struct Told<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// The findings.
    pub findings: &'a Findings,
    /// The edition's files so far.
    pub files: &'a [File],
}

/// The answer in one line.
#[must_use]
pub fn headline(findings: &Findings) -> String {
    let answers: Vec<String> = findings.answer.iter().map(ToString::to_string).collect();
    match answers.first() {
        Some(_) => answers.join(" "),
        None => match findings.standing.interim() {
            Some(interim) => format!("So far: {interim}; no verdict yet."),
            None => "Values without a verdict.".to_owned(),
        },
    }
}

/// Everything that an edition says of itself.
#[must_use]
pub fn about(record: &StudyRecord, told: &Told<'_>, meta: &Meta) -> AboutPart {
    AboutPart {
        citation: citation(record, told, meta),
        licence: meta.licence.map(|l| (l.name(), l.address())),
        json_ld: DataBlock::of(&dataset(record, told, meta)),
        tags: dublin_core(record, told, meta),
        card: card(record, told, meta),
        feed: format!("../../../{}/feed.atom", record.slug),
    }
}

fn findings_sha256(told: &Told<'_>) -> String {
    let mut files = told.files.iter();
    let file = files.find(|file| file.path == "findings.json");
    file.map(|file| sha256_hex(&file.bytes)).unwrap_or_default()
}

/// Nobody is named: accounts are people's own business. The hash says which bytes are meant.
fn citation(record: &StudyRecord, told: &Told<'_>, meta: &Meta) -> String {
    let kind = match told.findings.standing.is_final {
        true => "",
        false => ", interim",
    };
    let mut text = format!(
        "{}. Specimen study, edition {}{kind}, {}.",
        record.title,
        meta.number,
        day(meta.at, &record.time_zone)
    );
    if let Some(address) = meta.address(record) {
        text.push_str(&format!(" {address}"));
    }
    text.push_str(&format!(
        " SHA-256 of its findings: {}.",
        findings_sha256(told)
    ));
    text
}

fn dataset(record: &StudyRecord, told: &Told<'_>, meta: &Meta) -> Value {
    let here = meta.address(record).unwrap_or_default();
    let mut set = Map::new();
    let mut put = |key: &str, value: Value| set.insert(key.to_owned(), value);
    put("@context", json!("https://schema.org/"));
    put("@type", json!("Dataset"));
    put("name", json!(record.title));
    put("description", json!(description(told)));
    put("identifier", json!(format!("urn:uuid:{}", record.id)));
    put("version", json!(meta.number.to_string()));
    put(
        "datePublished",
        json!(meta.at.format("%Y-%m-%d").to_string()),
    );
    put("inLanguage", json!("en"));
    put("isAccessibleForFree", json!(true));
    put(
        "keywords",
        json!(["specimen study", told.plan.material.name]),
    );
    let status = if told.findings.standing.is_final {
        "Published"
    } else {
        "Interim"
    };
    put("creativeWorkStatus", json!(status));
    put("variableMeasured", json!(variables(told)));
    put("creditText", json!(citation(record, told, meta)));
    if !here.is_empty() {
        put("url", json!(here));
    }
    if let Some(licence) = meta.licence {
        put("license", json!(licence.address()));
    }
    if let Some(time) = covered(told, record) {
        put("temporalCoverage", json!(time));
    }
    put("distribution", json!(downloads(told, &here)));
    Value::Object(set)
}

/// The question and the answer, as search engines show them: at most 5000 characters.
fn description(told: &Told<'_>) -> String {
    let text = format!("{} {}", told.plan.question, headline(told.findings));
    text.trim().chars().take(4_900).collect()
}

fn variables(told: &Told<'_>) -> Vec<Value> {
    let mut keys: Vec<String> = Vec::new();
    for group in &told.findings.groups {
        let label = group.response.label();
        if !keys.contains(&label) {
            keys.push(label);
        }
    }
    let named = keys.into_iter();
    named
        .map(|name| json!({ "@type": "PropertyValue", "name": name }))
        .collect()
}

/// From the first outing to the last day of tests.
fn covered(told: &Told<'_>, record: &StudyRecord) -> Option<String> {
    let from = record
        .specimens
        .iter()
        .filter_map(|piece| piece.out_at)
        .min()?;
    let until = told
        .findings
        .specimens
        .iter()
        .filter_map(|piece| piece.tested_on)
        .max()?;
    Some(format!("{}/{until}", from.format("%Y-%m-%d")))
}

fn downloads(told: &Told<'_>, here: &str) -> Vec<Value> {
    let is_data = |file: &&File| {
        let endings = [".zip", ".xlsx", ".csv", ".json"];
        endings.iter().any(|ending| file.path.ends_with(ending))
    };
    let one = |file: &File| {
        let kind = file.media_type.split(';').next().unwrap_or_default();
        json!({
            "@type": "DataDownload",
            "name": file.path,
            "encodingFormat": kind,
            "contentUrl": format!("{here}{}", file.path),
            "contentSize": format!("{} B", file.bytes.len()),
            "sha256": sha256_hex(&file.bytes),
        })
    };
    told.files.iter().filter(is_data).map(one).collect()
}

/// Dublin Core in HTML (DCMI, "Expressing Dublin Core metadata using HTML/XHTML meta and link elements").
fn dublin_core(record: &StudyRecord, told: &Told<'_>, meta: &Meta) -> Vec<(&'static str, String)> {
    let address = meta.address(record);
    let mut tags = vec![
        ("description", short(&headline(told.findings))),
        ("DC.title", record.title.clone()),
        ("DC.description", description(told)),
        ("DC.date", meta.at.format("%Y-%m-%d").to_string()),
        ("DC.type", "Dataset".to_owned()),
        ("DC.format", "text/html".to_owned()),
        ("DC.language", "en".to_owned()),
        (
            "DC.identifier",
            address.unwrap_or_else(|| format!("urn:uuid:{}", record.id)),
        ),
        (
            "DCTERMS.bibliographicCitation",
            citation(record, told, meta),
        ),
    ];
    let rights = meta.licence.map(Licence::address);
    tags.extend(rights.map(|address| ("DC.rights", address.to_owned())));
    tags
}

/// For where a link is posted (the Open Graph protocol): a picture there needs a whole address, which only
/// a server that knows its own can give.
fn card(record: &StudyRecord, told: &Told<'_>, meta: &Meta) -> Vec<(&'static str, String)> {
    let here = meta.address(record).unwrap_or_default();
    let mut tags = vec![
        ("og:type", "article".to_owned()),
        ("og:title", record.title.clone()),
        ("og:description", short(&headline(told.findings))),
        ("og:image", format!("{here}{PREVIEW}")),
        ("og:image:type", "image/png".to_owned()),
        ("og:image:width", "1200".to_owned()),
        ("og:image:height", "630".to_owned()),
        ("og:image:alt", short(&headline(told.findings))),
    ];
    if !here.is_empty() {
        tags.push(("og:url", here));
    }
    tags
}

fn short(text: &str) -> String {
    match text.char_indices().nth(297) {
        Some((at, _)) => format!("{} …", text.get(..at).unwrap_or_default().trim_end()),
        None => text.to_owned(),
    }
}
