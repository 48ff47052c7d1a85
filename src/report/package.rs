//! The archive of an edition: a Data Package (a zip file with `datapackage.json`, tables as CSV, the plan, the
//! findings, the machine's own curve files and a script that recomputes the answer) and the same tables as a
//! spreadsheet. The same study gives the same bytes.
//!
//! Of pieces that are still blind nothing comes in: tables hold only what the findings tell of, and the
//! journal keeps back every body that names something hidden.

mod climate;
mod descriptor;
mod journal;
mod lab;
mod photographs;
mod pieces;
mod table;
mod workbook;
mod zipped;

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use crate::analysis::climate::SeriesValues;
use crate::analysis::findings::Findings;
use crate::report::changes::Previous;
use crate::report::edition::{File, RenderFault};
use crate::report::page::Meta;
use crate::study::code::Code;
use crate::study::curve::KeptCurve;
use crate::study::entry::ChainLine;
use crate::study::ids::InstrumentId;
use crate::study::plan::{Plan, sha256_hex};
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::Whereabouts;
use descriptor::About;
use table::{Cell, Table};

/// What the archive is called among an edition's files.
pub const ARCHIVE: &str = "data.zip";
/// What the spreadsheet is called.
pub const SPREADSHEET: &str = "tables.xlsx";
/// The script that recomputes the answer.
pub const SCRIPT: &str = "recompute.py";
const SCRIPT_TEXT: &str = include_str!("package/recompute.py");

/// What an archive needs besides record and findings; the store has it.
#[derive(Debug, Clone, Default)]
pub struct Extra {
    /// The study's journal from its first entry.
    pub journal: Vec<ChainLine>,
    /// The curves of every unblinded consignment.
    pub curves: Vec<Curve>,
    /// The pictures of the public photographs, by their names among the edition's files.
    pub photographs: Vec<File>,
    /// The edition before this one, when there is one.
    pub previous: Option<Previous>,
    /// Most bytes that a file of an edition may have.
    pub most_bytes: usize,
}

/// A curve with its machine's file.
#[derive(Debug, Clone)]
pub struct Curve {
    /// What was kept of it.
    pub kept: KeptCurve,
    /// The original file; `None` when it also holds pieces that are still blind.
    pub bytes: Option<Vec<u8>>,
}

impl Curve {
    /// Where the file lies in the archive: its hash first, so that no two names meet.
    fn path(&self) -> String {
        let is_plain = |c: char| c.is_ascii_alphanumeric() || "._-".contains(c);
        let name: String = self.kept.file_name.chars().take(80).collect();
        let name = name.replace(|c| !is_plain(c), "_");
        let hash = self.kept.file_sha256.get(..12).unwrap_or_default();
        format!("curves/{hash}-{name}")
    }
}

/// Everything that the tables are made of.
struct Source<'r> {
    record: &'r StudyRecord,
    plan: &'r Plan,
    findings: &'r Findings,
    values: &'r SeriesValues,
    extra: &'r Extra,
    /// Codes of the pieces that may be looked at.
    told: BTreeSet<&'r str>,
    /// Codes and ids that must not occur in what is handed out.
    hidden: BTreeSet<String>,
}

impl<'r> Source<'r> {
    fn of(
        (record, plan): (&'r StudyRecord, &'r Plan),
        findings: &'r Findings,
        values: &'r SeriesValues,
        extra: &'r Extra,
    ) -> Self {
        let told = findings.specimens.iter().map(|piece| piece.code.as_str());
        let told: BTreeSet<&str> = told.collect();
        let hidden = hidden(record, &told);
        Self {
            record,
            plan,
            findings,
            values,
            extra,
            told,
            hidden,
        }
    }

    fn is_told(&self, code: &Code) -> bool {
        self.told.contains(code.as_str())
    }

    /// An instrument by its number.
    fn instrument(&self, id: InstrumentId) -> Cell {
        let at = self.record.instruments.iter().position(|i| i.id == id);
        at.map_or(Cell::Missing("unknown_instrument"), |at| {
            Cell::count(at + 1)
        })
    }

    /// A holder's name by its key.
    fn holder(&self, key: &str) -> String {
        let found = self.plan.holder(key);
        found.map_or_else(|| key.to_owned(), |(_, holder)| holder.name.clone())
    }
}

/// What nobody may read yet: the codes of pieces that the findings do not tell of, and codes and ids of
/// consignments that are still blind. Spare and rejected pieces never come into findings; they are hidden
/// only while something else is, since an allocation names them all.
fn hidden(record: &StudyRecord, told: &BTreeSet<&str>) -> BTreeSet<String> {
    let is_apart = |piece: &SpecimenRecord| {
        let is_allocated = piece
            .place
            .as_ref()
            .is_some_and(|place| !matches!(place, crate::study::allocation::Place::Spare));
        piece.whereabouts == Whereabouts::Rejected || !is_allocated
    };
    let untold = record.specimens.iter();
    let (apart, awaited): (Vec<&SpecimenRecord>, Vec<&SpecimenRecord>) = untold
        .filter(|piece| !told.contains(piece.code.as_str()))
        .partition(|piece| is_apart(piece));
    let mut hidden: BTreeSet<String> = awaited.iter().map(|piece| piece.code.to_string()).collect();
    for consignment in record.consignments.iter().filter(|c| c.is_blind()) {
        hidden.insert(consignment.id.to_string());
        hidden.extend(
            consignment
                .pieces
                .iter()
                .map(|piece| piece.blind.to_string()),
        );
        hidden.extend(
            consignment
                .pieces
                .iter()
                .map(|piece| piece.specimen.to_string()),
        );
    }
    if !hidden.is_empty() {
        hidden.extend(apart.iter().map(|piece| piece.code.to_string()));
    }
    hidden
}

