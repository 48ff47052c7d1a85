//! The archive of an edition: a Data Package (a zip file with `datapackage.json`, tables as CSV, the plan, the
//! findings, the machine's own curve files and a script that recomputes the answer) and the same tables as a
//! spreadsheet. The same study gives the same bytes.
//!
//! Of pieces that are still blind nothing comes in: tables hold only what the findings tell of, and the
//! journal keeps back every body that names something hidden.

mod bench;
mod climate;
mod conduct;
mod descriptor;
mod journal;
mod lab;
mod photographs;
mod pieces;
mod source;
mod table;
#[cfg(test)]
mod tests;
mod workbook;
mod zipped;

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use crate::analysis::climate::SeriesValues;
use crate::analysis::findings::Findings;
use crate::report::changes::Previous;
use crate::report::edition::{File, RenderFault};
use crate::report::page::Meta;
use crate::study::curve::KeptCurve;
use crate::study::entry::ChainLine;
use crate::study::plan::{Plan, sha256_hex};
use crate::study::record::StudyRecord;
use descriptor::About;
use source::{NAMES_BLIND, Room, Source, left_out};
use table::Table;

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

/// Archive and spreadsheet.
pub struct Packed {
    /// The files.
    pub files: [File; 2],
    /// What is not in the archive, a sentence each.
    pub left_out: Vec<String>,
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
) -> Result<Packed, RenderFault> {
    let mut room = Room::ALL;
    loop {
        let source = Source::of((record, plan), findings, values, (extra, room));
        let tables = tables(&source, meta.at)?;
        let bytes = archive(&source, &tables, files, meta)?;
        match room.smaller(extra) {
            Some(smaller) if bytes.len() > extra.most_bytes => room = smaller,
            _ => {
                let book = workbook::workbook(&source, &tables, meta)?;
                return Ok(Packed {
                    files: [
                        named(ARCHIVE, "application/zip", bytes),
                        named(
                            SPREADSHEET,
                            "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
                            book,
                        ),
                    ],
                    left_out: left_out(extra, room),
                });
            }
        }
    }
}

fn named(path: &str, media_type: &str, bytes: Vec<u8>) -> File {
    File {
        path: path.to_owned(),
        media_type: media_type.to_owned(),
        bytes,
    }
}

/// The tables.
fn tables(source: &Source<'_>, now: DateTime<Utc>) -> Result<Vec<Table>, RenderFault> {
    let mut tables = vec![
        pieces::specimens(source.plan, source.findings)?,
        pieces::comparisons(source.plan, source.findings)?,
        pieces::readings(source),
        pieces::weighings(source),
        pieces::events(source),
        conduct::custody(source)?,
        conduct::parcels(source),
        conduct::amendments(source),
        conduct::waivers(source),
        conduct::incidents(source),
        bench::instruments(source),
        bench::checks(source),
        bench::equipment(source),
        lab::sessions(source),
        lab::tests(source),
        lab::curves(source),
        photographs::photographs(source),
        conduct::literature(source),
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
    tables: &[Table],
    files: &[File],
    meta: &Meta,
) -> Result<Vec<u8>, RenderFault> {
    let mut parts = Vec::new();
    for table in tables {
        parts.push(of_table(table.clone())?);
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
    if source.room.machine_files {
        parts.extend(machine_files(source.extra));
    }
    if source.room.pictures {
        parts.extend(pictures(source.extra));
    }
    parts.push(script());
    packed(&About::of_edition(source, meta), &parts)
}

/// The testing machines' own files, each once.
fn machine_files(extra: &Extra) -> Vec<Part> {
    let mut seen = BTreeSet::new();
    let given = extra.curves.iter().filter_map(|curve| {
        let bytes = curve.bytes.as_ref()?;
        let path = curve.path();
        seen.insert(path.clone()).then(|| {
            plain(
                &path,
                "application/octet-stream",
                "A testing machine's own file",
                bytes.clone(),
            )
        })
    });
    given.collect()
}

/// The large pictures.
fn pictures(extra: &Extra) -> impl Iterator<Item = Part> {
    let large = extra.photographs.iter();
    let large = large.filter(|file| file.path.ends_with("-large.jpg"));
    large.map(|file| {
        let path = format!("photographs/{}", file.path);
        plain(&path, &file.media_type, "A photograph", file.bytes.clone())
    })
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
