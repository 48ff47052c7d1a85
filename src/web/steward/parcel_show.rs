//! What was sent and what arrived, as the lab sees it too; the number of the seal, how a difference was
//! settled, and which earlier consignment went to the same lab, so that its own record is there again; from another
//! study it is brought over ([`super::parcel_bring`]).

use super::consignment_list::state;
use super::parcel_bring::{self, Elsewhere};
use crate::study::entry::Entry;
use crate::study::equipment::EquipmentKind;
use crate::study::fault::Faults;
use crate::study::ids::{ConsignmentId, EntryId};
use crate::study::record::{ConsignmentRecord, StudyRecord};
use crate::study::typed::Typed;
use crate::study::when;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::arrival::{ArrivalView, settled};
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::lab::equipment_list::as_download;
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/parcel_show.html")]
struct ParcelPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    address: String,
    lab: String,
    state: String,
    arrival: ArrivalView,
    items: Vec<Item>,
    others: Vec<(String, String)>,
    /// Labs of the steward's other studies.
    elsewhere: Vec<(String, String)>,
    forms: Forms,
}

impl ParcelPage {
    /// Where the photographs stand.
    fn photographs(&self) -> String {
        format!("/desk/{}/photographs", self.record.slug)
    }
}

/// An item of the lab's record.
struct Item {
    entry: String,
    kind: &'static str,
    name: String,
    facts: Vec<(&'static str, String)>,
    paper: Option<String>,
}

/// The forms of the page; one of them may be shown again with its faults.
struct Forms {
    seal: Form,
    settle: Form,
    lab: Form,
    bring: Form,
}

impl Forms {
    fn fresh(app: &App, one: &ConsignmentRecord) -> Self {
        let with = |name: &str, value: String| {
            let mut typed = Typed::default();
            typed.set(act::ENTRY, act::fresh(app));
            typed.set(name, value);
            Form::filled(typed)
        };
        let same = one.same_lab_as.map(|id| id.to_string());
        Self {
            seal: with(
                "number",
                one.custody.seal_number.clone().unwrap_or_default(),
            ),
            settle: with("words", String::new()),
            lab: with("same_as", same.unwrap_or_default()),
            bring: with("from", String::new()),
        }
    }
}

fn page(
    chrome: Chrome,
    record: Arc<StudyRecord>,
    id: ConsignmentId,
    (forms, elsewhere): (Forms, &[Elsewhere]),
) -> Result<ParcelPage, WebFault> {
    let one = record.consignment(id).ok_or(WebFault::NotFound)?;
    let equipment = record.equipment_of(one).filter(|one| one.is_current());
    let items = equipment.map(|found| Item {
        entry: found.entry.to_string(),
        kind: EquipmentKind::label(found.equipment.kind),
        name: found.equipment.name.clone(),
        facts: found.equipment.facts(),
        paper: found
            .equipment
            .paper
            .as_ref()
            .map(|paper| paper.name.clone()),
    });
    Ok(ParcelPage {
        chrome: chrome.titled(format!("Parcel for {}", one.lab)),
        address: format!("/desk/{}/consignments/{id}", record.slug),
        lab: one.lab.clone(),
        state: state(one),
        arrival: ArrivalView::of(one, &record.time_zone, !one.is_blind()),
        items: items.collect(),
        others: others(&record, one),
        elsewhere: elsewhere
            .iter()
            .map(|lab| (lab.key(), lab.label()))
            .collect(),
        forms,
        record,
    })
}

/// The other consignments, as the form offers them.
fn others(record: &StudyRecord, one: &ConsignmentRecord) -> Vec<(String, String)> {
    let none = (String::new(), "none: a lab of its own".to_owned());
    let others = record.consignments.iter();
    let others = others.filter(|other| other.id != one.id && other.lab_id() != one.id);
    let pair = |other: &ConsignmentRecord| {
        let packed = when::day_in_words(other.packed_at, &record.time_zone);
        let words = format!("{}, packed on {packed}", other.lab);
        (other.id.to_string(), words)
    };
    std::iter::once(none).chain(others.map(pair)).collect()
}

/// Shows it.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    Path((_, id)): Path<(String, ConsignmentId)>,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let one = record.consignment(id).ok_or(WebFault::NotFound)?;
    let forms = Forms::fresh(&app, one);
    let labs = parcel_bring::elsewhere(&app, &steward, &study).await?;
    Ok(Page::of(page(chrome, record, id, (forms, &labs))?).into_response())
}

