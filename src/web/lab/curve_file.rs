//! One file of a testing machine: what was understood of it, put right where it is wrong, and kept for
//! the pieces.

use super::blind::Blind;
use super::curve_plot;
use super::curve_properties::Properties;
use super::curve_read::{self, Asked, Looked, Seen};
use crate::mechanics::curve::Direction;
use crate::mechanics::machine_file::dialect::Delimiter;
use crate::mechanics::machine_file::number::Decimal;
use crate::mechanics::machine_file::role::{Because, Role};
use crate::mechanics::machine_file::{Column, unit};
use crate::store::CurveFile;
use crate::study::curve::KeptCurve;
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act;
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::form::Form;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::http::HeaderValue;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

type Pairs = Vec<(String, String)>;

#[derive(Template)]
#[template(path = "lab/curve_file.html")]
pub(super) struct FilePage {
    chrome: Chrome,
    blind: Blind,
    address: String,
    name: String,
    sha256: String,
    /// Why it cannot be read at all.
    unreadable: Option<String>,
    /// How it was read, in words.
    understood: String,
    problems: Vec<String>,
    more_problems: usize,
    columns: Vec<ColumnRow>,
    curves: Vec<CurveCard>,
    delimiters: Pairs,
    decimals: Pairs,
    directions: Pairs,
    roles: Pairs,
    units: Pairs,
    pieces: Pairs,
    form: Form,
}

/// One column of the file.
struct ColumnRow {
    name: String,
    role: String,
    unit: String,
    why: &'static str,
}

/// One curve of the file.
struct CurveCard {
    place: usize,
    heading: String,
    alt: String,
    /// How high the picture is when it is 360 wide.
    height: String,
    trouble: Option<String>,
    properties: Properties,
    findings: Vec<String>,
    is_matched: bool,
    kept: Option<String>,
}

/// A file of this consignment.
pub(super) async fn find(app: &App, blind: &Blind, id: Uuid) -> Result<CurveFile, WebFault> {
    let files = app.store.curve_files(blind.id).await?;
    let found = files.into_iter().find(|file| file.id == id);
    found.ok_or(WebFault::NotFound)
}

/// A file of this consignment, read as it was said, or as `instead` says.
pub(super) async fn looked(
    app: &App,
    blind: &Blind,
    id: Uuid,
    instead: Option<&Typed>,
) -> Result<(CurveFile, Result<Looked, String>), WebFault> {
    let file = find(app, blind, id).await?;
    let blob = app.store.find_blob(&file.sha256).await?;
    let bytes = blob
        .ok_or_else(|| WebFault::ours("a curve's file is not there"))?
        .bytes;
    let typed = instead
        .cloned()
        .unwrap_or_else(|| curve_read::said(&file.said));
    let (name, asked) = (file.name.clone(), Asked::of(blind));
    // A long file takes some hundredths of a second: off the threads that answer.
    let read = tokio::task::spawn_blocking(move || curve_read::look(&bytes, &name, &typed, &asked));
    Ok((file, read.await.map_err(WebFault::ours)?))
}

/// Shows it.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    Path((_, id)): Path<(String, Uuid)>,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let (file, looked) = looked(&app, &blind, id, None).await?;
    let mut typed = curve_read::said(&file.said);
    typed.set(act::ENTRY, act::fresh(&app));
    let curves = looked
        .iter()
        .flat_map(|looked| looked.curves.iter().enumerate());
    for (place, seen) in curves.filter(|(_, seen)| !seen.is_said) {
        let code = seen.piece.as_ref().map(ToString::to_string);
        typed.set(&format!("piece-{place}"), code.unwrap_or_default());
    }
    let page = page(chrome, blind, &file, looked, Form::filled(typed));
    Ok(Page::of(page).into_response())
}

/// The original file, byte for byte.
pub(in crate::web) async fn original(
    State(app): State<App>,
    lab: LabAccess,
    Path((_, id)): Path<(String, Uuid)>,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let file = find(&app, &blind, id).await?;
    let blob = app.store.find_blob(&file.sha256).await?;
    let bytes = blob.ok_or(WebFault::NotFound)?.bytes;
    let is_plain = |sign: &char| sign.is_ascii_alphanumeric() || "._- ".contains(*sign);
    let name: String = file
        .name
        .chars()
        .map(|sign| if is_plain(&sign) { sign } else { '_' })
        .collect();
    let given = HeaderValue::from_str(&format!("attachment; filename=\"{name}\""));
    let headers = [
        (
            CONTENT_TYPE,
            HeaderValue::from_static("application/octet-stream"),
        ),
        (CONTENT_DISPOSITION, given.map_err(WebFault::ours)?),
    ];
    Ok((headers, bytes).into_response())
}