/// Archive and spreadsheet of an edition; `files` are its findings and plans, as they stand in the edition.
///
/// # Errors
/// [`RenderFault`].
pub fn package(
    (record, plan): (&StudyRecord, &Plan),
    findings: &Findings,
    values: &SeriesValues,
    extra: &Extra,
    (files, meta): (&[File], &Meta),
) -> Result<[File; 2], RenderFault> {
    let source = Source::of((record, plan), findings, values, extra);
    let tables = tables(&source, meta.at)?;
    let spreadsheet = workbook::workbook(&source, &tables, meta)?;
    let mut archive = archive(&source, tables.clone(), files, (meta, true))?;
    if archive.len() > extra.most_bytes && !extra.photographs.is_empty() {
        archive = self::archive(&source, tables, files, (meta, false))?;
    }
    let file = |path: &str, media_type: &str, bytes| File {
        path: path.to_owned(),
        media_type: media_type.to_owned(),
        bytes,
    };
    Ok([
        file(ARCHIVE, "application/zip", archive),
        file(
            SPREADSHEET,
            "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
            spreadsheet,
        ),
    ])
}

/// The tables but for that of the photographs, which depends on whether the pictures have room.
fn tables(source: &Source<'_>, now: DateTime<Utc>) -> Result<Vec<Table>, RenderFault> {
    let mut tables = vec![
        pieces::specimens(source.plan, source.findings)?,
        pieces::comparisons(source.plan, source.findings)?,
        pieces::readings(source),
        pieces::weighings(source),
        pieces::instruments(source),
        pieces::events(source),
        lab::sessions(source),
        lab::tests(source),
        lab::curves(source),
        climate::series(source),
        climate::doses(source, now),
    ];
    tables.extend(climate::values(source));
    tables.push(journal::journal(source));
    Ok(tables)
}

/// One file of the archive.
struct Part {
    path: String,
    media_type: String,
    /// What it is, in words.
    what: String,
    bytes: Vec<u8>,
    /// Its table, when it is one.
    table: Option<Table>,
}

fn archive(
    source: &Source<'_>,
    tables: Vec<Table>,
    files: &[File],
    (meta, with_pictures): (&Meta, bool),
) -> Result<Vec<u8>, RenderFault> {
    let mut parts = Vec::new();
    let pictures = photographs::photographs(source, with_pictures);
    for table in tables.into_iter().chain([pictures]) {
        parts.push(of_table(table)?);
    }
    for file in files {
        let what = match file.path.as_str() {
            "findings.json" => "All numbers of the edition's page",
            "plan.json" => "The plan, byte for byte as it was hashed",
            _ => "The plan as amended",
        };
        parts.push(plain(
            &file.path,
            &file.media_type,
            what,
            file.bytes.clone(),
        ));
    }
    let mut seen = BTreeSet::new();
    for curve in &source.extra.curves {
        if let Some(bytes) = curve.bytes.as_ref().filter(|_| seen.insert(curve.path())) {
            let what = "A testing machine's own file";
            parts.push(plain(
                &curve.path(),
                "application/octet-stream",
                what,
                bytes.clone(),
            ));
        }
    }
    let pictures = source.extra.photographs.iter().filter(|_| with_pictures);
    for file in pictures.filter(|file| file.path.ends_with("-large.jpg")) {
        let path = format!("photographs/{}", file.path);
        parts.push(plain(
            &path,
            &file.media_type,
            "A photograph",
            file.bytes.clone(),
        ));
    }
    parts.push(script());
    packed(&About::of_edition(source, meta), &parts)
}

/// An archive of these parts, with what describes them in front.
fn packed(about: &About, parts: &[Part]) -> Result<Vec<u8>, RenderFault> {
    let described = descriptor::descriptor(about, parts)?;
    let read_me = descriptor::read_me(about, parts);
    let first = [
        ("datapackage.json", described.as_slice()),
        ("README.txt", read_me.as_bytes()),
    ];
    let rest = parts
        .iter()
        .map(|part| (part.path.as_str(), part.bytes.as_slice()));
    zipped::zipped(&first.into_iter().chain(rest).collect::<Vec<_>>())
}

/// The archive of a study that is a single file, without a server: its pieces, comparisons, plan and
/// findings, and the script.
///
/// # Errors
/// [`RenderFault`].
pub fn file_archive(plan: &Plan, findings: &Findings) -> Result<Vec<u8>, RenderFault> {
    let mut parts = Vec::new();
    for table in [
        pieces::specimens(plan, findings)?,
        pieces::comparisons(plan, findings)?,
    ] {
        parts.push(of_table(table)?);
    }
    let json = "application/json";
    let written = serde_json::to_vec_pretty(findings)?;
    parts.push(plain("findings.json", json, "All numbers found", written));
    parts.push(plain("plan.json", json, "The plan", plan.to_bytes()?));
    parts.push(script());
    packed(&About::of_file(plan, findings), &parts)
}

fn of_table(table: Table) -> Result<Part, RenderFault> {
    Ok(Part {
        path: table.path(),
        media_type: "text/csv".to_owned(),
        what: table.title.clone(),
        bytes: table.to_csv()?,
        table: Some(table),
    })
}

fn script() -> Part {
    let what = "Recomputes the answer with scipy and follows the journal's chain";
    plain(
        SCRIPT,
        "text/x-python",
        what,
        SCRIPT_TEXT.as_bytes().to_vec(),
    )
}

fn plain(path: &str, media_type: &str, what: &str, bytes: Vec<u8>) -> Part {
    Part {
        path: path.to_owned(),
        media_type: media_type.to_owned(),
        what: what.to_owned(),
        bytes,
        table: None,
    }
}

impl Part {
    fn sha256(&self) -> String {
        sha256_hex(&self.bytes)
    }
}
