//! The sheets of a consignment: the key that stays with the steward, the packing list and the customs
//! sheet that travel. Those that travel hold no condition, no stage and no steward's code.

use crate::study::ids::ConsignmentId;
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

#[derive(Template)]
#[template(path = "print/consignment_key.html")]
struct KeySheet {
    chrome: Chrome,
    back: String,
    lab: String,
    packed: String,
    rows: Vec<(String, String, &'static str)>,
}

/// Which blind code is stuck on which piece.
pub(in crate::web) async fn key(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Path((_, id)): Path<(String, ConsignmentId)>,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let one = record.consignment(id).ok_or(WebFault::NotFound)?;
    let row = |piece: &crate::study::record::PieceRecord| {
        let (specimen, blind) = (piece.specimen.to_string(), piece.blind.to_string());
        (specimen, blind, piece.label.label())
    };
    let mut rows: Vec<_> = one.pieces.iter().map(row).collect();
    rows.sort();
    Ok(Page::of(KeySheet {
        chrome: chrome.titled("Key"),
        back: format!("/desk/{}/consignments/{id}", study.slug),
        lab: one.lab.clone(),
        packed: when::day_in_words(one.packed_at, &record.time_zone),
        rows,
    }))
}

#[derive(Template)]
#[template(path = "print/consignment_packing.html")]
struct PackingSheet {
    chrome: Chrome,
    back: String,
    lab: String,
    codes: Vec<String>,
}

/// What is in the box, as the lab knows it.
pub(in crate::web) async fn packing(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Path((_, id)): Path<(String, ConsignmentId)>,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let one = record.consignment(id).ok_or(WebFault::NotFound)?;
    Ok(Page::of(PackingSheet {
        chrome: chrome.titled("Packing list"),
        back: format!("/desk/{}/consignments/{id}", study.slug),
        lab: one.lab.clone(),
        codes: one
            .pieces
            .iter()
            .map(|piece| piece.blind.to_string())
            .collect(),
    }))
}

#[derive(Template)]
#[template(path = "print/consignment_customs.html")]
struct CustomsSheet {
    chrome: Chrome,
    back: String,
    lab: String,
    count: usize,
    material: String,
}

/// What customs ask: how many of what. The same words whatever the pieces went through.
pub(in crate::web) async fn customs(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Path((_, id)): Path<(String, ConsignmentId)>,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let one = record.consignment(id).ok_or(WebFault::NotFound)?;
    let material = record
        .plan()
        .map(|version| version.plan.material.name.clone());
    Ok(Page::of(CustomsSheet {
        chrome: chrome.titled("Customs sheet"),
        back: format!("/desk/{}/consignments/{id}", study.slug),
        lab: one.lab.clone(),
        count: one.pieces.len(),
        material: material.unwrap_or_default(),
    }))
}