/// The page of a file.
pub(super) fn page(
    chrome: Chrome,
    blind: Blind,
    file: &CurveFile,
    looked: Result<Looked, String>,
    form: Form,
) -> FilePage {
    let (looked, unreadable) = match looked {
        Ok(looked) => (Some(looked), None),
        Err(why) => (None, Some(why)),
    };
    let of = |seen: &Looked| seen.file.problems.clone();
    let problems = looked.as_ref().map(of).unwrap_or_default();
    let shown: Vec<String> = problems.first.iter().map(ToString::to_string).collect();
    let columns = looked.as_ref().and_then(|seen| seen.file.blocks.first());
    let columns: Vec<ColumnRow> = columns.map_or_else(Vec::new, |block| {
        block.columns.iter().map(ColumnRow::of).collect()
    });
    let sha256 = crate::clock::hex(&file.sha256);
    let curves = looked
        .iter()
        .flat_map(|seen| seen.curves.iter().enumerate());
    let curves = curves.map(|(place, seen)| CurveCard::of(place, seen, &blind, &sha256));
    FilePage {
        chrome: chrome.titled(format!("Curves: {}", file.name)),
        address: format!("{}/curves/{}", blind.address(), file.id),
        name: file.name.clone(),
        unreadable,
        understood: looked.as_ref().map(understood).unwrap_or_default(),
        more_problems: problems.count.saturating_sub(shown.len()),
        problems: shown,
        columns,
        curves: curves.collect(),
        sha256,
        delimiters: options("as found", Delimiter::ALL.map(|one| (one.key(), one.key()))),
        decimals: options("as found", Decimal::ALL.map(|one| (one.key(), one.label()))),
        directions: directions(),
        roles: Role::ALL
            .iter()
            .map(|role| pair(role.key(), role.label()))
            .collect(),
        units: options("", unit::ALL.map(|unit| (unit.symbol, unit.symbol))),
        pieces: pieces(&blind),
        blind,
        form,
    }
}

fn pair(value: &str, words: &str) -> (String, String) {
    (value.to_owned(), words.to_owned())
}

fn options<const N: usize>(first: &str, others: [(&str, &str); N]) -> Pairs {
    let others = others.map(|(value, words)| pair(value, words));
    std::iter::once(pair("", first)).chain(others).collect()
}

fn directions() -> Pairs {
    vec![
        pair("", "upwards, whichever way the file has it"),
        pair(Direction::AsDrawn.key(), "as the file has it"),
        pair(Direction::Turned.key(), "turned round"),
    ]
}

fn pieces(blind: &Blind) -> Pairs {
    let none = [
        pair("", "choose …"),
        pair("none", "no piece of this consignment"),
    ];
    let codes = blind.present().map(|piece| piece.blind.to_string());
    none.into_iter()
        .chain(codes.map(|code| (code.clone(), code)))
        .collect()
}

/// How a file was read, in words.
pub(super) fn understood(looked: &Looked) -> String {
    let file = &looked.file;
    let rows: usize = file.blocks.iter().map(|block| block.table.rows()).sum();
    format!(
        "{} text, cells parted by {}, {}; {} lines of numbers; {}.",
        file.encoding.label(),
        file.dialect.delimiter.key(),
        file.dialect.decimal.label(),
        rows,
        super::blind::counted(looked.curves.len(), "curve", "curves"),
    )
}

impl ColumnRow {
    fn of(column: &Column) -> Self {
        let why = match column.because {
            _ if column.is_unit_assumed => "the file names no unit: assumed",
            Because::Name => "by its name",
            Because::Unit => "by its unit only",
            Because::Numbers => "guessed from its numbers",
            Because::Said => "as you said",
            Because::Nothing => "",
        };
        Self {
            name: column.name.clone(),
            role: column.role.key().to_owned(),
            unit: column.unit.map_or("", |unit| unit.symbol).to_owned(),
            why,
        }
    }
}

/// For which piece it was kept, and what the tester said of its end.
fn kept_in_words(curve: &KeptCurve) -> String {
    let end = match (curve.ended_at_line, &curve.end_reason) {
        (Some(line), Some(why)) => format!(" The test ended at line {line}, as you said: {why}"),
        _ => String::new(),
    };
    format!("Kept for {}.{end}", curve.blind)
}

impl CurveCard {
    fn of(place: usize, seen: &Seen, blind: &Blind, sha256: &str) -> Self {
        let heading = match (&seen.label, &seen.piece) {
            (Some(label), _) => format!("Curve {}: {label}", place + 1),
            (None, _) => format!("Curve {}", place + 1),
        };
        let kept = blind
            .curves
            .iter()
            .find(|curve| curve.file_sha256 == sha256 && usize::try_from(curve.place) == Ok(place));
        let mut card = Self {
            place,
            heading,
            alt: String::new(),
            height: String::new(),
            trouble: None,
            properties: Properties::default(),
            findings: Vec::new(),
            is_matched: seen.piece.is_some() && !seen.is_said,
            kept: kept.map(kept_in_words),
        };
        match &seen.read {
            Err(why) => card.trouble = Some(why.to_string()),
            Ok(read) => {
                card.properties = Properties::seen(read, seen.piece.as_ref(), blind);
                card.findings.clone_from(&read.reading.off.remarks);
                (card.alt, card.height) = curve_plot::alt(read);
            }
        }
        card
    }
}
