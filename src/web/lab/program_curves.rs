//! Curves from a tester's program: one file a request, kept byte for byte, and kept for its pieces at once when
//! nothing about it needs a person. The same file sent again changes nothing.

use super::blind::Blind;
use super::curve_list::{MOST_FILES, shown_name, take};
use super::{curve_file, curve_keep, curve_read};
use crate::clock::hex;
use crate::store::CurveFile;
use crate::study::curve::KeptCurve;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::body::{self, BodyLimit};
use crate::web::extract::{Path, Query};
use crate::web::fault::{JsonFault, WebFault};
use crate::web::machine::put;
use crate::web::token::TokenAccess;
use axum::Json;
use axum::extract::{Request, State};
use axum::response::Response;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// The files of the consignment and the pieces that each was kept for.
pub(in crate::web) async fn list(
    State(app): State<App>,
    lab: LabAccess,
) -> Result<Json<Value>, JsonFault> {
    let blind = Blind::load(&app, &lab).await?;
    let files = app.store.curve_files(blind.id).await?;
    let told: Vec<Value> = files.iter().map(|file| told(file, &blind)).collect();
    Ok(Json(json!({ "curves": told })))
}

/// The file as it was sent.
pub(in crate::web) async fn original(
    State(app): State<App>,
    lab: LabAccess,
    Path(id): Path<Uuid>,
) -> Result<Response, JsonFault> {
    Ok(curve_file::original(State(app), lab, Path((String::new(), id))).await?)
}

/// Takes a file in: its name behind the question mark, and the piece where neither name nor file says it.
pub(in crate::web) async fn save(
    State(app): State<App>,
    token: TokenAccess,
    lab: LabAccess,
    Query(asked): Query,
    request: Request,
) -> Result<Json<Value>, JsonFault> {
    token.must_send()?;
    let blind = Blind::load_open(&app, &lab).await?;
    let limit = request.extensions().get::<BodyLimit>().copied();
    let bytes = body::whole(request.into_body(), limit.unwrap_or_default()).await?;
    if bytes.is_empty() {
        return Err(WebFault::Refused("The file is empty.".to_owned()).into());
    }
    if asked.text("name").is_empty() {
        let sentence = "Say what the file is called: ?name=… behind the address.";
        return Err(WebFault::Refused(sentence.to_owned()).into());
    }
    let piece = match asked.text("piece") {
        "" => None,
        code => Some(
            blind
                .piece(code)
                .map_err(|_| no_such_piece(code))?
                .blind
                .clone(),
        ),
    };
    if app.store.curve_files(blind.id).await?.len() >= MOST_FILES {
        let sentence = format!("A consignment takes {MOST_FILES} files at most.");
        return Err(WebFault::Refused(sentence).into());
    }
    let sha256: [u8; 32] = Sha256::digest(&bytes).into();
    let name = shown_name(asked.raw("name"));
    let is_new = take(&app, &blind, &lab, &name, bytes.to_vec()).await?;
    let is_new = is_new.map_err(WebFault::Refused)?;
    let file = by_hash(&app, &blind, &sha256).await?;
    if let Some(piece) = piece {
        let mut said = curve_read::said(&file.said);
        said.set("piece-0", piece.to_string());
        let said = curve_read::kept(&said, false);
        app.store.say_of_curve_file(file.id, &said).await?;
    }
    keep(&app, &blind, &lab, file.id).await?;
    let blind = Blind::load(&app, &lab).await?;
    let file = by_hash(&app, &blind, &sha256).await?;
    let mut told = told(&file, &blind);
    put(&mut told, "is_repeat", json!(!is_new));
    Ok(Json(told))
}

fn no_such_piece(code: &str) -> WebFault {
    let short: String = code.chars().take(20).collect();
    WebFault::Refused(format!("No piece of this consignment is called {short:?}."))
}

async fn by_hash(app: &App, blind: &Blind, sha256: &[u8; 32]) -> Result<CurveFile, WebFault> {
    let files = app.store.curve_files(blind.id).await?;
    let found = files.into_iter().find(|file| file.sha256 == *sha256);
    found.ok_or_else(|| WebFault::ours("a curve's file was taken off the list meanwhile"))
}

/// Keeps the curves of a file for their pieces when nothing about them needs a person.
async fn keep(app: &App, blind: &Blind, lab: &LabAccess, id: Uuid) -> Result<(), WebFault> {
    let (file, looked) = curve_file::looked(app, blind, id, None).await?;
    if !of_file(&file, blind).is_empty() {
        return Ok(());
    }
    let taken: Vec<_> = blind
        .curves
        .iter()
        .map(|curve| curve.blind.clone())
        .collect();
    let ready = looked
        .ok()
        .and_then(|looked| curve_keep::without_question(blind, &file, &looked, &taken));
    if let Some(curves) = ready {
        curve_keep::submit(app, blind, lab, curves).await?;
    }
    Ok(())
}

fn of_file<'b>(file: &CurveFile, blind: &'b Blind) -> Vec<&'b KeptCurve> {
    let sha256 = hex(&file.sha256);
    let curves = blind.curves.iter();
    curves.filter(|curve| curve.file_sha256 == sha256).collect()
}

fn told(file: &CurveFile, blind: &Blind) -> Value {
    let kept = of_file(file, blind).into_iter().map(|curve| {
        json!({
            "piece": curve.blind,
            "max_load_n": curve.max_load_n,
            "extension_at_max_mm": curve.extension_at_max_mm,
            "energy_to_max_j": curve.energy_to_max_j,
        })
    });
    let kept: Vec<Value> = kept.collect();
    json!({
        "id": file.id,
        "name": file.name,
        "sha256": hex(&file.sha256),
        "needs_a_look": kept.is_empty(),
        "kept_for": kept,
    })
}