/// What a form of the page asks for, with its words.
fn asked(
    typed: &Typed,
    record: &StudyRecord,
    one: &ConsignmentRecord,
) -> Result<(Entry, Option<String>), Faults> {
    let consignment = one.id;
    match typed.text("act") {
        "seal" => {
            let mut faults = Faults::none();
            let number = faults.keep(typed.required("number", "The number on the seal"));
            faults.extend(told(record, one, ("number", number.as_deref())));
            let entry = number.map(|number| Entry::ParcelSealed {
                consignment,
                number,
            });
            Ok((faults.and_some(entry)?, None))
        }
        "lab" => {
            let text = typed.text("same_as");
            let same_as: Option<ConsignmentId> = match text {
                "" => None,
                text => Some(
                    text.parse()
                        .map_err(|_| Faults::one("same_as", "Choose one of the consignments."))?,
                ),
            };
            let entry = Entry::LabLinked {
                consignment,
                same_as,
            };
            Ok((entry, None))
        }
        "settle" => {
            let view = ArrivalView::of(one, &record.time_zone, false);
            let (about, words) = settled(typed, &view)?;
            let faults = told(record, one, ("words", Some(&words)));
            let entry = Entry::DifferenceSettled { consignment, about };
            faults.or((entry, Some(words)))
        }
        _ => Err(Faults::one("", "Press one of the buttons of the page.")),
    }
}

fn told(
    record: &StudyRecord,
    one: &ConsignmentRecord,
    (field, words): (&str, Option<&str>),
) -> Faults {
    let mut faults = Faults::none();
    if let Some(sentence) = named(record, one, words.unwrap_or_default()) {
        faults.push(field, sentence);
    }
    faults
}

/// What the tester reads while the consignment is blind must name no piece, condition or holder; the sentence
/// that says so where it does.
pub(in crate::web) fn named(
    record: &StudyRecord,
    one: &ConsignmentRecord,
    words: &str,
) -> Option<String> {
    if words.is_empty() || !one.is_blind() {
        return None;
    }
    let words = words.to_lowercase();
    let plan = record.plan().map(|version| &version.plan);
    let places = plan
        .iter()
        .flat_map(|plan| &plan.conditions)
        .flat_map(|condition| {
            let holders = condition.holders.iter().map(|holder| holder.name.as_str());
            std::iter::once(condition.name.as_str()).chain(holders)
        });
    let codes = record.specimens.iter().map(|piece| piece.code.as_str());
    let named = codes
        .chain(places)
        .find(|name| name.chars().count() > 2 && words.contains(&name.to_lowercase()));
    named
        .map(|name| format!("The tester reads this and must not know of “{name}”; say it without."))
}

/// Does what a form of the page asks for.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    Path((_, id)): Path<(String, ConsignmentId)>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let one = record.consignment(id).ok_or(WebFault::NotFound)?;
    let labs = parcel_bring::elsewhere(&app, &steward, &study).await?;
    let is_brought = fields.0.text("act") == "bring";
    let read = |typed: &Typed| match is_brought {
        true => parcel_bring::entries(&app, typed, (&record, one), &labs),
        false => asked(typed, &record, one).map(|asked| vec![asked]),
    };
    let done = match fields.read(read) {
        _ if is_brought && act::is_done(&app, &fields).await? => Ok(()),
        Ok(entries) => {
            let acting = Acting::steward(&steward, &study);
            let sent = act::submit_all(&app, &acting, &fields, entries).await;
            sent.map(|_| ())
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(()) => {
            let here = format!("/desk/{}/consignments/{id}/arrival", study.slug);
            let said = match fields.0.text("act") {
                "seal" => "The number of the seal is on record.",
                "lab" => "Which lab it is is on record.",
                "bring" => "The lab's record stands here too.",
                _ => "It is settled; the tester reads the same words.",
            };
            Ok(Moved::to(here).saying(said).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            let form = act::afresh(&app, &form);
            let mut forms = Forms::fresh(&app, one);
            match fields.0.text("act") {
                "seal" => forms.seal = form,
                "lab" => forms.lab = form,
                "bring" => forms.bring = form,
                _ => forms.settle = form,
            }
            Ok(Page::refused(page(chrome, record, id, (forms, &labs))?).into_response())
        }
    }
}

/// The certificate or drawing of an item of the lab's record, byte for byte.
pub(in crate::web) async fn paper(
    State(app): State<App>,
    study: StudyAccess,
    Path((_, id, entry)): Path<(String, ConsignmentId, EntryId)>,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let one = record.consignment(id).ok_or(WebFault::NotFound)?;
    let found = record.equipment_of(one).find(|found| found.entry == entry);
    let paper = found.and_then(|found| found.equipment.paper.as_ref());
    let paper = paper.ok_or(WebFault::NotFound)?;
    let blob = app.store.find_blob_by_hex(&paper.sha256).await?;
    let blob = blob.ok_or_else(|| WebFault::ours("a certificate's file is missing"))?;
    Ok(as_download(&paper.name, blob.bytes)?.into_response())
}
