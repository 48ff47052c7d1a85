//! A published edition: page, style sheet, figures and data, rendered once and never again.
//!
//! Every link is relative, so that the files work from any address and from a folder.

use std::collections::BTreeSet;
use std::fmt;

use askama::Template;

use crate::analysis::climate::SeriesValues;
use crate::analysis::findings::Findings;
use crate::report::about::{self, Told};
use crate::report::changes::{self, CHANGES, ChangesPart, Previous};
use crate::report::climate;
use crate::report::custody;
use crate::report::download::{self, CsvFault};
use crate::report::figures::{Figure, Figures, figures, literature};
use crate::report::fit::{TABLES, fitted};
use crate::report::package::{ARCHIVE, Extra, Packed, SPREADSHEET, package};
use crate::report::page::{self, FigureFile, Meta, Offered, offered};
use crate::report::share;
use crate::study::plan::{Plan, sha256_hex};
use crate::study::record::{PlanVersion, StudyRecord};

/// The style sheet of an edition; it travels with the edition.
pub const STYLE: &str = include_str!("../../static/edition.css");

/// A file of an edition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct File {
    /// Its address within the edition.
    pub path: String,
    /// Its media type.
    pub media_type: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// Why an edition cannot be rendered; all of these are faults of ours.
#[derive(Debug)]
pub enum RenderFault {
    /// The study has no plan.
    NoPlan,
    /// The plan's bytes no longer give the hash under which they were stored.
    PlanBytes {
        /// Which version.
        version: u32,
    },
    /// A page or figure could not be drawn.
    Page(askama::Error),
    /// A table could not be written.
    Csv(CsvFault),
    /// Findings or plan could not be written as JSON.
    Json(serde_json::Error),
    /// The archive could not be packed.
    Archive(String),
    /// The spreadsheet could not be written.
    Spreadsheet(String),
    /// A picture could not be drawn.
    Picture(String),
}

impl fmt::Display for RenderFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoPlan => f.write_str("the study has no plan"),
            Self::PlanBytes { version } => {
                write!(
                    f,
                    "the bytes of plan version {version} do not give its hash"
                )
            }
            Self::Page(fault) => write!(f, "a page could not be drawn: {fault}"),
            Self::Csv(fault) => fault.fmt(f),
            Self::Json(fault) => write!(f, "findings could not be written as JSON: {fault}"),
            Self::Picture(fault) => write!(f, "a picture could not be drawn: {fault}"),
            Self::Archive(fault) => write!(f, "the archive could not be packed: {fault}"),
            Self::Spreadsheet(fault) => {
                write!(f, "the spreadsheet could not be written: {fault}")
            }
        }
    }
}

impl std::error::Error for RenderFault {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::NoPlan | Self::PlanBytes { .. } => None,
            Self::Archive(_) | Self::Spreadsheet(_) | Self::Picture(_) => None,
            Self::Page(fault) => Some(fault),
            Self::Csv(fault) => Some(fault),
            Self::Json(fault) => Some(fault),
        }
    }
}

impl From<askama::Error> for RenderFault {
    fn from(fault: askama::Error) -> Self {
        Self::Page(fault)
    }
}

impl From<CsvFault> for RenderFault {
    fn from(fault: CsvFault) -> Self {
        Self::Csv(fault)
    }
}

impl From<serde_json::Error> for RenderFault {
    fn from(fault: serde_json::Error) -> Self {
        Self::Json(fault)
    }
}

/// Renders an edition: `index.html`, `edition.css`, each figure as SVG and PNG, the picture for where a link is
/// posted, `specimens.csv`, `comparisons.csv`, `custody.csv`, `findings.json`, archive and spreadsheet of the data
/// ([`package`]), a `series-N.csv` for each series of the exposure record, `plan.json` (the sealed bytes), `plan-N.json` for
/// each amendment, and `changes.csv` where there is an edition before.
///
/// # Errors
/// [`RenderFault`].
pub fn render(
    record: &StudyRecord,
    findings: &Findings,
    values: &SeriesValues,
    extra: &Extra,
    meta: &Meta,
) -> Result<Vec<File>, RenderFault> {
    let plan = &record.plan().ok_or(RenderFault::NoPlan)?.plan;
    let mut figures = figures(plan, findings);
    figures.literature = literature::figures(record, plan, findings);
    let (mut data, left_out) = data((record, plan), findings, values, extra, meta)?;
    for figure in figures.all() {
        data.extend(drawn(figure)?);
    }
    let changes = match &extra.previous {
        Some(previous) => Some(changed(previous, findings, &mut data)?),
        None => None,
    };
    let told = Told {
        plan,
        findings,
        files: &data,
    };
    let about = about::about(record, &told, meta);
    let preview = share::preview(record, findings, &figures, meta)?;
    let files = listed(&data, &figures, &left_out);
    let told: BTreeSet<&str> = findings.specimens.iter().map(|p| p.code.as_str()).collect();
    let climate = climate::of_sets(record, values, &told, meta.at);
    let mut page = page::page(record, plan, findings, meta, figures, climate, files);
    page.about = Some(about);
    page.changes = changes;
    let (html, tables) = fitted(&mut page)?;
    let as_page = |path, html: String| file(path, "text/html; charset=utf-8", html.into_bytes());
    let mut all = vec![
        as_page("index.html", html),
        file(
            "edition.css",
            "text/css; charset=utf-8",
            STYLE.as_bytes().to_vec(),
        ),
        file(about::PREVIEW, "image/png", preview),
    ];
    all.extend(tables.map(|html| as_page(TABLES, html)));
    all.append(&mut data);
    Ok(all)
}

