//! The lab's own record: what it works with, as it is now. Filled in once, it is there again for the
//! lab's next consignment.

use super::blind::Blind;
use crate::study::equipment::EquipmentKind;
use crate::study::equipment::flag::of_calibration;
use crate::study::record::EquipmentRecord;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::darkroom::{self, JPEG};
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::http::HeaderValue;
use axum::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

use crate::study::ids::EntryId;

#[derive(Template)]
#[template(path = "lab/equipment_list.html")]
struct ListPage {
    chrome: Chrome,
    blind: Blind,
    items: Vec<Item>,
}

/// An item of the record.
struct Item {
    entry: String,
    kind: &'static str,
    name: String,
    facts: Vec<(&'static str, String)>,
    /// What a result of today would be flagged with.
    flag: Option<&'static str>,
    /// Whether it tells the load only where no cell is named.
    needs_no_cell: bool,
    paper: Option<String>,
    picture: Option<(u32, u32)>,
    earlier: usize,
}

impl Item {
    fn of(one: &EquipmentRecord, blind: &Blind, today: chrono::NaiveDate) -> Self {
        let equipment = &one.equipment;
        let is_gauge = equipment.kind != EquipmentKind::Fixture;
        let flag = of_calibration(equipment, today).filter(|_| is_gauge);
        let versions = blind.equipment.iter();
        let picture = equipment.picture.as_ref();
        Self {
            entry: one.entry.to_string(),
            kind: equipment.kind.label(),
            name: equipment.name.clone(),
            facts: equipment.facts(),
            flag: flag.map(|flag| flag.label()),
            needs_no_cell: equipment.kind == EquipmentKind::Machine,
            paper: equipment.paper.as_ref().map(|paper| paper.name.clone()),
            picture: picture.map(|files| (files.width, files.height)),
            earlier: versions.filter(|v| v.item == one.item).count() - 1,
        }
    }
}

/// Shows it.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let today = app.clock.now().date_naive();
    let current = blind.equipment.iter().filter(|one| one.is_current());
    let items = current.map(|one| Item::of(one, &blind, today)).collect();
    let page = ListPage {
        chrome: chrome.titled("What your lab works with"),
        blind,
        items,
    };
    Ok(Page::of(page).into_response())
}

/// The certificate or drawing of an item, byte for byte.
pub(in crate::web) async fn paper(
    State(app): State<App>,
    lab: LabAccess,
    Path((_, entry)): Path<(String, EntryId)>,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let paper = blind.item(entry)?.equipment.paper.as_ref();
    let paper = paper.ok_or(WebFault::NotFound)?;
    let blob = app.store.find_blob_by_hex(&paper.sha256).await?;
    let blob = blob.ok_or_else(|| WebFault::ours("a certificate's file is missing"))?;
    Ok(as_download(&paper.name, blob.bytes)?.into_response())
}

/// A file that others sent: saved, never shown by the browser itself.
pub(in crate::web) fn as_download(
    name: &str,
    bytes: Vec<u8>,
) -> Result<impl IntoResponse + use<>, WebFault> {
    let is_plain = |sign: &char| sign.is_ascii_alphanumeric() || "._- ".contains(*sign);
    let name: String = name
        .chars()
        .map(|sign| if is_plain(&sign) { sign } else { '_' })
        .collect();
    let given = HeaderValue::from_str(&format!("attachment; filename=\"{name}\""));
    let octets = HeaderValue::from_static("application/octet-stream");
    let headers = [
        (CONTENT_TYPE, octets),
        (CONTENT_DISPOSITION, given.map_err(WebFault::ours)?),
    ];
    Ok((headers, bytes))
}

/// The photograph of an item.
pub(in crate::web) async fn picture(
    State(app): State<App>,
    lab: LabAccess,
    Path((_, entry, size)): Path<(String, EntryId, String)>,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let files = blind.item(entry)?.equipment.picture.as_ref();
    let files = files.ok_or(WebFault::NotFound)?;
    let blob = darkroom::picture(&app.store, files, &size).await?;
    let headers = [
        (CONTENT_TYPE, JPEG),
        (CACHE_CONTROL, "private, max-age=86400"),
    ];
    Ok((headers, blob.bytes).into_response())
}
