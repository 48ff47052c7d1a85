//! One item of the lab's record: written down, or written down anew.

use super::blind::Blind;
use crate::clock::hex;
use crate::store::Blob;
use crate::study::entry::Entry;
use crate::study::equipment::form::change;
use crate::study::equipment::{Change, Equipment, EquipmentKept, EquipmentKind, Paper, PaperKind};
use crate::study::fault::Faults;
use crate::study::ids::EntryId;
use crate::study::record::EquipmentRecord;
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act::{self, Declined};
use crate::web::darkroom::{Undeveloped, develop};
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use crate::web::upload::Upload;
use askama::Template;
use axum::body::Bytes;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

/// The largest certificate or drawing, in bytes.
const MOST_BYTES: usize = 16 * 1024 * 1024;
/// More versions of items than this in one lab's record are a mistake.
pub(super) const MOST_ITEMS: usize = 500;

#[derive(Template)]
#[template(path = "lab/equipment_edit.html")]
struct EditPage {
    chrome: Chrome,
    blind: Blind,
    /// The entry that is written anew; empty for a new item.
    entry: String,
    kinds: Vec<(&'static str, &'static str)>,
    changes: Vec<(&'static str, &'static str)>,
    has_paper: bool,
    has_picture: bool,
    form: Form,
}

fn page(chrome: Chrome, blind: Blind, before: Option<&EquipmentRecord>, form: Form) -> EditPage {
    let title = before.map_or("A new item".to_owned(), |one| one.equipment.name.clone());
    let equipment = before.map(|one| &one.equipment);
    EditPage {
        chrome: chrome.titled(title),
        entry: before.map(|one| one.entry.to_string()).unwrap_or_default(),
        kinds: EquipmentKind::ALL
            .map(|kind| (kind.key(), kind.label()))
            .to_vec(),
        changes: Change::ALL
            .map(|change| (change.key(), change.label()))
            .to_vec(),
        has_paper: equipment.is_some_and(|one| one.paper.is_some()),
        has_picture: equipment.is_some_and(|one| one.picture.is_some()),
        blind,
        form,
    }
}

/// The form for a new item.
pub(in crate::web) async fn new(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
) -> Result<Response, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let fresh = act::fresh(&app);
    let form = Form::filled([("entry", fresh.as_str()), ("kind", "load_cell")]);
    Ok(Page::of(page(chrome, blind, None, form)).into_response())
}

/// The form for an item that is there, filled as it is.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    Path((_, entry)): Path<(String, EntryId)>,
) -> Result<Response, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let before = blind.item(entry)?.clone();
    let mut typed = before.equipment.to_fields();
    typed.set(act::ENTRY, act::fresh(&app));
    typed.set("change", Change::Since.key());
    let form = Form::filled(typed);
    Ok(Page::of(page(chrome, blind, Some(&before), form)).into_response())
}

/// Keeps a new item.
pub(in crate::web) async fn add(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    upload: Upload,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    save(&app, chrome, (lab, blind), None, upload).await
}

/// Writes an item down anew.
pub(in crate::web) async fn change_item(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    Path((_, entry)): Path<(String, EntryId)>,
    upload: Upload,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let before = blind.item(entry)?.clone();
    save(&app, chrome, (lab, blind), Some(before), upload).await
}

async fn save(
    app: &App,
    chrome: Chrome,
    (lab, blind): (LabAccess, Blind),
    before: Option<EquipmentRecord>,
    upload: Upload,
) -> Result<Response, WebFault> {
    blind.must_be_open()?;
    match keep(app, &lab, &blind, before.as_ref(), &upload).await {
        Ok(()) => Ok(Moved::to(format!("{}/equipment", blind.address()))
            .saying("It is in your lab's record.")
            .into_response()),
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            let form = act::afresh(app, &form);
            Ok(Page::refused(page(chrome, blind, before.as_ref(), form)).into_response())
        }
    }
}