/// The files of numbers, archive and spreadsheet first; and what the archive does not hold.
fn data(
    (record, plan): (&StudyRecord, &Plan),
    findings: &Findings,
    values: &SeriesValues,
    extra: &Extra,
    meta: &Meta,
) -> Result<(Vec<File>, Vec<String>), RenderFault> {
    let csv = "text/csv; charset=utf-8";
    let mut data = vec![
        file("specimens.csv", csv, download::specimens(plan, findings)?),
        file(
            "comparisons.csv",
            csv,
            download::comparisons(plan, findings)?,
        ),
        file("custody.csv", csv, custody::table(record, findings)?),
        file(
            "findings.json",
            "application/json",
            serde_json::to_vec_pretty(findings)?,
        ),
    ];
    data.extend(plans(record)?);
    let is_json = |file: &&File| file.path.ends_with(".json");
    let beside: Vec<File> = data.iter().filter(is_json).cloned().collect();
    let Packed { files, left_out } =
        package((record, plan), findings, values, extra, (&beside, meta))?;
    data.splice(0..0, files);
    data.extend(series(values)?);
    Ok((data, left_out))
}

/// What differs from the edition before: a file of it all, and what the page says.
fn changed(
    previous: &Previous,
    findings: &Findings,
    data: &mut Vec<File>,
) -> Result<ChangesPart, RenderFault> {
    let found = changes::changes(&previous.findings, &serde_json::to_value(findings)?);
    let csv = "text/csv; charset=utf-8";
    data.push(file(CHANGES, csv, changes::file(&found)?));
    Ok(changes::part(previous, &found))
}

fn file(path: &str, media_type: &str, bytes: Vec<u8>) -> File {
    File {
        path: path.to_owned(),
        media_type: media_type.to_owned(),
        bytes,
    }
}

/// A figure as SVG, and the same as a picture.
fn drawn(figure: &Figure) -> Result<[File; 2], RenderFault> {
    let svg = FigureFile {
        chart: &figure.chart,
    };
    let svg = svg.render()?;
    let picture = share::figure(&svg)?;
    let name = figure.file.replace(".svg", ".png");
    Ok([
        file(&figure.file, "image/svg+xml", svg.into_bytes()),
        file(&name, "image/png", picture),
    ])
}

/// The sealed plan first, as the bytes that were hashed; then each amendment.
fn plans(record: &StudyRecord) -> Result<Vec<File>, RenderFault> {
    let sealed = record.seal.as_ref().map(|seal| seal.plan_version);
    let first = record
        .plans
        .iter()
        .find(|v| Some(v.version) == sealed)
        .or(record.plan())
        .ok_or(RenderFault::NoPlan)?;
    let mut files = vec![plan_file("plan.json", first)?];
    for version in record.amendments().filter(|v| v.version != first.version) {
        files.push(plan_file(
            &format!("plan-{}.json", version.version),
            version,
        )?);
    }
    Ok(files)
}

/// The values of every series, as they are kept.
fn series(values: &SeriesValues) -> Result<Vec<File>, RenderFault> {
    let files = values.values().zip(1_usize..).map(|(values, number)| {
        let bytes = values.to_bytes().map_err(CsvFault::from)?;
        let path = format!("series-{number}.csv");
        Ok(file(&path, "text/csv; charset=utf-8", bytes))
    });
    files.collect()
}

fn plan_file(path: &str, version: &PlanVersion) -> Result<File, RenderFault> {
    let bytes = version.plan.to_bytes()?;
    if sha256_hex(&bytes) == version.sha256 {
        Ok(file(path, "application/json", bytes))
    } else {
        Err(RenderFault::PlanBytes {
            version: version.version,
        })
    }
}

/// What the page offers: each figure once, with its picture.
fn listed(data: &[File], figures: &Figures, left_out: &[String]) -> Vec<Offered> {
    let is_picture = |file: &&File| file.path.ends_with(".png");
    let pictures: BTreeSet<&str> = data
        .iter()
        .filter(is_picture)
        .map(|f| f.path.as_str())
        .collect();
    let files = data.iter().filter(|file| !is_picture(file));
    let files = files.map(|file| {
        let picture = file.path.replace(".svg", ".png");
        let what = what(&file.path, figures);
        let what = match file.path.as_str() {
            ARCHIVE if !left_out.is_empty() => format!("{what}. {}", left_out.join(" ")),
            _ => what.to_owned(),
        };
        Offered {
            picture: pictures.contains(picture.as_str()).then_some(picture),
            ..offered(&file.path, &what, file.bytes.len())
        }
    });
    files.collect()
}

fn what<'f>(path: &str, figures: &'f Figures) -> &'f str {
    match path {
        ARCHIVE => {
            "everything below and more as one archive, with a script that recomputes the answer"
        }
        SPREADSHEET => "the tables as a spreadsheet",
        "specimens.csv" => "every piece, one row each",
        "comparisons.csv" => "every comparison at full precision",
        "custody.csv" => "the chain of custody, one line of dates a piece",
        "findings.json" => "all numbers of this page",
        "plan.json" => "the plan, byte for byte as it was hashed",
        _ if path.starts_with("plan-") => "the plan as amended",
        _ if path.starts_with("series-") => "a series of the exposure record, moments in UTC",
        CHANGES => "what differs from the edition before, value by value",
        _ => figures
            .all()
            .find(|f| f.file == path)
            .map_or("", |f| f.title.as_str()),
    }
}
