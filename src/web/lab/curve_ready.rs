//! Files about which nothing has to be asked: seen together, each curve with its piece and its picture, and kept at
//! once.

use super::blind::{Blind, counted};
use super::curve_list::FileLine;
use super::{curve_file, curve_keep, curve_plot};
use crate::store::CurveFile;
use crate::study::code::BlindCode;
use crate::study::units::in_digits;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "lab/curve_ready.html")]
struct ReadyPage {
    chrome: Chrome,
    blind: Blind,
    files: Vec<ReadyFile>,
    /// Those that raise a question.
    left: Vec<FileLine>,
    form: Form,
}

/// A file as it would be kept.
struct ReadyFile {
    id: String,
    name: String,
    understood: String,
    curves: Vec<ReadyCurve>,
}

struct ReadyCurve {
    place: u32,
    code: String,
    load: String,
    alt: String,
    height: String,
}

/// Shows what would be kept.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let (mut ready, mut left) = (Vec::new(), Vec::new());
    let mut taken = taken(&blind);
    for file in waiting(&app, &blind).await? {
        // One file after the other: what was read of a long one is not held while the next is.
        match seen(&app, &blind, &file, &mut taken).await? {
            Some(found) => ready.push(found),
            None => left.push(FileLine::of(&file, &blind)),
        }
    }
    let page = ReadyPage {
        chrome: chrome.titled("Curves that raise no question"),
        form: Form::filled([(act::ENTRY, act::fresh(&app).as_str())]),
        files: ready,
        left,
        blind,
    };
    Ok(Page::of(page).into_response())
}

/// The pieces that have a curve.
fn taken(blind: &Blind) -> Vec<BlindCode> {
    let curves = blind.curves.iter();
    curves.map(|curve| curve.blind.clone()).collect()
}

/// The files of which no curve was kept.
async fn waiting(app: &App, blind: &Blind) -> Result<Vec<CurveFile>, WebFault> {
    let mut files = app.store.curve_files(blind.id).await?;
    files.retain(|file| FileLine::of(file, blind).codes.is_empty());
    Ok(files)
}

async fn seen(
    app: &App,
    blind: &Blind,
    file: &CurveFile,
    taken: &mut Vec<BlindCode>,
) -> Result<Option<ReadyFile>, WebFault> {
    let (_, looked) = curve_file::looked(app, blind, file.id, None).await?;
    let Ok(looked) = looked else { return Ok(None) };
    let Some(kept) = curve_keep::without_question(blind, file, &looked, taken) else {
        return Ok(None);
    };
    taken.extend(kept.iter().map(|curve| curve.blind.clone()));
    let reads = looked
        .curves
        .iter()
        .filter_map(|seen| seen.read.as_ref().ok());
    let curves = kept.iter().zip(reads).map(|(curve, read)| {
        let (alt, height) = curve_plot::alt(read);
        ReadyCurve {
            place: curve.place,
            code: curve.blind.to_string(),
            load: in_digits(curve.max_load_n, 4),
            alt,
            height,
        }
    });
    Ok(Some(ReadyFile {
        id: file.id.to_string(),
        name: file.name.clone(),
        understood: curve_file::understood(&looked),
        curves: curves.collect(),
    }))
}

/// Keeps every curve that can be kept without a question, of the files that were shown and no other.
pub(in crate::web) async fn keep(
    State(app): State<App>,
    lab: LabAccess,
    fields: Fields,
) -> Result<Moved, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let shown = fields.0.all("seen");
    let (mut kept, mut left) = (0_usize, 0_usize);
    let mut taken = taken(&blind);
    for file in waiting(&app, &blind).await? {
        if !shown.contains(&file.id.to_string().as_str()) {
            left += 1;
            continue;
        }
        let (_, looked) = curve_file::looked(&app, &blind, file.id, None).await?;
        let ready = looked
            .ok()
            .and_then(|looked| curve_keep::without_question(&blind, &file, &looked, &taken));
        let Some(curves) = ready else {
            left += 1;
            continue;
        };
        taken.extend(curves.iter().map(|curve| curve.blind.clone()));
        if curve_keep::submit(&app, &blind, &lab, curves).await? {
            kept += 1;
        } else {
            left += 1;
        }
    }
    let said = format!(
        "{} kept; {} to be looked at.",
        counted(kept, "file was", "files were"),
        counted(left, "file is left", "files are left")
    );
    Ok(Moved::to(format!("{}/curves", blind.address())).saying(said))
}
