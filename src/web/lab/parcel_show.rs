//! The parcel as it arrived: count, seal, what differs, photographs, the temperature on the way. The
//! list is the one that the steward sees.

use super::blind::Blind;
use crate::study::cautions::{self, Step};
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::receipt::{ArrivalPhotograph, ParcelReceipt, SealState};
use crate::study::typed::Typed;
use crate::study::when;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act::{self, Declined};
use crate::web::arrival::settled;
use crate::web::darkroom::{JPEG, Undeveloped, develop, picture};
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use crate::web::upload::Upload;
use askama::Template;
use axum::extract::State;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

/// Moments on the lab's face are in UTC: the study's own zone would tell where it is.
const ZONE: &str = "UTC";
/// More photographs than this of one parcel are a mistake.
pub(super) const MOST_PHOTOGRAPHS: usize = 200;

#[derive(Template)]
#[template(path = "lab/parcel_show.html")]
struct ParcelPage {
    chrome: Chrome,
    blind: Blind,
    cautions: Vec<&'static str>,
    seals: Vec<(&'static str, &'static str)>,
    pieces: Vec<(String, String)>,
    forms: Forms,
}

/// The forms of the page; one of them may be shown again with its faults.
struct Forms {
    receipt: Form,
    settle: Form,
    photograph: Form,
    logger: Form,
}

impl Forms {
    fn fresh(app: &App, blind: &Blind) -> Self {
        let entry = || {
            let mut typed = Typed::default();
            typed.set(act::ENTRY, act::fresh(app));
            typed
        };
        let mut receipt = match &blind.receipt {
            Some(known) => known.to_fields(ZONE),
            None => Typed::from([("at", when::field(app.clock.now(), ZONE).as_str())]),
        };
        receipt.set("note", blind.receipt_note.clone().unwrap_or_default());
        receipt.set(act::ENTRY, act::fresh(app));
        Self {
            receipt: Form::filled(receipt),
            settle: Form::filled(entry()),
            photograph: Form::filled(entry()),
            logger: Form::filled(entry()),
        }
    }
}

fn page(chrome: Chrome, blind: Blind, forms: Forms) -> ParcelPage {
    let whole = (String::new(), "the parcel as a whole".to_owned());
    let codes = blind.pieces.iter().map(|piece| piece.blind.to_string());
    let codes = codes.map(|code| (code.clone(), code));
    ParcelPage {
        chrome: chrome.titled("The parcel"),
        cautions: cautions::of(Step::Ship, []),
        seals: SealState::ALL
            .map(|state| (state.key(), state.label()))
            .to_vec(),
        pieces: std::iter::once(whole).chain(codes).collect(),
        blind,
        forms,
    }
}

/// Shows it.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let forms = Forms::fresh(&app, &blind);
    Ok(Page::of(page(chrome, blind, forms)).into_response())
}

/// Goes back to the page, or shows it again with the form that was not taken.
fn answer(
    app: &App,
    chrome: Chrome,
    blind: Blind,
    (done, said): (Result<(), Declined>, &str),
    place: impl FnOnce(&mut Forms) -> &mut Form,
) -> Result<Response, WebFault> {
    let onward = Moved::to(format!("{}/parcel", blind.address())).saying(said);
    act::answered(app, done, onward, |form| {
        let mut forms = Forms::fresh(app, &blind);
        *place(&mut forms) = form;
        page(chrome, blind, forms)
    })
}

/// Writes down how it was opened.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let now = app.clock.now();
    let read = fields.read(|typed| {
        let mut faults = Faults::none();
        let note = faults.keep(typed.paragraph("note", "The remark"));
        match (ParcelReceipt::parse(typed, blind.id, (ZONE, now)), note) {
            (Ok(receipt), Some(note)) => Ok((Entry::ReceiptNoted(receipt), Some(note))),
            (receipt, _) => {
                faults.extend(receipt.err().unwrap_or_default());
                Err(faults)
            }
        }
    });
    let done = act::sent(&app, &blind.acting(&lab), &fields, read).await;
    let said = "How the parcel arrived is on record.";
    answer(&app, chrome, blind, (done, said), |forms| {
        &mut forms.receipt
    })
}

/// Settles a difference.
pub(in crate::web) async fn settle(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let consignment = blind.id;
    let read = fields.read(|typed| {
        let (about, words) = settled(typed, &blind.arrival)?;
        let entry = Entry::DifferenceSettled { consignment, about };
        Ok((entry, Some(words)))
    });
    let done = act::sent(&app, &blind.acting(&lab), &fields, read).await;
    let said = "It is settled; the steward reads the same words.";
    answer(&app, chrome, blind, (done, said), |forms| &mut forms.settle)
}

/// Keeps a photograph of what arrived, without anything but the picture.
pub(in crate::web) async fn photograph(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    upload: Upload,
) -> Result<Response, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let done = keep(&app, &lab, &blind, &upload).await;
    let said = "The photograph is kept, without anything but the picture.";
    answer(&app, chrome, blind, (done, said), |forms| {
        &mut forms.photograph
    })
}

async fn keep(app: &App, lab: &LabAccess, blind: &Blind, upload: &Upload) -> Result<(), Declined> {
    let mut fields = Fields(upload.typed.clone());
    // The pictures are named by the entry that holds them, so its id is settled here.
    let id = act::entry_id(app, &fields.0);
    fields.0.set(act::ENTRY, id.to_string());
    let (shown, note) = fields.read(|typed| {
        let mut faults = Faults::none();
        let note = faults.keep(typed.paragraph("shot_note", "The remark"));
        let code = typed.text("shows");
        let shown = match code {
            "" => Some(Vec::new()),
            code => blind
                .piece(code)
                .ok()
                .map(|piece| vec![piece.blind.clone()]),
        };
        if shown.is_none() {
            faults.push("shows", "Choose what it shows.");
        }
        if blind.shots.len() >= MOST_PHOTOGRAPHS {
            faults.push(
                "file",
                format!("A parcel takes {MOST_PHOTOGRAPHS} photographs at most."),
            );
        }
        let both = shown.zip(note);
        faults.and_some(both)
    })?;
    let files = develop(app, id, upload.file("file")).await;
    let files = files.map_err(|why| match why {
        Undeveloped::Refused(why) => Declined::Form(fields.again_with("file", why.to_string())),
        Undeveloped::Fault(fault) => Declined::Fault(fault),
    })?;
    let photograph = Box::new(ArrivalPhotograph {
        consignment: blind.id,
        blinds: shown,
        files,
    });
    let entry = Entry::ArrivalPhotographed(photograph);
    act::submit(app, &blind.acting(lab), &fields, entry, Some(note)).await?;
    Ok(())
}

/// The large or the small picture.
pub(in crate::web) async fn file(
    State(app): State<App>,
    lab: LabAccess,
    Path((_, entry, size)): Path<(String, crate::study::ids::EntryId, String)>,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let mut shots = blind.shots.iter();
    let shot = shots.find(|shot| shot.entry == entry && !shot.is_erased);
    let files = &shot.ok_or(WebFault::NotFound)?.files;
    let blob = picture(&app.store, files, &size).await?;
    let headers = [
        (CONTENT_TYPE, JPEG),
        (CACHE_CONTROL, "private, max-age=86400"),
    ];
    Ok((headers, blob.bytes).into_response())
}