async fn keep(
    app: &App,
    lab: &LabAccess,
    blind: &Blind,
    before: Option<&EquipmentRecord>,
    upload: &Upload,
) -> Result<(), Declined> {
    let mut fields = Fields(upload.typed.clone());
    // The pictures are named by the entry that holds them, so its id is settled here.
    let id = act::entry_id(app, &fields.0);
    fields.0.set(act::ENTRY, id.to_string());
    if act::is_done(app, &fields).await? {
        return Ok(());
    }
    let today = app.clock.now().date_naive();
    let paper = upload.file("paper");
    let (read, change, reason) = fields.read(|typed| {
        let mut faults = Faults::none();
        let read = Equipment::parse(typed, today);
        let change = before.map(|_| faults.keep(change(typed)));
        let reason = faults.keep(typed.paragraph("reason", "The reason"));
        let is_wrong = change == Some(Some(Change::Wrong));
        if is_wrong && reason.as_ref().is_some_and(String::is_empty) {
            faults.push("reason", "Say what was wrong.");
        }
        faults.extend(paper_faults(&paper));
        if blind.equipment.len() >= MOST_ITEMS {
            faults.push("", "This lab's record is full; it holds 500 items.");
        }
        match read {
            Ok(read) => faults.or((read, change.flatten(), reason.unwrap_or_default())),
            Err(wrong) => {
                let mut all = wrong;
                all.extend(faults);
                Err(all)
            }
        }
    })?;
    let kept = before.map(|one| one.equipment.clone());
    let (old_paper, old_picture) = kept.map_or((None, None), |one| (one.paper, one.picture));
    let paper = keep_paper(app, (upload, "paper"), &paper).await?;
    let picture = keep_picture(app, id, &fields, upload).await?;
    let equipment = read
        .with_files(old_paper, old_picture)
        .with_files(paper, picture);
    let kept = EquipmentKept {
        consignment: blind.id,
        replaces: before.map(|one| one.entry),
        change,
        equipment,
        origin: None,
    };
    let entry = Entry::EquipmentKept(Box::new(kept));
    act::submit(app, &blind.acting(lab), &fields, entry, Some(reason)).await?;
    Ok(())
}

pub(super) fn paper_faults(bytes: &Bytes) -> Faults {
    let mut faults = Faults::none();
    if bytes.len() > MOST_BYTES {
        faults.push("paper", "This file is larger than 16 MB.");
    } else if !bytes.is_empty() && PaperKind::of(bytes).is_none() {
        faults.push(
            "paper",
            "Send a PDF, JPEG or PNG file; this is none of them.",
        );
    }
    faults
}

/// Keeps a certificate or drawing byte for byte.
pub(super) async fn keep_paper(
    app: &App,
    (upload, part): (&Upload, &str),
    bytes: &Bytes,
) -> Result<Option<Paper>, WebFault> {
    let Some(kind) = PaperKind::of(bytes) else {
        return Ok(None);
    };
    let blob = Blob {
        media_type: kind.key().to_owned(),
        bytes: bytes.to_vec(),
    };
    let sha256 = app.store.put_blob(&blob).await?;
    let named = upload.files.iter().zip(&upload.names);
    let named = named.filter(|((field, _), _)| field == part);
    let name = named.map(|(_, name)| name.as_str()).next();
    Ok(Some(Paper {
        name: shown_name(name.unwrap_or_default()),
        kind,
        sha256: hex(&sha256),
        bytes: u64::try_from(bytes.len()).map_err(WebFault::ours)?,
    }))
}

async fn keep_picture(
    app: &App,
    id: EntryId,
    fields: &Fields,
    upload: &Upload,
) -> Result<Option<crate::study::photograph::Files>, Declined> {
    let bytes = upload.file("picture");
    if bytes.is_empty() {
        return Ok(None);
    }
    match develop(app, id, bytes).await {
        Ok(files) => Ok(Some(files)),
        Err(Undeveloped::Refused(why)) => Err(Declined::Form(
            fields.again_with("picture", why.to_string()),
        )),
        Err(Undeveloped::Fault(fault)) => Err(Declined::Fault(fault)),
    }
}

/// The last part of what a sender calls a file, as it can be shown.
fn shown_name(sent: &str) -> String {
    let last = sent.rsplit(['/', '\\']).next().unwrap_or_default();
    let name: String = last
        .chars()
        .filter(|sign| !sign.is_control())
        .take(200)
        .collect();
    let name = name.trim();
    let name = if name.is_empty() { "unnamed" } else { name };
    name.to_owned()
}

/// The items of a kind, as the set-up offers them, each by the entry that named it first.
pub(super) fn offered(blind: &Blind, kind: EquipmentKind) -> Vec<(String, String)> {
    let none = (String::new(), "not from the record".to_owned());
    let current = blind.equipment.iter().filter(|one| one.is_current());
    let of_kind = current.filter(|one| one.equipment.kind == kind);
    let pair = |one: &EquipmentRecord| (one.item.to_string(), one.equipment.name.clone());
    std::iter::once(none).chain(of_kind.map(pair)).collect()
}

/// What the record calls an item.
pub(super) fn name_of(blind: &Blind, item: Option<EntryId>, typed: String) -> String {
    if !typed.is_empty() {
        return typed;
    }
    let mut current = blind.equipment.iter().filter(|one| one.is_current());
    let found = current.rfind(|one| Some(one.item) == item);
    found.map_or(typed, |one| one.equipment.name.clone())
}

/// The set-up of the lab's last session as a new consignment's begins: what stays the same.
pub(super) fn carried_over(blind: &Blind) -> Option<Typed> {
    let mut typed = blind.previous.as_ref()?.to_fields();
    for field in ["opening", "closing", "room", "humidity"] {
        typed.set(field, "");
    }
    Some(typed)
}
